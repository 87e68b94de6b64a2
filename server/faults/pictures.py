"""Photographs of a fault: put in by anybody, never deleted."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cryostats.photographs import LONGEST_CAPTION, MOST_AT_ONCE, Picture
from server.errors import Refused
from server.faults import service
from server.faults.models import Fault, FaultPhotograph
from server.files import service as files
from server.files.models import StoredFile
from server.history import service as history
from server.people.models import Person


def add(
    session: Session,
    person: Person,
    number: int,
    caption: str,
    pictures: Sequence[Picture],
    home: Path,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> list[FaultPhotograph]:
    """Keep the pictures, all of them or none. `unread` is what was wrong with the files themselves."""
    fault = service.find(session, number)
    wrong = dict(unread or {})
    if not pictures and "files" not in wrong:
        wrong["files"] = "Choose at least one file"
    if len(pictures) > MOST_AT_ONCE:
        wrong["files"] = f"Send at most {MOST_AT_ONCE} files at once"
    if not caption.strip() or len(caption) > LONGEST_CAPTION:
        wrong["caption"] = "Enter what it shows, in a line or two"
    if wrong:
        raise Refused("Nothing was stored.", wrong)
    rows = [_row(session, person, fault, caption.strip(), picture, home, now) for picture in pictures]
    session.add_all(rows)
    line = f"Fault {fault.id}, photograph: {caption.strip()}"
    history.note(
        session, person, service.subject(fault), line, now, {"files": [row.name for row in pictures]}
    )
    session.flush()
    return rows


def _row(
    session: Session,
    person: Person,
    fault: Fault,
    caption: str,
    picture: Picture,
    home: Path,
    now: datetime,
) -> FaultPhotograph:
    kept = files.keep(session, home, picture.cleaned, now)
    assert fault.id is not None
    assert kept.id is not None
    return FaultPhotograph(
        fault_id=fault.id, file_id=kept.id, caption=caption, at=now, by_name=person.name, by_id=person.id
    )


def of_fault(session: Session, fault: Fault) -> Sequence[tuple[FaultPhotograph, StoredFile]]:
    """Its photographs with their files, the oldest first."""
    query = (
        select(FaultPhotograph, StoredFile)
        .join(StoredFile, col(StoredFile.id) == FaultPhotograph.file_id)
        .where(FaultPhotograph.fault_id == fault.id)
    )
    return session.exec(query.order_by(col(FaultPhotograph.id))).all()
