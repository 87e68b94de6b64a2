"""What the page of the calendar addresses shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.bookings import feeds
from server.bookings.feeds_models import FeedAddress
from server.cryostats import instruments
from server.people.models import Person


@dataclass(frozen=True)
class FeedsView:
    """Somebody's addresses; `made` is a new one's text, shown this once."""

    rows: Sequence[tuple[FeedAddress, str]]
    kinds: Sequence[tuple[str, str]]
    cryostats: Sequence[tuple[str, str]]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    made: str = ""


def page(
    session: Session,
    person: Person,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    made: str = "",
) -> FeedsView:
    """The addresses as they are."""
    cryostats = instruments.all_of(session)
    names = {row.id: row.name for row in cryostats}
    rows = []
    for row in feeds.of(session, person):
        words = feeds.KINDS[row.kind]
        rows.append((row, f"{names[row.cryostat_id]}: {words}" if row.cryostat_id else words))
    return FeedsView(
        rows=rows,
        kinds=list(feeds.KINDS.items()),
        cryostats=[("", "choose"), *((row.slug, row.name) for row in cryostats)],
        typed=typed or {},
        faults=faults or {},
        made=made,
    )
