"""Rates by day, charge lines, and what was said about a line. Nobody rewrites any of them.

Money is whole hundredths of a currency, time whole seconds, so that sums are exact in any order.
"""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Rate(Row, table=True):
    """What an hour of one kind costs a kind of group from a day on; of one day the entry made last holds."""

    __tablename__ = "charge_rate"
    __table_args__ = (
        sa.CheckConstraint("cents_per_hour >= 0", name="cents"),
        sa.Index("ix_charge_rate_of_kind", "group_kind", "what", "from_day"),
    )

    id: int | None = Field(default=None, primary_key=True)
    group_kind: str
    what: str
    cents_per_hour: int
    currency: str
    from_day: date
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ChargeLine(Row, table=True):
    """One thing a group is charged for, or is not, with the reason. A correction names the line it mends."""

    __tablename__ = "charge_line"
    __table_args__ = (
        sa.Index("ix_charge_line_of_month", "month", "id"),
        sa.Index(
            "uq_charge_line_once",
            "booking_id",
            "payer",
            "what",
            "ref",
            unique=True,
            sqlite_where=sa.text("corrects IS NULL"),
            postgresql_where=sa.text("corrects IS NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    month: str
    """As `2026-03`, on the laboratory's calendar."""
    day: date
    """The day the hours ended, on which the rate holds."""
    booking_id: int = Field(foreign_key="booking.id", index=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    group_id: int | None = Field(default=None, foreign_key="booking_group.id")
    payer: str
    """The group, or whoever booked for none."""
    group_kind: str
    account: str = ""
    what: str
    ref: str = ""
    """Of several lines of one kind, which: the step of a loss, the item used."""
    seconds: int
    cents_per_hour: int
    cents: int
    currency: str
    basis: str
    """Where the hours come from: measured, planned, written down."""
    why: str
    corrects: int | None = Field(default=None, foreign_key="charge_line.id", index=True)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ChargeEntry(Row, table=True):
    """What was said about a line: disputed, stands, or corrected."""

    __tablename__ = "charge_entry"
    __table_args__ = (sa.Index("ix_charge_entry_of_line", "line_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    line_id: int = Field(foreign_key="charge_line.id")
    what: str
    note: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (Rate, ChargeLine, ChargeEntry):
    append_only(model)
