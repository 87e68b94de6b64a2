"""What the page of two clashing requests shows: the ways side by side, what each costs, the shares."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.bookings import clashes, fairness, reading, ruling
from server.bookings.clashes import FIRST, SECOND, SHARED, Ways
from server.bookings.fairness import Use
from server.bookings.models import Booking, Decision
from server.bookings.orders import Outcome
from server.cryostats.models import Cryostat
from server.errors import Conflict, Refused
from server.people.models import Person


@dataclass(frozen=True)
class Way:
    """One way as a column of the page."""

    key: str
    words: str
    outcome: Outcome


@dataclass(frozen=True)
class ClashView:
    """Two requests for one cryostat, and every way of settling them."""

    cryostat: Cryostat
    requests: Sequence[tuple[str, str]]
    first: str
    second: str
    ways: Ways | None
    columns: Sequence[Way]
    uses: Sequence[Use]
    decisions: Sequence[Decision]
    may_decide: bool
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    conflict: str

    @property
    def choices(self) -> list[tuple[str, str]]:
        """The ways to choose from."""
        return [(row.key, row.words) for row in self.columns]


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    now: datetime,
    typed: Mapping[str, str],
    faults: Mapping[str, str] | None = None,
    conflict: str = "",
) -> ClashView:
    """The two that are chosen, or the list to choose from."""
    rows = _open(session, cryostat, now)
    first, second = typed.get("first", ""), typed.get("second", "")
    found, wrong = None, dict(faults or {})
    if first.isdecimal() and second.isdecimal() and len(first) < 10 and len(second) < 10:
        try:
            found = clashes.ways(session, cryostat, int(first), int(second), now)
        except (Refused, Conflict) as problem:
            wrong |= problem.fields
            conflict = conflict or (problem.message if isinstance(problem, Conflict) else "")
    return ClashView(
        cryostat=cryostat,
        requests=[("", "choose"), *((str(row.id), _words(row)) for row in rows)],
        first=first,
        second=second,
        ways=found,
        columns=_columns(found) if found else (),
        uses=fairness.use(session, ruling.numbers_of(session), now),
        decisions=clashes.decisions(session, cryostat),
        may_decide=person.steward,
        typed=typed,
        faults=wrong,
        conflict=conflict,
    )


def _open(session: Session, cryostat: Cryostat, now: datetime) -> list[Booking]:
    """Everything that has not begun: booked, or waiting."""
    booked = [row for row in reading.ahead(session, cryostat, now) if row.phases]
    return [*booked, *reading.placeless(session, cryostat)]


def _words(row: Booking) -> str:
    return f"{row.id}: {row.owner_name}, {row.cold_hours:g} cold hours"


def _columns(found: Ways) -> list[Way]:
    one, other = found.first.owner_name, found.second.owner_name
    words = {FIRST: f"{one}, then {other}", SECOND: f"{other}, then {one}"}
    rows = [Way(key, words[key], outcome) for key, outcome in found.orders.items()]
    if found.shared is not None:
        rows.append(Way(SHARED, "One shared configuration", found.shared))
    return rows
