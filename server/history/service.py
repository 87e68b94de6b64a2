"""Writing to the record, and reading it back. There is no way to change or remove an entry."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Protocol

from sqlmodel import Session, col, select

from server.history.models import Entry


class Author(Protocol):
    """Whoever did it: a person, or the program's own command line."""

    @property
    def id(self) -> int | None:
        """Key of the person, or None for the command line."""

    @property
    def name(self) -> str:
        """Name as shown now; it is copied, so that it survives the person leaving."""


def note(
    session: Session,
    author: Author,
    subject: str,
    what: str,
    at: datetime,
    detail: dict[str, Any] | None = None,
) -> Entry:
    """Add one entry in the transaction of the write it tells of."""
    entry = Entry(
        at=at,
        person_name=author.name,
        person_id=author.id,
        subject=subject,
        what=what,
        detail=detail or {},
    )
    session.add(entry)
    return entry


def of(session: Session, subject: str, limit: int = 200) -> Sequence[Entry]:
    """The newest entries about `subject`, newest first."""
    query = select(Entry).where(Entry.subject == subject)
    return session.exec(query.order_by(col(Entry.at).desc(), col(Entry.id).desc()).limit(limit)).all()
