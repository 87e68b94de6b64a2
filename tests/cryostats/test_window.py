"""The table of a cold window: what it begins as, what a steward makes of it, and the server holding to it.

What the table begins as is common practice, no source.
"""

from datetime import datetime, timedelta

import pytest
from sqlmodel import Session

from server.cryostats import draft_steps, drafts, instruments, service, window
from server.cryostats.draft_steps import Ask
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.errors import Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_cryostat, change, lid, logged, somebody, wire

Books = tuple[Session, Person, Person, Cryostat]
YESTERDAY = AT - timedelta(days=1)


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who rewires, and a cryostat that is cold since this morning, with a loom and a lid."""
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 3, AT)
    logged(session, ada, bench, wire(), lid())
    for state, hours in (("open", 30), ("cold", 3)):
        instruments.enter_state(session, ada, bench, state, AT - timedelta(hours=hours), "", AT)
    return session, ada, ben, bench


def log(session: Session, person: Person, bench: Cryostat, done_at: datetime | None = None) -> None:
    wanted = change(bench.revision, wire(count=12), done_at=done_at)
    service.log_change(session, person, bench.slug, wanted, AT)


def build(session: Session, ada: Person, person: Person, bench: Cryostat, *, house: bool) -> None:
    rows = (lid("off"), wire(count=12)) if house else (lid("off"),)
    drawn = Drawn("Chip", change(1, *rows), house=house)
    number = drafts.make(session, ada, bench.slug, drawn, AT).draft.id or 0
    if not house:
        for what in ("asked", "approved"):
            draft_steps.take(session, ada, number, what, 1, "", AT)
    draft_steps.build(session, person, number, Ask(1), AT)


def test_while_it_is_cold_nobody_below_steward_changes_what_is_inside_by_hand(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Forbidden, match=r"is cold.*approved draft only"):
        log(session, ben, bench)
    assert bench.revision == 1
    log(session, ada, bench)


def test_a_change_is_judged_by_the_state_at_the_time_it_was_done(books: Books) -> None:
    session, _, ben, bench = books
    log(session, ben, bench, done_at=YESTERDAY)
    assert bench.revision == 2


def test_when_it_is_open_the_grades_alone_decide(books: Books) -> None:
    session, ada, ben, bench = books
    instruments.enter_state(session, ada, bench, "open", AT, "Adsorber", AT)
    log(session, ben, bench)


def test_an_approved_draft_goes_in_by_whoever_rewires_and_not_by_whoever_opens(books: Books) -> None:
    session, ada, ben, bench = books
    build(session, ada, ben, bench, house=False)
    assert bench.revision == 2


def test_whoever_opens_may_build_the_house_draft_and_no_other(books: Books) -> None:
    session, ada, ben, bench = books
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    with pytest.raises(Forbidden):
        build(session, ada, ben, bench, house=False)
    build(session, ada, ben, bench, house=True)
    assert bench.revision == 2


def test_whoever_only_operates_builds_nothing(books: Books) -> None:
    session, ada, ben, bench = books
    instruments.give_grade(session, CommandLine(), bench, ben, 1, AT)
    with pytest.raises(Forbidden):
        build(session, ada, ben, bench, house=True)


def test_a_heat_source_has_a_line_of_its_own(books: Books) -> None:
    session, ada, ben, bench = books
    window.write(session, ada, bench.slug, "source", {"rewire": "yes"}, AT)
    source = {"key": "laser", "kind": "source", "what": "laser", "stage": "sample", "power_W": 0.001}
    service.log_change(session, ben, bench.slug, change(1, source), AT)
    with pytest.raises(Forbidden, match="Change lid, window, lag, wire"):
        service.log_change(
            session, ben, bench.slug, change(2, source | {"power_W": 0.002}, wire(count=1)), AT
        )


def test_what_the_steward_writes_is_held_to_and_lands_in_the_history(books: Books) -> None:
    session, ada, ben, bench = books
    window.write(session, ada, bench.slug, "configuration", {"rewire": "yes", "record": "photograph"}, AT)
    log(session, ben, bench)
    (line,) = [line for line in window.lines(session, bench) if line.what == "configuration"]
    assert (line.operate, line.open, line.rewire, line.record) == ("no", "house", "yes", "photograph")
    entry = history.of(session, "cryostat/bench-a")[1]
    assert entry.detail["before"]["rewire"] == "approved"


def test_the_table_is_each_cryostats_own(books: Books) -> None:
    session, ada, _, bench = books
    other = a_cryostat(session, "Bench B")
    window.write(session, ada, bench.slug, "pump", {"operate": "yes"}, AT)
    said = {
        row.slug: {line.what: line.operate for line in window.lines(session, row)} for row in (bench, other)
    }
    assert (said["bench-a"]["pump"], said["bench-b"]["pump"]) == ("yes", "no")


def test_only_a_steward_writes_the_table_and_only_what_it_may_say(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Forbidden):
        window.write(session, ben, bench.slug, "pump", {"operate": "yes"}, AT)
    with pytest.raises(NotFound):
        window.write(session, ada, bench.slug, "wine", {"operate": "yes"}, AT)
    with pytest.raises(Refused) as refused:
        window.write(session, ada, bench.slug, "configuration", {"operate": "inducted"}, AT)
    assert refused.value.fields == {"configuration.operate": "Choose one of the answers"}
    with pytest.raises(Refused):
        window.write(session, ada, bench.slug, "pump", {"operate": "no"}, AT)


def warm(session: Session, person: Person, bench: Cryostat, note: str = "", hours: int = 0) -> None:
    instruments.enter_state(session, person, bench, "warming", AT - timedelta(hours=hours), note, AT)


@pytest.mark.parametrize(("grade", "may"), [(1, False), (2, False), (3, True), (4, True)])
def test_what_is_cold_is_warmed_by_whom_the_table_lets(books: Books, grade: int, may: bool) -> None:
    session, _, ben, bench = books
    instruments.give_grade(session, CommandLine(), bench, ben, grade, AT)
    if may:
        warm(session, ben, bench)
        return
    with pytest.raises(Forbidden, match=r"is cold.*Warm and open"):
        warm(session, ben, bench)


def test_whoever_opens_may_warm_what_is_their_own_or_shared(books: Books) -> None:
    session, ada, ben, bench = books
    build(session, ada, ben, bench, house=False)
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    with pytest.raises(Forbidden, match="if own booking or draft"):
        warm(session, ben, bench)
    shared = drafts.make(session, ada, bench.slug, Drawn("Two", change(2, lid()), (ben.id or 0,)), AT)
    number = shared.draft.id or 0
    for who, what in ((ada, "asked"), (ben, "yes"), (ada, "approved")):
        draft_steps.take(session, who, number, what, 1, "", AT)
    draft_steps.build(session, ada, number, Ask(1), AT)
    warm(session, ben, bench)


def test_a_steward_who_ends_anothers_cold_window_writes_why(books: Books) -> None:
    session, ada, _, bench = books
    with pytest.raises(Refused) as refused:
        warm(session, ada, bench, " ")
    assert "enter why" in refused.value.fields["note"]
    warm(session, ada, bench, "Water alarm")
    assert instruments.state_now(session, bench).state == "warming"  # type: ignore[union-attr]


def test_warming_is_judged_by_the_state_at_the_time(books: Books) -> None:
    session, _, ben, bench = books
    instruments.give_grade(session, CommandLine(), bench, ben, 1, AT)
    warm(session, ben, bench, hours=20)


def test_the_line_for_warming_says_what_the_steward_writes(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Refused):
        window.write(session, ada, bench.slug, "warm", {"open": "house"}, AT)
    window.write(session, ada, bench.slug, "warm", {"rewire": "no"}, AT)
    with pytest.raises(Forbidden):
        warm(session, ben, bench)
