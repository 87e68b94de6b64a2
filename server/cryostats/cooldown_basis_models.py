"""What is known of how a cryostat gets cold: net power at points, or a reference cooldown, in versions."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class CooldownBasis(Row, table=True):
    """What was known from `at` on. `data` is a `cooldown_rules.Basis` written out."""

    __tablename__ = "cooldown_basis"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    data: dict[str, Any] = Field(sa_type=sa.JSON)
    revision: int
    """The revision that stood in the cryostat: extra masses of later ones are added to it."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(CooldownBasis)
