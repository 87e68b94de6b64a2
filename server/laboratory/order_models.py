"""The table of standing orders."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class StandingOrder(Row, table=True):
    """One version of a standing order; `scope` says where it applies: the laboratory, or one cryostat."""

    __tablename__ = "standing_order"
    __table_args__ = (sa.UniqueConstraint("scope", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    scope: str
    number: int
    text: str
    """What people read; an empty version takes the order back."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(StandingOrder)
