"""Accounts that groups pay from, in versions: nobody rewrites one, a later entry of the same number holds."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Account(Row, table=True):
    """One account of a group, as entered; the newest entry of a number counts."""

    __tablename__ = "booking_account"
    __table_args__ = (sa.Index("ix_booking_account_of_group", "group_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    group_id: int = Field(foreign_key="booking_group.id")
    number: str
    """As whoever keeps the accounts writes it."""
    valid_from: date
    valid_until: date | None = None
    """The last day; None while no end is known."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(Account)
