"""A laboratory's own materials. Each entry is a version; none is ever rewritten, the newest is in force."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class OwnVersion(Row, table=True):
    """One version of a material that somebody here measured, or took from a source of their own."""

    __tablename__ = "own_material_version"
    __table_args__ = (sa.UniqueConstraint("name", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    name: str
    number: int
    points: dict[str, Any] = Field(sa_type=sa.JSON)
    """`T_K`, `conductivity_W_m_K`, and perhaps `resistivity_ohm_m`, `specific_heat_J_kg_K`: lists in SI."""
    source: str
    relative_uncertainty: float
    note: str
    reason: str
    """Why this version was made; empty for the first."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(OwnVersion)
