"""A cold cryostat, somebody who may open it, and ways to book; times are on the laboratory's own clock."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import Session

from server.bookings import asking, service
from server.bookings.checks import Ask
from server.bookings.finding import Slot
from server.bookings.models import Booking
from server.cryostats import draft_steps, drafts, instruments
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.laboratory.service import set_up
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_cryostat, change, lid, logged, somebody, wire

VIENNA = ZoneInfo("Europe/Vienna")
NOW = datetime(2026, 3, 16, 8, 0, tzinfo=VIENNA).astimezone(UTC)
"""A Monday morning, a fortnight before the clocks change."""


def hours(number: float) -> timedelta:
    return timedelta(hours=number)


def local(moment: datetime | None) -> str:
    assert moment is not None
    return f"{moment.astimezone(VIENNA):%a %d %H:%M}"


def ask(cold_hours: float = 10, **more: object) -> Ask:
    return Ask(cold_hours, "A look at the chip", **more)  # type: ignore[arg-type]


@dataclass
class Desk:
    """The books of the tests: a steward, Ben who rewires, Cleo who watches, and Bench A, cold."""

    session: Session
    ada: Person
    ben: Person
    cleo: Person
    bench: Cryostat

    def slot(self, wanted: Ask, at: datetime = NOW) -> Slot:
        return asking.slots(self.session, self.bench, wanted, at, 1)[0]

    def book(self, wanted: Ask | None = None, at: datetime = NOW, who: Person | None = None) -> Booking:
        """Take the first slot."""
        wanted = wanted or ask()
        window = self.slot(wanted, at).chain.window
        return service.book(self.session, who or self.ben, self.bench.slug, wanted, window.starts, at)

    def draft(self, *rows: dict[str, object], approved: bool = True, name: str = "Chip") -> int:
        """A draft on what is inside now, approved unless said otherwise."""
        wanted = change(self.bench.revision, *rows)
        made = drafts.make(self.session, self.ben, self.bench.slug, Drawn(name, wanted), AT)
        number = made.draft.id or 0
        if approved:
            draft_steps.take(self.session, self.ben, number, "asked", 1, "", AT)
            draft_steps.take(self.session, self.ada, number, "approved", 1, "", AT)
        return number


@pytest.fixture
def desk(session: Session) -> Desk:
    set_up(session, "Invented laboratory", "Europe/Vienna")
    return furnished(session)


def furnished(session: Session) -> Desk:
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    cleo = somebody(session, "cleo", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 3, AT)
    instruments.give_grade(session, CommandLine(), bench, cleo, 1, AT)
    logged(session, ada, bench, wire(label="Loom"), lid(label="Lid"))
    instruments.enter_state(session, ada, bench, "cold", AT, "", AT)
    return Desk(session, ada, ben, cleo, bench)
