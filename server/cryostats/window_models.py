"""Tables of what stands beside a configuration: rules of a cold window, and the sample with its carrier."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class WindowRule(Row, table=True):
    """Who may make one kind of change while a cryostat is cold, as a steward wrote it; the newest holds."""

    __tablename__ = "window_rule"
    __table_args__ = (sa.Index("ix_window_rule_newest", "cryostat_id", "what", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    what: str
    operate: str
    open: str
    rewire: str
    record: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


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


for model in (WindowRule, Sample, SampleStep):
    append_only(model)
