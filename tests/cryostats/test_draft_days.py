"""When a draft is frozen: the day it goes in, three working days before it, late agreement with its reason.

Three working days is common practice, from memory; AT is Saturday 14 March 2026, in a laboratory that keeps
Monday to Friday.
"""

from datetime import date, timedelta

import pytest
from sqlmodel import Session, col, select

from server.cryostats import budget, draft_steps, drafts, instruments
from server.cryostats.draft_models import DraftBudget
from server.cryostats.draft_steps import Ask, Said
from server.cryostats.drafts import Drawn, Sheet
from server.cryostats.models import BudgetRow, Cryostat
from server.errors import Conflict, Forbidden, Refused
from server.history import service as history
from server.people.models import Person
from server.people.service import CommandLine
from server.physics import thermal
from tests.factories import AT, TEST_POINTS, a_cooler, a_cryostat, change, logged, somebody, wire

Books = tuple[Session, Person, Person, Cryostat]
FRIDAY = date(2026, 3, 20)


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who rewires and has drawn draft 1, and a cryostat with a loom at revision 1."""
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 3, AT)
    logged(session, ada, bench, wire())
    drafts.make(session, ben, bench.slug, Drawn("Chip", change(1, wire(count=12))), AT)
    return session, ada, ben, bench


def take(books: Books, person: Person, what: str, days: int = 0, version: int = 1, **said: object) -> Sheet:
    at = AT + timedelta(days=days)
    return draft_steps.take(books[0], person, 1, what, version, Said(**said), at)  # type: ignore[arg-type]


def test_without_a_day_it_is_frozen_as_soon_as_it_is_agreed_to(books: Books) -> None:
    _, ada, ben, _ = books
    take(books, ben, "asked")
    made = take(books, ada, "approved")
    assert (made.standing.state, made.standing.freeze_on) == ("frozen", date(2026, 3, 14))


def test_it_is_frozen_three_working_days_before_it_goes_in(books: Books) -> None:
    session, ada, ben, _ = books
    assert take(books, ben, "asked", build_on=FRIDAY).standing.build_on == FRIDAY
    made = take(books, ada, "approved", note="Photograph it")
    assert (made.standing.state, made.standing.freeze_on) == ("agreed", date(2026, 3, 17))
    assert made.standing.conditions == "Photograph it"
    with pytest.raises(Conflict, match="once it is frozen"):
        draft_steps.build(session, ben, 1, Ask(1), AT + timedelta(days=2))
    assert drafts.find(session, 1, at=AT + timedelta(days=3)).standing.state == "frozen"
    assert draft_steps.build(session, ben, 1, Ask(1), AT + timedelta(days=3)).revision.number == 2


def test_the_steward_may_name_another_day(books: Books) -> None:
    _, ada, ben, _ = books
    take(books, ben, "asked", build_on=FRIDAY)
    assert take(books, ada, "approved", freeze_on=date(2026, 3, 19)).standing.freeze_on == date(2026, 3, 19)


@pytest.mark.parametrize("day", [date(2026, 3, 13), FRIDAY + timedelta(days=1), date(9999, 1, 1)])
def test_a_day_that_is_over_or_after_it_goes_in_cannot_freeze(books: Books, day: date) -> None:
    _, ada, ben, _ = books
    take(books, ben, "asked", build_on=FRIDAY)
    with pytest.raises(Refused) as refused:
        take(books, ada, "approved", freeze_on=day)
    assert set(refused.value.fields) == {"freeze_on"}


@pytest.mark.parametrize("day", [date(2026, 3, 13), date(1, 1, 1), date(9999, 12, 31)])
def test_nothing_goes_in_yesterday_or_in_years(books: Books, day: date) -> None:
    with pytest.raises(Refused) as refused:
        take(books, books[2], "asked", build_on=day)
    assert set(refused.value.fields) == {"build_on"}


def test_late_agreement_says_how_many_working_days_are_left_and_needs_the_stewards_reason(
    books: Books,
) -> None:
    session, ada, ben, _ = books
    take(books, ben, "asked", build_on=date(2026, 3, 17))
    with pytest.raises(Refused) as refused:
        take(books, ada, "approved")
    words = "It is to go in on 2026-03-17: one working day from now, where 3 are asked"
    assert refused.value.fields == {"override": f"{words}; enter why it may be approved this late"}
    made = take(books, ada, "approved", override="The beam time is on Wednesday")
    assert (made.standing.state, made.standing.override) == ("frozen", "The beam time is on Wednesday")
    assert "Late: The beam time is on Wednesday" in history.of(session, "cryostat/bench-a")[0].what


def test_a_reason_for_being_late_is_not_kept_where_it_is_not_late(books: Books) -> None:
    _, ada, ben, _ = books
    take(books, ben, "asked", build_on=FRIDAY)
    assert take(books, ada, "approved", override="Why not").standing.override == ""


def test_altered_after_freezing_it_is_asked_for_again_and_late(books: Books) -> None:
    session, ada, ben, _ = books
    take(books, ben, "asked", build_on=FRIDAY)
    take(books, ada, "approved")
    monday_after = AT + timedelta(days=4)
    again = drafts.alter(session, ben, 1, Drawn("Chip", change(1, wire(count=6))), 1, monday_after)
    assert (again.standing.state, again.standing.freeze_on) == ("drawing", None)
    take(books, ben, "asked", days=4, version=2, build_on=FRIDAY)
    with pytest.raises(Refused) as refused:
        take(books, ada, "approved", days=4, version=2)
    assert "2 working days" in refused.value.fields["override"]


def test_whoever_draws_it_may_freeze_it_earlier_and_only_a_steward_puts_that_off(books: Books) -> None:
    session, ada, ben, _ = books
    take(books, ben, "asked", build_on=FRIDAY)
    take(books, ada, "approved")
    with pytest.raises(Refused, match="not made") as refused:
        take(books, ben, "freeze", freeze_on=date(2026, 3, 18))
    assert "only a steward" in refused.value.fields["freeze_on"]
    assert take(books, ada, "freeze", freeze_on=date(2026, 3, 18)).standing.freeze_on == date(2026, 3, 18)
    assert take(books, ben, "freeze").standing.state == "frozen"
    with pytest.raises(Conflict, match="approved and frozen"):
        take(books, ada, "freeze", freeze_on=FRIDAY)
    with pytest.raises(Forbidden, match="belongs to Ben"):
        take((session, *books[1:]), _stranger(session, books[3]), "freeze")


def _stranger(session: Session, bench: Cryostat) -> Person:
    cleo = somebody(session, "cleo", steward=False)
    instruments.give_grade(session, CommandLine(), bench, cleo, 4, AT)
    return cleo


def models(session: Session) -> list[tuple[int, str]]:
    rows = session.exec(select(DraftBudget).order_by(col(DraftBudget.id))).all()
    return [(row.cooler_version, row.model) for row in rows]


def test_the_budget_of_an_open_draft_is_stored_again_when_the_cooler_is_measured_anew(books: Books) -> None:
    session, ada, ben, bench = books
    drafts.make(session, ben, bench.slug, Drawn("Gone", change(1, wire(count=2))), AT)
    draft_steps.take(session, ben, 2, "withdrawn", 1, "No time", AT)
    a_cooler(session, bench)
    assert models(session) == [(0, thermal.MODEL), (0, thermal.MODEL), (1, thermal.MODEL)]
    sheet = drafts.find(session, 1)
    assert drafts.budget_of(session, sheet.version).budget.temperatures
    data = {"cooler": {"kind": "heater-test", "points": TEST_POINTS}}
    instruments.measure_cooler(session, ada, bench, data, 0, "", AT)
    assert models(session)[3:] == [(2, thermal.MODEL)]


def test_budgets_of_an_older_model_are_computed_anew_once_and_the_older_ones_stay(
    books: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    session, ada, _, bench = books
    a_cooler(session, bench)
    assert instruments.recompute(session, ada, bench, AT) == 0
    with monkeypatch.context() as patched:
        patched.setattr(thermal, "MODEL", "later")
        found = budget.of_revision(session, bench, 1)
        assert budget.is_behind(session, bench, found.budget.model, found.cooler_version)
        assert instruments.recompute_all(session, ada, AT) == 2
    rows = session.exec(select(BudgetRow).where(BudgetRow.revision == 1).order_by(col(BudgetRow.id))).all()
    assert len(rows) == 3
    assert rows[1].data == rows[2].data
