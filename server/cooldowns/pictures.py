"""Photographs taken in a cooldown: a gauge, frost on a window, the panel of a compressor."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cooldowns import service
from server.cooldowns.models import Cooldown, CooldownPicture
from server.cryostats import instruments
from server.cryostats.rules import OPERATE, text_faults
from server.errors import Refused
from server.files import service as files
from server.files.models import StoredFile
from server.files.pictures import Clean
from server.history import service as history
from server.people.models import Person

MOST_AT_ONCE = 8
LONGEST_CAPTION = 500


@dataclass(frozen=True)
class Shown:
    """A photograph with its file."""

    picture: CooldownPicture
    file: StoredFile


@dataclass(frozen=True)
class Sent:
    """What somebody sent: what it shows, and the files that may be kept, each with the name it had."""

    caption: str
    pictures: Sequence[tuple[str, Clean]]
    faults: dict[str, str]


def of(session: Session, cooldown: Cooldown) -> list[Shown]:
    """All of a cooldown, oldest first."""
    query = (
        select(CooldownPicture, StoredFile)
        .join(StoredFile, col(StoredFile.id) == CooldownPicture.file_id)
        .where(CooldownPicture.cooldown_id == cooldown.id)
    )
    return [Shown(*row) for row in session.exec(query.order_by(col(CooldownPicture.id))).all()]


def add(
    session: Session, person: Person, slug: str, number: int, sent: Sent, home: Path, now: datetime
) -> int:
    """Keep them, all or none; how many."""
    sheet = service.locked(session, person, slug, number, OPERATE)
    found = dict(sent.faults) | text_faults("caption", "what it shows", sent.caption, LONGEST_CAPTION)
    if not sent.caption.strip():
        found["caption"] = "Enter what it shows"
    if not sent.pictures and "files" not in found:
        found["files"] = "Choose at least one file"
    if found:
        raise Refused("Nothing was stored.", found)
    for name, cleaned in sent.pictures:
        kept = files.keep(session, home, cleaned, now)
        assert kept.id is not None
        assert sheet.cooldown.id is not None
        session.add(
            CooldownPicture(
                cooldown_id=sheet.cooldown.id,
                file_id=kept.id,
                caption=sent.caption.strip(),
                sent_name=name,
                at=now,
                by_name=person.name,
                by_id=person.id,
            )
        )
    line = f"Cooldown {number}: {len(sent.pictures)} photographs. {sent.caption.strip()}"
    history.note(session, person, instruments.subject(sheet.cryostat), line, now)
    session.flush()
    return len(sent.pictures)
