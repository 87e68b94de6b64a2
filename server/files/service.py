"""Keeping a file, and finding it again."""

from datetime import datetime
from pathlib import Path

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, or_, select

from server.errors import NotFound
from server.files import store
from server.files.models import StoredFile
from server.files.pictures import Clean


def keep(session: Session, home: Path, cleaned: Clean, at: datetime) -> StoredFile:
    """The row of this content; the same content has one row, however often it is sent."""
    digest = store.put(home, cleaned.content)
    query = select(StoredFile).where(StoredFile.digest == digest)
    found = session.exec(query).first()
    if found is not None:
        return found
    row = StoredFile(
        digest=digest,
        media_type=cleaned.media_type,
        size_bytes=len(cleaned.content),
        width_px=cleaned.width_px,
        height_px=cleaned.height_px,
        small_digest=store.put(home, cleaned.small) if cleaned.small else None,
        kept_at=at,
    )
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        # Somebody else kept the same content since we looked, and has committed it.
        return session.exec(query).one()
    return row


def find(session: Session, digest: str) -> StoredFile:
    """The file of this digest, or whose thumbnail has it; NotFound."""
    query = select(StoredFile).where(or_(StoredFile.digest == digest, col(StoredFile.small_digest) == digest))
    found = session.exec(query.limit(1)).first()
    if found is None:
        raise NotFound("There is no such file.")
    return found
