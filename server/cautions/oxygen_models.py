"""Table of the oxygen arithmetic: each card as it was reckoned, never rewritten."""

from datetime import datetime

from sqlmodel import Field

from server.db import UTC, Row, append_only


class OxygenCard(Row, table=True):
    """One room as a safety officer reckoned it. Shares are of oxygen in the room's air."""

    __tablename__ = "oxygen_card"

    id: int | None = Field(default=None, primary_key=True)
    room: str
    gas: str
    volume_m3: float
    release_m3: float
    """The largest sudden release, at room temperature and pressure."""
    rate_m3_s: float
    """What runs when a purge is forgotten."""
    duration_s: float
    air_changes_per_h: float
    sudden_share: float
    slow_share: float
    sealed_share: float
    """The same flow with the ventilation off."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(OxygenCard)
