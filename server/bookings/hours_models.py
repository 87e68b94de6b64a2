"""What hours cost, who pays, and what was said against a charge. Nothing of it is rewritten."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class RateEntry(Row, table=True):
    """The price of an hour of something for a kind of group from a day on; the newest entry holds."""

    __tablename__ = "charge_rate"
    __table_args__ = (sa.Index("ix_charge_rate_newest", "group_kind", "what", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    group_kind: str
    what: str
    cents_per_h: int
    valid_from: date
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class AccountEntry(Row, table=True):
    """The account a group pays from, its kind, and the last day the account is good for; the newest holds."""

    __tablename__ = "group_account"
    __table_args__ = (sa.Index("ix_group_account_newest", "group_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    group_id: int = Field(foreign_key="booking_group.id")
    account: str
    valid_until: date | None = None
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ObjectionEntry(Row, table=True):
    """Something said about one charge line: an objection, or with `hours` how a steward settled it."""

    __tablename__ = "charge_objection"
    __table_args__ = (sa.Index("ix_charge_objection_of_booking", "booking_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    booking_id: int = Field(foreign_key="booking.id")
    group_id: int = Field(foreign_key="booking_group.id")
    what: str
    hours: float | None = None
    """The hours that count from now on; None while nobody has settled it."""
    note: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (RateEntry, AccountEntry, ObjectionEntry):
    append_only(model)
