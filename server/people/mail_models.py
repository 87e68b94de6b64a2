"""Where people want their letters; the newest row of a person holds."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class MailAddress(Row, table=True):
    """One entry: an address, or an empty text for no letters."""

    __tablename__ = "mail_address"
    __table_args__ = (sa.Index("ix_mail_address_of_person", "person_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    address: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(MailAddress)
