"""The table of files: what is kept in the folder beside the database, each under the hash of its content."""

from datetime import datetime

from sqlmodel import Field

from server.db import UTC, Row, append_only


class StoredFile(Row, table=True):
    """One file, and where it is an image the smaller one beside it. A file is never altered or deleted."""

    __tablename__ = "stored_file"

    id: int | None = Field(default=None, primary_key=True)
    digest: str = Field(unique=True)
    """SHA-256 of what is kept, in hexadecimal: its name in the folder and in its address."""
    media_type: str
    size_bytes: int
    width_px: int | None = None
    height_px: int | None = None
    small_digest: str | None = None
    """The thumbnail's, a JPEG; None for a document."""
    kept_at: datetime = Field(sa_type=UTC)


append_only(StoredFile)
