"""Faults: reported by anybody, moved by whoever may, every step kept, the cause from a list."""

import pytest
import sqlalchemy as sa
from sqlmodel import Session, select

from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.errors import Forbidden, NotFound, Refused
from server.faults import service
from server.faults.models import Fault
from server.faults.rules import Step, Where
from server.history.models import Entry
from server.people.models import Person
from tests.factories import AT, a_cryostat, logged, somebody, wire


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat with a loom."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, wire())
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def a_fault(books: Books, by: Person | None = None, what: str = "Frost on the can", **more: object) -> Fault:
    session, ada, cryostat = books
    where = Where("left of the relief", **more)  # type: ignore[arg-type]
    return service.report(session, by or ada, cryostat.id, what, where, AT, "disturbs")


def test_anybody_reports_and_it_stands_open_with_its_first_entry_and_in_the_record(books: Books) -> None:
    session, _, cryostat = books
    ben = somebody(session, "ben", steward=False)
    fault = a_fault(books, ben, element_key="loom")
    assert (fault.state, fault.by_name, fault.element_key) == ("open", "Ben", "loom")
    assert [row.state for row in service.entries(session, fault)] == ["open"]
    assert [row.id for row in service.open_faults(session, cryostat.id or 0)] == [fault.id]
    told = session.exec(select(Entry).where(Entry.subject == f"fault/{fault.id}")).one()
    assert told.what == f"Fault {fault.id} reported: Frost on the can"


def test_a_plain_text_is_the_place_and_no_cryostat_is_allowed(books: Books) -> None:
    session, ada, _ = books
    fault = service.report(session, ada, None, "Oxygen display dark", "Room 2", AT, "near-miss")
    assert (fault.cryostat_id, fault.place) == (None, "Room 2")


@pytest.mark.parametrize(
    ("what", "where", "severity", "field"),
    [
        (" ", Where(), "slight", "what_seen"),
        ("x" * 2001, Where(), "slight", "what_seen"),
        ("nul \x00", Where(), "slight", "what_seen"),
        ("x", Where(), "enormous", "severity"),
        ("x", Where(element_key="nothing"), "slight", "element"),
        ("x", Where(element_key="../etc"), "slight", "element"),
        ("x", Where(part="R-9"), "slight", "part"),
        ("x", Where("y" * 201), "slight", "place"),
        ("x", Where(at=AT.replace(year=2031)), "slight", "seen_at"),
        ("x", Where(at=AT.replace(year=1931)), "slight", "seen_at"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    books: Books, what: str, where: Where, severity: str, field: str
) -> None:
    session, ada, cryostat = books
    with pytest.raises(Refused) as caught:
        service.report(session, ada, cryostat.id, what, where, AT, severity)
    assert set(caught.value.fields) == {field}


def test_a_cryostat_that_is_not_there_is_refused(books: Books) -> None:
    with pytest.raises(Refused) as caught:
        service.report(books[0], books[1], 999, "x", "", AT, "slight")
    assert set(caught.value.fields) == {"cryostat"}


def test_cause_remedy_owner_and_state_move_and_every_step_stays(books: Books) -> None:
    session, ada, cryostat = books
    number = a_fault(books).id or 0
    service.add(session, ada, number, Step("I look", "looked-at", owner_login="ada"), AT)
    service.cause_found(session, ada, number, "ring-dirty", "A hair", AT)
    service.add(session, ada, number, Step("Ring wiped and greased", "mended"), AT)
    fault = service.find(session, number)
    assert (fault.state, fault.owner_name, fault.cause) == ("mended", "Ada", "ring-dirty")
    assert (fault.cause_words, fault.remedy) == ("A hair", "Ring wiped and greased")
    states = [row.state for row in service.entries(session, fault)]
    assert states == ["open", "looked-at", "cause-found", "mended"]
    assert service.open_faults(session, cryostat.id or 0) == []
    service.add(session, ada, number, Step("It is back", "open"), AT)
    assert service.find(session, number).state == "open"


@pytest.mark.parametrize(
    ("step", "field"),
    [
        (Step(), "text"),
        (Step(state="mended"), "text"),
        (Step(state="left"), "text"),
        (Step("x", "cause-found"), "cause"),
        (Step("x", "cause-found", "gremlins"), "cause"),
        (Step("", "cause-found", "other"), "text"),
        (Step("x", "exploded"), "state"),
        (Step("x" * 2001), "text"),
        (Step("x", owner_login="nobody-here"), "owner"),
    ],
)
def test_a_step_that_says_too_little_is_refused(books: Books, step: Step, field: str) -> None:
    number = a_fault(books).id or 0
    with pytest.raises(Refused) as caught:
        service.add(books[0], books[1], number, step, AT)
    assert set(caught.value.fields) == {field}


def test_a_note_is_welcome_from_anybody_but_where_it_stands_is_not(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    number = a_fault(books).id or 0
    service.add(session, ben, number, Step("I heard it tick"), AT)
    with pytest.raises(Forbidden):
        service.add(session, ben, number, Step("Gone", "mended"), AT)
    instruments.give_grade(session, ada, cryostat, ben, 1, AT)
    service.add(session, ben, number, Step("Gone", "mended"), AT)


def test_who_reported_it_may_say_where_it_stands(books: Books) -> None:
    session = books[0]
    ben = somebody(session, "ben", steward=False)
    number = a_fault(books, ben).id or 0
    service.add(session, ben, number, Step("It was nothing, the lamp", "left"), AT)


@pytest.mark.parametrize("number", [0, -1, 7, 2**40])
def test_what_is_not_there_is_not_found(books: Books, number: int) -> None:
    with pytest.raises(NotFound):
        service.find(books[0], number)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE fault SET what_seen = 'nothing'",
        "DELETE FROM fault_entry",
        "UPDATE fault_entry SET text = 'x'",
        "DELETE FROM fault",
    ],
)
def test_the_database_itself_refuses_to_rewrite(books: Books, statement: str) -> None:
    a_fault(books)
    with pytest.raises(sa.exc.DatabaseError, match="append-only"):
        books[0].execute(sa.text(statement))
