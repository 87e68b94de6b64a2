"""Photographs before and after, sketches: put in by whoever operates, never deleted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cryostats.photographs import LONGEST_CAPTION, MOST_AT_ONCE, Picture
from server.cryostats.rules import OPERATE, text_faults
from server.errors import Refused
from server.files import service as files
from server.files.models import StoredFile
from server.openings import kinds
from server.openings.finding import Sheet, locked
from server.openings.models import OpeningPicture
from server.openings.writing import note
from server.people.models import Person

Shown = tuple[OpeningPicture, StoredFile]


@dataclass(frozen=True)
class Sent:
    """Pictures as somebody sends them: what they show, words to them, what is wrong with the files."""

    shows: str
    caption: str
    pictures: Sequence[Picture]
    wrong: str = ""


def add(
    session: Session, person: Person, slug: str, number: int, sent: Sent, home: Path, now: datetime
) -> list[OpeningPicture]:
    """Keep the pictures, all or none; Refused with the fields to mend."""
    sheet = locked(session, person, slug, number, OPERATE)
    found = text_faults("caption", "the words", sent.caption, LONGEST_CAPTION)
    if sent.wrong or not sent.pictures:
        found["files"] = sent.wrong or "Choose at least one file"
    if len(sent.pictures) > MOST_AT_ONCE:
        found["files"] = f"Send at most {MOST_AT_ONCE} files at once"
    if sent.shows not in kinds.SHOWS:
        found["shows"] = "Choose what it shows"
    if found:
        raise Refused("Nothing was stored.", found)
    rows = [_row(session, person, sheet, sent, picture, home, now) for picture in sent.pictures]
    session.add_all(rows)
    words = f"{len(rows)} kept, {kinds.SHOWS[sent.shows].lower()}. {sent.caption.strip()}"
    note(session, person, sheet.cryostat, sheet.opening, words.strip(), now)
    session.flush()
    return rows


def _row(
    session: Session,
    person: Person,
    sheet: Sheet,
    sent: Sent,
    picture: Picture,
    home: Path,
    now: datetime,
) -> OpeningPicture:
    kept = files.keep(session, home, picture.cleaned, now)
    assert kept.id is not None
    assert sheet.opening.id is not None
    return OpeningPicture(
        opening_id=sheet.opening.id,
        file_id=kept.id,
        shows=sent.shows,
        caption=sent.caption.strip(),
        sent_name=picture.name,
        at=now,
        by_name=person.name,
        by_id=person.id,
    )


def of_opening(session: Session, opening_id: int) -> Sequence[Shown]:
    """Its pictures with their files, the oldest first."""
    query = (
        select(OpeningPicture, StoredFile)
        .join(StoredFile, col(StoredFile.id) == OpeningPicture.file_id)
        .where(OpeningPicture.opening_id == opening_id)
    )
    return session.exec(query.order_by(col(OpeningPicture.id))).all()
