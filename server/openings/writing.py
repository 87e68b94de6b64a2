"""One entry of a slip, written down once."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.history import service as history
from server.openings.models import Opening, OpeningEntry
from server.people.models import Person


@dataclass(frozen=True)
class Written:
    """An entry as somebody wants it. `faults` are what the reader of the form found already."""

    kind: str
    data: Mapping[str, Any]
    at: datetime | None = None
    note: str = ""
    faults: Mapping[str, str] | None = None


def write(
    session: Session,
    person: Person,
    opening: Opening,
    wish: Written,
    now: datetime,
    takes_back: int | None = None,
) -> OpeningEntry:
    """The row of an entry that was checked."""
    assert opening.id is not None
    row = OpeningEntry(
        opening_id=opening.id,
        kind=wish.kind,
        at=wish.at or now,
        data={name: value for name, value in wish.data.items() if value not in (None, "")},
        note=wish.note.strip(),
        takes_back=takes_back,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def note(
    session: Session, person: Person, cryostat: Cryostat, opening: Opening, line: str, now: datetime
) -> None:
    """The line in the cryostat's history."""
    text = f"Opening {opening.number}: {line}"
    history.note(session, person, instruments.subject(cryostat), text, now, {"opening": opening.number})
