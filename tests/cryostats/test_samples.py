"""Samples: what is asked of one, who approves it, and one that is left behind."""

from dataclasses import replace
from datetime import date

import pytest
from sqlmodel import Session

from server.cryostats import beside_views, instruments, samples
from server.cryostats.models import Cryostat
from server.cryostats.samples import Described, Inside
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people import service as people
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_cryostat, somebody

Books = tuple[Session, Person, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who opens, and an empty cryostat."""
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    return session, ada, ben, bench


def chip(owner: Person, **more: object) -> Described:
    said = Described("Chip 7", owner.id or 0, "none-known", "varnish", 0, attached_on=date(2026, 3, 1))
    return replace(said, **more)  # type: ignore[arg-type]


def inside(session: Session, bench: Cryostat) -> tuple[Inside, ...]:
    return samples.inside(session, [bench]).get(bench.id or 0, ())


def test_a_sample_says_whose_it_is_what_and_how_it_is_attached(books: Books) -> None:
    session, ada, ben, bench = books
    samples.put_in(session, ben, bench.slug, chip(ada, carrier="16-pin", mount="mount-joint"), AT)
    (row,) = inside(session, bench)
    kept = row.sample
    assert (kept.owner_name, kept.by_name, kept.attach, kept.carrier) == ("Ada", "Ben", "varnish", "16-pin")
    assert (kept.mount, kept.attached_on, kept.revision) == ("mount-joint", date(2026, 3, 1), 0)
    assert history.of(session, "cryostat/bench-a")[0].what == "Sample in: Chip 7, of Ada"
    assert not row.needs_approval


def test_a_hazard_asks_what_happens_if_it_breaks_and_for_the_stewards_yes(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Refused) as refused:
        samples.put_in(session, ben, bench.slug, chip(ben, hazard="toxic"), AT)
    assert refused.value.fields == {"if_breaks": "Enter what is to be done if it breaks"}
    row = samples.put_in(session, ben, bench.slug, chip(ben, hazard="toxic", if_breaks="Close the room"), AT)
    assert inside(session, bench)[0].needs_approval
    with pytest.raises(Forbidden):
        samples.approve(session, ben, row.id or 0, "", AT)
    samples.approve(session, ada, row.id or 0, "In its box", AT)
    assert not inside(session, bench)[0].needs_approval
    with pytest.raises(Conflict):
        samples.approve(session, ada, row.id or 0, "", AT)


def test_a_sample_of_somebody_who_has_gone_is_left_behind_until_it_is_taken_out(books: Books) -> None:
    session, ada, ben, bench = books
    row = samples.put_in(session, ada, bench.slug, chip(ben), AT)
    assert beside_views.left_behind(session, [bench]) == {}
    people.set_active(session, ada, ben.id or 0, False, AT)
    assert [kept.sample.id for kept in beside_views.beside(session, bench).left] == [row.id]
    assert list(beside_views.left_behind(session, [bench])) == [bench.id]
    samples.take_out(session, ada, row.id or 0, "In the cupboard", AT)
    assert beside_views.left_behind(session, [bench]) == {}
    assert [(kept.what, step.note) for kept, step in samples.gone(session, bench)] == [
        ("Chip 7", "In the cupboard")
    ]
    with pytest.raises(Conflict):
        samples.take_out(session, ada, row.id or 0, "", AT)


def test_the_wrong_person_and_bad_input_store_nothing(books: Books) -> None:
    session, _, ben, bench = books
    with pytest.raises(Forbidden):
        samples.put_in(session, somebody(session, "cleo", steward=False), bench.slug, chip(ben), AT)
    bad = chip(ben, what=" ", owner_id=99, hazard="", attach="", revision=3, attached_on=date(2027, 1, 1))
    with pytest.raises(Refused) as refused:
        samples.put_in(session, ben, bench.slug, bad, AT)
    assert set(refused.value.fields) == {"what", "owner", "hazard", "attach", "revision", "attached_on"}
    with pytest.raises(NotFound):
        samples.take_out(session, ben, 2**70, "", AT)
    assert inside(session, bench) == ()
