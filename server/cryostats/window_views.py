"""What the pages of the cold window and of standing orders show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cryostats import guards, window, window_rules
from server.cryostats.models import Cryostat
from server.cryostats.rules import STEWARD
from server.cryostats.window_rules import CELLS, GRADE_COLUMNS, Line
from server.db import now
from server.laboratory import orders
from server.laboratory.order_models import StandingOrder
from server.people.models import Person


@dataclass(frozen=True)
class WindowView:
    """The table of a cold window, and for a steward its form."""

    cryostat: Cryostat
    lines: Sequence[Line]
    words: Mapping[str, str]
    cold: bool
    may_write: bool
    orders: Sequence[StandingOrder]
    faults: Mapping[str, str] = field(default_factory=dict)
    columns: Sequence[tuple[str, str]] = tuple(
        zip(GRADE_COLUMNS, ("1 operate", "2 open", "3 rewire, 4 service"), strict=True)
    )

    def choices(self, line: Line) -> Sequence[tuple[str, str]]:
        """What a cell of this line may say."""
        return [(key, words) for key, words in CELLS.items() if key in window_rules.legal(line)]


def table(
    session: Session, person: Person, cryostat: Cryostat, faults: Mapping[str, str] | None = None
) -> WindowView:
    """The table as it holds now."""
    return WindowView(
        cryostat=cryostat,
        lines=window.lines(session, cryostat),
        words=CELLS,
        cold=window.state_at(session, cryostat, now()) == window_rules.COLD,
        may_write=guards.grade_of(session, person, cryostat) >= STEWARD,
        orders=orders.applying(session, f"cryostat/{cryostat.slug}"),
        faults=faults or {},
    )


@dataclass(frozen=True)
class OrdersView:
    """The standing orders of one cryostat, with those of the laboratory above them."""

    cryostat: Cryostat
    above: StandingOrder | None
    versions: Sequence[StandingOrder]
    may_write: bool
    typed: str
    after: int
    faults: Mapping[str, str]


def orders_page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    typed: str | None = None,
    faults: Mapping[str, str] | None = None,
) -> OrdersView:
    """What holds, and every version before it."""
    versions = orders.versions(session, f"cryostat/{cryostat.slug}")
    return OrdersView(
        cryostat=cryostat,
        above=orders.newest(session, orders.LABORATORY),
        versions=versions,
        may_write=guards.grade_of(session, person, cryostat) >= STEWARD,
        typed=typed if typed is not None else versions[0].text if versions else "",
        after=versions[0].number if versions else 0,
        faults=faults or {},
    )
