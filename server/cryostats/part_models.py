"""Tables of the parts that have an identity: what each is, what happened to it, and to whom it was lent."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Part(Row, table=True):
    """One ring, window, loom, coax, thermometer, heater, torque driver or transport part, by its tag.

    Tag and kind stay; the rest is what is known now, and every step that led to it is a `PartEntry`.
    """

    __tablename__ = "part"

    id: int | None = Field(default=None, primary_key=True)
    tag: str = Field(unique=True)
    kind: str
    name: str
    serial: str = ""
    about: dict[str, str] = Field(default_factory=dict, sa_type=sa.JSON)
    """What its kind asks for, as it was written: a ring's flange, a thermometer's curve file."""
    state: str
    place: str = ""
    made_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PartEntry(Row, table=True):
    """One thing that happened to a part: entered, described anew, moved, tested, lent, brought back."""

    __tablename__ = "part_entry"
    __table_args__ = (sa.Index("ix_part_entry_of_part", "part_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id")
    what: str
    on_day: date
    state: str
    place: str = ""
    test: str = ""
    result: str = ""
    about: dict[str, str] = Field(default_factory=dict, sa_type=sa.JSON)
    """Name, serial and description as they were from then on, when they were written."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PartLoan(Row, table=True):
    """A part lent to another laboratory or to another cryostat, and when it is due back."""

    __tablename__ = "part_loan"
    __table_args__ = (sa.Index("ix_part_loan_of_part", "part_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id")
    to_whom: str
    to_cryostat_id: int | None = Field(default=None, foreign_key="cryostat.id")
    lent_on: date
    due_on: date
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PartReturn(Row, table=True):
    """A loan that came back, and in what condition."""

    __tablename__ = "part_return"

    id: int | None = Field(default=None, primary_key=True)
    loan_id: int = Field(foreign_key="part_loan.id", unique=True)
    on_day: date
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PartPhotograph(Row, table=True):
    """A photograph or drawing of a part. One that no longer counts is withdrawn by a row that names it."""

    __tablename__ = "part_photograph"

    id: int | None = Field(default=None, primary_key=True)
    part_id: int = Field(foreign_key="part.id", index=True)
    file_id: int = Field(foreign_key="stored_file.id")
    caption: str
    sent_name: str = ""
    """The name the file had where it came from, for people."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PartWithdrawal(Row, table=True):
    """Why a photograph of a part no longer counts. It stays where it is, and says so."""

    __tablename__ = "part_withdrawal"

    id: int | None = Field(default=None, primary_key=True)
    photograph_id: int = Field(foreign_key="part_photograph.id", unique=True)
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


PART_KEPT = ("tag", "kind", "made_at", "by_name", "by_id")
"""What of a part no update may touch."""

append_only(Part, PART_KEPT)
for model in (PartEntry, PartLoan, PartReturn, PartPhotograph, PartWithdrawal):
    append_only(model)
