"""Tables of a cryostat's books: the instrument, its cooler, grades, states, revisions, elements, budgets.

A revision is never edited. An element row carries the revision it came with and the one it left with; the
rows that have not left are the configuration now.
"""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Cryostat(Row, table=True):
    """One instrument. `revision` is the number of its newest revision, 0 before the first."""

    __tablename__ = "cryostat"

    id: int | None = Field(default=None, primary_key=True)
    slug: str = Field(unique=True)
    name: str
    place: str = ""
    stages: list[str] = Field(sa_type=sa.JSON)
    limits_K: dict[str, float] = Field(default_factory=dict, sa_type=sa.JSON)
    vessel_K: float = 295.0
    revision: int = 0
    made_at: datetime = Field(sa_type=UTC)


class CoolerVersion(Row, table=True):
    """The cooler as it was known from `at` on: a heater test or a two-stage map, in the document's form."""

    __tablename__ = "cooler_version"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    data: dict[str, Any] = Field(sa_type=sa.JSON)
    bare_revision: int | None = None
    """The revision that stood in the cryostat when the cooler was measured; None: an empty one."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Grade(Row, table=True):
    """What one person may do on one cryostat: 0 watch, 1 operate, 2 open, 3 rewire, 4 service."""

    __tablename__ = "cryostat_grade"
    __table_args__ = (
        sa.UniqueConstraint("cryostat_id", "person_id"),
        sa.CheckConstraint("grade BETWEEN 0 AND 4", name="range"),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    person_id: int = Field(foreign_key="person.id")
    grade: int
    at: datetime = Field(sa_type=UTC)


class StateEntry(Row, table=True):
    """What state the cryostat was in from `since`, as a person entered it."""

    __tablename__ = "cryostat_state"
    __table_args__ = (sa.Index("ix_cryostat_state_newest", "cryostat_id", "since"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    state: str
    since: datetime = Field(sa_type=UTC)
    note: str = ""
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Revision(Row, table=True):
    """One step of the configuration: who, when it was done, when it was written down, and why."""

    __tablename__ = "revision"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    base: int
    reason: str
    restored: int | None = None
    """The revision this one brought back, when it is a restore."""
    done_at: datetime = Field(sa_type=UTC)
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ElementRow(Row, table=True):
    """One element from `from_revision` up to, but without, `to_revision`."""

    __tablename__ = "element"
    __table_args__ = (
        sa.Index(
            "uq_element_present",
            "cryostat_id",
            "key",
            unique=True,
            sqlite_where=sa.text("to_revision IS NULL"),
            postgresql_where=sa.text("to_revision IS NULL"),
        ),
        sa.Index("ix_element_span", "cryostat_id", "from_revision", "to_revision"),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    key: str
    kind: str
    label: str = ""
    note: str = ""
    house: bool = False
    part: str = Field(default="", sa_column_kwargs={"server_default": ""})
    """Tag of the part it is, or nothing."""
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    """The element's fields in SI as the document has them; an absent field is the default."""
    from_revision: int
    to_revision: int | None = None


class BudgetRow(Row, table=True):
    """A heat budget as it was computed, never overwritten; the newest is shown."""

    __tablename__ = "heat_budget"
    __table_args__ = (sa.Index("ix_heat_budget_newest", "cryostat_id", "revision", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    cooler_version: int
    model: str
    at: datetime = Field(sa_type=UTC)
    data: dict[str, Any] = Field(sa_type=sa.JSON)
    own_materials: dict[str, int] | None = Field(
        default=None, sa_column=sa.Column(sa.JSON(none_as_null=True), nullable=True)
    )
    """The laboratory's own materials that were used, with their version; None where nobody kept that."""


KEPT = ("cryostat_id", "key", "kind", "label", "note", "house", "data", "from_revision", "part")
"""Columns of an element that no update may touch; only `to_revision` is ever set, once."""

append_only(ElementRow, KEPT)
for model in (Revision, BudgetRow, CoolerVersion, StateEntry):
    append_only(model)
