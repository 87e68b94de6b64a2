"""Tables of maintenance: tasks with the limits that make them due, and what was done about them."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Task(Row, table=True):
    """Work that comes back. `marks` is where its clocks stand, kept with each entry: a list is quick."""

    __tablename__ = "maintenance_task"
    __table_args__ = (sa.Index("ix_maintenance_task_of_cryostat", "cryostat_id", "retired"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    kind: str
    name: str
    text: str = ""
    """How it is done here, in the steward's own words."""
    who: str = ""
    """Whose work it is: the steward, a user, an engineer from outside."""
    limits: dict[str, float] = Field(sa_type=sa.JSON)
    """Trigger → how much of it may pass between two times; the first to be used up makes the task due."""
    condition: str = ""
    """What, when it is seen, makes it due at once."""
    marks: dict[str, Any] = Field(sa_type=sa.JSON)
    parts: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    """`item`: key of an item of the stock room, `amount`: how much of it one time takes."""
    lead_days: int = 0
    """What must be known so many days ahead, beside the parts: an engineer, an inspector."""
    down_h: float = 0.0
    """How long nobody can use the cryostat for it, warming and measuring again included."""
    stops_work: bool = False
    cautions: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    return_stage: str = ""
    """Which stage tells that it may be used again, or nothing where no measurement is asked for."""
    return_K: float | None = None
    return_within_K: float | None = None
    return_name: str = ""
    """Of what the temperature was: the reference cooldown by its number."""
    retired: bool = False
    made_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class TaskEntry(Row, table=True):
    """One thing about a task: done, put off, seen to be due, back in service. Never rewritten."""

    __tablename__ = "maintenance_entry"
    __table_args__ = (sa.Index("ix_maintenance_entry_of_task", "task_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    task_id: int = Field(foreign_key="maintenance_task.id")
    kind: str
    at: datetime = Field(sa_type=UTC)
    """When it was so."""
    text: str = ""
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class TaskPhotograph(Row, table=True):
    """A photograph of what was done."""

    __tablename__ = "maintenance_photograph"
    __table_args__ = (sa.Index("ix_maintenance_photograph_of_task", "task_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    task_id: int = Field(foreign_key="maintenance_task.id")
    file_id: int = Field(foreign_key="stored_file.id")
    caption: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (TaskEntry, TaskPhotograph):
    append_only(model)
