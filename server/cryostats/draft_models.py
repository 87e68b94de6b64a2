"""Tables of drafts: what shall be inside, its versions, and every step of its approval.

A version is never edited: altering a draft writes the next one. Where a draft stands follows from its steps.
"""

from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Draft(Row, table=True):
    """A configuration not built yet. `version` is the number of its newest version."""

    __tablename__ = "draft"
    __table_args__ = (
        sa.Index(
            "uq_draft_house",
            "cryostat_id",
            unique=True,
            sqlite_where=sa.text("house"),
            postgresql_where=sa.text("house"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id", index=True)
    name: str
    house: bool = False
    """The steward's own, which anybody may build who may open; one for a cryostat."""
    version: int = 1
    made_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = Field(default=None, foreign_key="person.id")


class DraftVersion(Row, table=True):
    """A draft as somebody stored it: what is put into a revision and what is taken out of it."""

    __tablename__ = "draft_version"
    __table_args__ = (sa.UniqueConstraint("draft_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="draft.id")
    number: int
    base_revision: int
    put: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    remove: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    reason: str
    parties: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    """Those who share it and must each say yes: id, and name as then written."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class DraftStep(Row, table=True):
    """One step of a version: asked, yes, approved, freeze, sent back, withdrawn, built."""

    __tablename__ = "draft_step"
    __table_args__ = (sa.Index("ix_draft_step_of_draft", "draft_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="draft.id")
    version: int
    what: str
    note: str = ""
    """Conditions of an approval, or why it is sent back or withdrawn."""
    revision: int | None = None
    """The revision it became, when it is built."""
    build_on: date | None = None
    """The day it is to go in, as said when it was asked for."""
    freeze_on: date | None = None
    """The day from which it is frozen; with none, from the moment everybody agreed."""
    override: str = Field(default="", sa_column_kwargs={"server_default": ""})
    """Why a steward let it be agreed to later than the rule has it."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class DraftBudget(Row, table=True):
    """The heat budget of a version as it was computed, never overwritten."""

    __tablename__ = "draft_budget"
    __table_args__ = (sa.Index("ix_draft_budget_newest", "draft_id", "version", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    draft_id: int = Field(foreign_key="draft.id")
    version: int
    cooler_version: int
    model: str
    at: datetime = Field(sa_type=UTC)
    data: dict[str, Any] = Field(sa_type=sa.JSON)
    own_materials: dict[str, int] | None = Field(
        default=None, sa_column=sa.Column(sa.JSON(none_as_null=True), nullable=True)
    )
    """Version of each of the laboratory's own materials it used; none where nobody kept them."""


DRAFT_KEPT = ("cryostat_id", "house", "made_at", "by_name", "by_id")
"""What of a draft no update may touch; its name and the number of its newest version move."""

append_only(Draft, DRAFT_KEPT)
for model in (DraftVersion, DraftStep, DraftBudget):
    append_only(model)
