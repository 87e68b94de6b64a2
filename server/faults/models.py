"""Tables of faults: what was seen and where it stands now, every step of it, and the photographs."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Fault(Row, table=True):
    """Something wrong, or nearly: the problem, never the person.

    What was seen and where stays as it was written; the rest is where it stands now, and every step that
    led there is a `FaultEntry`.
    """

    __tablename__ = "fault"
    __table_args__ = (sa.Index("ix_fault_of_cryostat", "cryostat_id", "state", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int | None = Field(default=None, foreign_key="cryostat.id")
    """None for one of the room, the pump cart, the stores."""
    what_seen: str
    place: str = ""
    part: str = ""
    """Tag of a part, as written then, or nothing."""
    element_key: str = ""
    severity: str
    seen_at: datetime = Field(sa_type=UTC)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None
    state: str
    owner_name: str = ""
    owner_id: int | None = None
    cause: str = ""
    """Key of the cause found, or nothing."""
    cause_words: str = ""
    remedy: str = ""


class FaultEntry(Row, table=True):
    """One step of a fault: reported, noted, looked at, cause found, mended, left as it is, opened again."""

    __tablename__ = "fault_entry"
    __table_args__ = (sa.Index("ix_fault_entry_of_fault", "fault_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    fault_id: int = Field(foreign_key="fault.id")
    state: str
    """Where it stood from then on."""
    owner_name: str = ""
    cause: str = ""
    text: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class FaultPhotograph(Row, table=True):
    """A photograph of a fault."""

    __tablename__ = "fault_photograph"
    __table_args__ = (sa.Index("ix_fault_photograph_of_fault", "fault_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    fault_id: int = Field(foreign_key="fault.id")
    file_id: int = Field(foreign_key="stored_file.id")
    caption: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


FAULT_KEPT = (
    "cryostat_id",
    "what_seen",
    "place",
    "part",
    "element_key",
    "severity",
    "seen_at",
    "at",
    "by_name",
    "by_id",
)
"""What of a fault no update may touch."""

append_only(Fault, FAULT_KEPT)
for model in (FaultEntry, FaultPhotograph):
    append_only(model)
