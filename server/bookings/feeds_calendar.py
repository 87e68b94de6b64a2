"""Bookings and holds as a calendar (RFC 5545, with RFC 7986's refresh interval). All times are UTC. Pure.

What comes out depends on the rows alone and never on the moment of asking, so that its ETag stands still.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import NAMESPACE_OID, uuid5

from icalendar import Calendar, Event, FreeBusy

from server.bookings import lines
from server.bookings.models import Booking, Hold
from server.bookings.rules import Phase
from server.bookings.writing import BOOKED
from server.web import moments

REFRESH = timedelta(hours=1)
BUSY, TENTATIVE, UNAVAILABLE = "BUSY", "BUSY-TENTATIVE", "BUSY-UNAVAILABLE"


@dataclass(frozen=True)
class Told:
    """One booking as a feed tells it; `phases` are the last it had, where it has lost its place."""

    booking: Booking
    cryostat: str
    phases: Sequence[Phase]
    purpose: str
    """Empty where it does not concern the reader."""


def calendar(name: str) -> Calendar:
    """An empty calendar of this name."""
    made = Calendar()
    made.add("prodid", "-//Coldstead//Plan//EN")
    made.add("version", "2.0")
    made.add("name", name)
    made.add("refresh-interval", REFRESH, parameters={"value": "DURATION"})
    return made


def event(told: Told, zone: str) -> Event:
    """A booking: from the first phase of its chain to the last, cancelled when it has no place any more."""
    booking, made = told.booking, Event()
    made.add("uid", booking.uid)
    made.add("sequence", booking.sequence)
    made.add("dtstamp", booking.altered_at)
    made.add("last-modified", booking.altered_at)
    made.add("created", booking.made_at)
    made.add("dtstart", told.phases[0].starts.astimezone(UTC))
    made.add("dtend", told.phases[-1].ends.astimezone(UTC))
    made.add("summary", f"{told.cryostat}: {booking.owner_name}")
    made.add("location", told.cryostat)
    made.add("description", _description(told, zone))
    made.add("status", _status(booking))
    made.add("transp", "OPAQUE" if booking.state == BOOKED else "TRANSPARENT")
    return made


def _status(booking: Booking) -> str:
    if booking.state != BOOKED:
        return "CANCELLED"
    return "TENTATIVE" if booking.tentative else "CONFIRMED"


def _description(told: Told, zone: str) -> str:
    rows = [f"{row.words}: {moments.when(row.starts, zone)}, {row.hours:.1f} h" for row in told.phases]
    head = [told.purpose] if told.purpose else []
    return "\n".join([*head, *rows])


def hold_event(hold: Hold, cryostat: str) -> Event:
    """A hold; a soft one takes no time yet and is no event."""
    made = Event()
    made.add("uid", str(uuid5(NAMESPACE_OID, f"hold {hold.id} {hold.made_at.isoformat()}")))
    # A hold is prolonged or ended, and nothing else of it moves; its length rises or its end is written.
    altered = hold.ended_at or hold.made_at
    made.add("sequence", int(hold.ends.timestamp()) // 60 % 2**30 if hold.ended_at is None else 2**30)
    made.add("dtstamp", altered)
    made.add("dtstart", hold.starts)
    made.add("dtend", hold.ends)
    made.add("summary", f"{cryostat}: hold, {hold.reason}")
    made.add("description", f"Ends when: {hold.condition}")
    made.add("status", "CONFIRMED" if hold.ends > hold.starts else "CANCELLED")
    made.add("transp", "OPAQUE")
    return made


def free_busy(
    uid: str, bookings: Iterable[Booking], holds: Iterable[Hold], first: datetime, last: datetime
) -> FreeBusy:
    """When a cryostat is taken, and nothing about by whom or what for."""
    made, stamps = FreeBusy(), [first]
    made.add("uid", uid)
    made.add("dtstart", first)
    made.add("dtend", last)
    for booking in bookings:
        phases = lines.phases_of(booking)
        stamps.append(booking.altered_at)
        _busy(made, phases[0].starts, phases[-1].ends, TENTATIVE if booking.tentative else BUSY)
    for hold in holds:
        stamps.append(hold.ended_at or hold.made_at)
        if hold.ends > hold.starts:
            _busy(made, hold.starts, hold.ends, UNAVAILABLE)
    made.add("dtstamp", max(stamps))
    return made


def _busy(made: FreeBusy, starts: datetime, ends: datetime, kind: str) -> None:
    made.add("freebusy", [(starts.astimezone(UTC), ends.astimezone(UTC))], parameters={"FBTYPE": kind})
