"""Tables of samples: in the cryostat with what carries them, planned on a draft, and what became of them."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Sample(Row, table=True):
    """A sample in the cryostat, whose it is, and what carries it."""

    __tablename__ = "sample"
    __table_args__ = (sa.Index("ix_sample_of_cryostat", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    """The revision it has been inside since."""
    what: str
    owner_id: int = Field(foreign_key="person.id")
    owner_name: str
    hazard: str
    if_breaks: str = ""
    carrier: str = ""
    attach: str
    attached_on: date | None = None
    mount: str = ""
    """Key of the mount joint it sits on, or a few words."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class SampleStep(Row, table=True):
    """What became of a sample: approved by the steward, or taken out."""

    __tablename__ = "sample_step"
    __table_args__ = (sa.UniqueConstraint("sample_id", "what"),)

    id: int | None = Field(default=None, primary_key=True)
    sample_id: int = Field(foreign_key="sample.id")
    what: str
    note: str = ""
    revision: int
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PlannedSample(Row, table=True):
    """A sample that shall come in when a draft is built."""

    __tablename__ = "planned_sample"

    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="draft.id", index=True)
    what: str
    owner_id: int = Field(foreign_key="person.id")
    owner_name: str
    hazard: str
    if_breaks: str = ""
    carrier: str = ""
    attach: str
    attached_on: date | None = None
    mount: str = ""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PlannedStep(Row, table=True):
    """What became of a planned sample: left out of the draft, or come in as a sample."""

    __tablename__ = "planned_step"
    __table_args__ = (sa.UniqueConstraint("planned_id"),)

    id: int | None = Field(default=None, primary_key=True)
    planned_id: int = Field(foreign_key="planned_sample.id")
    sample_id: int | None = Field(default=None, foreign_key="sample.id")
    """The sample it became; None when it was left out."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (Sample, SampleStep, PlannedSample, PlannedStep):
    append_only(model)
