"""Photographs and drawings of parts: put in, looked at, marked withdrawn, never deleted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cryostats import parts
from server.cryostats.part_models import Part, PartPhotograph, PartWithdrawal
from server.cryostats.photographs import LONGEST_CAPTION, Picture
from server.cryostats.rules import OPEN, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.files import service as files
from server.files.models import StoredFile
from server.files.pictures import PDF
from server.history import service as history
from server.people.models import Person

LARGEST_KEY = 2**31 - 1


@dataclass(frozen=True)
class Shown:
    """A photograph with its file, and why it was withdrawn where it was."""

    photograph: PartPhotograph
    file: StoredFile
    withdrawal: PartWithdrawal | None

    @property
    def document(self) -> bool:
        """True for a PDF, of which there is nothing to show."""
        return self.file.media_type == PDF


def of_part(session: Session, part: Part) -> list[Shown]:
    """All of them, the newest first."""
    query = (
        select(PartPhotograph, StoredFile, PartWithdrawal)
        .join(StoredFile, col(StoredFile.id) == PartPhotograph.file_id)
        .join(PartWithdrawal, col(PartWithdrawal.photograph_id) == PartPhotograph.id, isouter=True)
        .where(PartPhotograph.part_id == part.id)
    )
    rows = session.exec(query.order_by(col(PartPhotograph.id).desc())).all()
    return [Shown(*row) for row in rows]


def add(
    session: Session,
    person: Person,
    tag: str,
    caption: str,
    pictures: Sequence[Picture],
    home: Path,
    at: datetime,
    wrong: str = "",
) -> list[PartPhotograph]:
    """Keep the pictures, all of them or none. `wrong` is what is wrong with the files themselves."""
    part = parts.find(session, tag, lock=True)
    parts.need(session, person, OPEN)
    found = text_faults("caption", "what it shows", caption, LONGEST_CAPTION)
    if not caption.strip():
        found["caption"] = "Enter what it shows"
    if wrong or not pictures:
        found["files"] = wrong or "Choose at least one file"
    if found:
        raise Refused(parts.NOT_STORED, found)
    rows = [_row(session, person, part, caption.strip(), picture, home, at) for picture in pictures]
    session.add_all(rows)
    session.flush()
    many = "photograph" if len(rows) == 1 else f"{len(rows)} photographs"
    history.note(session, person, f"part/{tag}", f"Part {tag}, {many}: {caption.strip()}", at)
    return rows


def _row(
    session: Session, person: Person, part: Part, caption: str, picture: Picture, home: Path, at: datetime
) -> PartPhotograph:
    kept = files.keep(session, home, picture.cleaned, at)
    assert part.id is not None
    assert kept.id is not None
    return PartPhotograph(
        part_id=part.id,
        file_id=kept.id,
        caption=caption,
        sent_name=picture.name,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )


def withdraw(
    session: Session, person: Person, tag: str, number: int, reason: str, at: datetime
) -> PartWithdrawal:
    """Mark one withdrawn, by whoever put it in or by a steward. It stays, and says why."""
    part = parts.find(session, tag, lock=True)
    row = session.get(PartPhotograph, number) if 0 < number <= LARGEST_KEY else None
    if row is None or row.part_id != part.id:
        raise NotFound(f"{part.name} has no such photograph.")
    if not person.steward and row.by_id != person.id:
        raise Forbidden(f"Only {row.by_name}, who put it in, or a steward may withdraw it.")
    query = select(PartWithdrawal).where(PartWithdrawal.photograph_id == number)
    if session.exec(query).first() is not None:
        raise Conflict("It is withdrawn already.")
    found = text_faults("reason", "the reason", reason, LONGEST_CAPTION)
    if not reason.strip():
        found["reason"] = "Enter why it no longer counts"
    if found:
        raise Refused("It was not withdrawn.", found)
    made = PartWithdrawal(
        photograph_id=number, reason=reason.strip(), at=at, by_name=person.name, by_id=person.id
    )
    session.add(made)
    session.flush()
    history.note(session, person, f"part/{tag}", f"Part {tag}, photograph withdrawn: {made.reason}", at)
    return made
