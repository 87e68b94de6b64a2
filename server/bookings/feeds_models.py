"""Secret addresses of calendar feeds; of each only the hash of its token is kept."""

from datetime import datetime

from sqlmodel import Field

from server.db import UTC, Row, append_only


class FeedAddress(Row, table=True):
    """An address at which a calendar program reads a part of the plan as one person may see it."""

    __tablename__ = "feed_address"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    """SHA-256 of the token in the address."""
    prefix: str
    """Its first letters, by which its owner knows it again."""
    person_id: int = Field(foreign_key="person.id", index=True)
    kind: str
    cryostat_id: int | None = Field(default=None, foreign_key="cryostat.id")
    """None: the person's own bookings on every cryostat."""
    made_at: datetime = Field(sa_type=UTC)
    revoked_at: datetime | None = Field(default=None, sa_type=UTC)


append_only(FeedAddress, ("key", "prefix", "person_id", "kind", "cryostat_id", "made_at"))
