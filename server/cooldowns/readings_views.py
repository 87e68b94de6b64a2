"""What the pages of readings show: what is known now, the files that were sent, one file before and after."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from sqlmodel import Session

from server.cooldowns import readings, readings_files, readings_silence
from server.cooldowns.log_cells import Column, Fault
from server.cooldowns.log_files import CHANNEL, LEFT_OUT, TIMES, Kept, Spec
from server.cooldowns.readings import Latest
from server.cooldowns.readings_files import Look
from server.cooldowns.readings_models import LogUpload
from server.cooldowns.readings_rules import moment
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, REWIRE
from server.people.models import Person
from server.units import in_unit

FIRST_ROWS = 5


@dataclass(frozen=True)
class LatestRow:
    """One channel now; `value` is nothing where none is present."""

    latest: Latest
    value: str


@dataclass(frozen=True)
class ReadingsView:
    """The page of a cryostat's readings."""

    cryostat: Cryostat
    rows: tuple[LatestRow, ...]
    unreported: tuple[Latest, ...]
    uploads: Sequence[LogUpload]
    may_send: bool
    may_alter: bool
    faults: Mapping[str, str] = field(default_factory=dict)
    in_file: tuple[Fault, ...] = ()

    @property
    def silent(self) -> tuple[Latest, ...]:
        """The channels whose silence is a fault."""
        return tuple(row.latest for row in self.rows if row.latest.silent)


@dataclass(frozen=True)
class ColumnRow:
    """One column of a file: what it is to be, its unit, its first cells, what is wrong."""

    number: int
    column: Column
    role: str
    unit: str
    cells: tuple[str, ...]
    fault: str


@dataclass(frozen=True)
class FileView:
    """One log file: before it is taken in, while, and after."""

    cryostat: Cryostat
    upload: LogUpload
    look: Look | None
    columns: tuple[ColumnRow, ...]
    roles: Sequence[tuple[str, str]]
    channels: Sequence[tuple[str, str]]
    may_take: bool
    faults: Mapping[str, str]
    begins: datetime | None = None
    ends: datetime | None = None

    @property
    def share(self) -> float:
        """How much of it has been taken in, 0 to 1."""
        return self.upload.rows_taken / max(1, self.upload.rows)

    @property
    def whole(self) -> bool:
        """True once all of it has been taken in."""
        return self.upload.rows_taken >= self.upload.rows


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    now: datetime,
    faults: Mapping[str, str] | None = None,
    in_file: tuple[Fault, ...] = (),
) -> ReadingsView:
    """What is known of every channel now, and the files sent last."""
    assert cryostat.id is not None
    grade = guards.grade_of(session, person, cryostat)
    return ReadingsView(
        cryostat=cryostat,
        rows=tuple(LatestRow(row, value(row)) for row in readings.latest(session, cryostat.id, now)),
        unreported=readings_silence.unreported(session, cryostat.id, now),
        uploads=readings_files.newest(session, cryostat),
        may_send=grade >= OPERATE,
        may_alter=grade >= REWIRE,
        faults=faults or {},
        in_file=in_file,
    )


def value(row: Latest) -> str:
    """The value in the channel's unit, to five digits; nothing where none is present."""
    return "" if row.value is None else in_unit(row.value, row.channel.unit, 5)


def file(
    session: Session,
    home: Path,
    person: Person,
    cryostat: Cryostat,
    upload: LogUpload,
    zone: str,
    now: datetime,
    faults: Mapping[str, str] | None = None,
) -> FileView:
    """One file. While it is taken in, and after, it is not read again for the page."""
    may = guards.grade_of(session, person, cryostat) >= OPERATE
    if upload.begun_at is not None:
        return FileView(cryostat, upload, None, (), (), (), may, faults or {})
    seen = readings_files.look(session, home, cryostat, upload, zone, now)
    kept = readings_files.known(session, cryostat)
    span = (seen.log.seconds.min(), seen.log.seconds.max()) if seen.log and upload.rows else None
    return FileView(
        cryostat=cryostat,
        upload=upload,
        look=seen,
        columns=_columns(seen),
        roles=[(LEFT_OUT, "left out"), *TIMES.items()],
        channels=[(f"{CHANNEL}{key}", _named(row)) for key, row in kept.items()],
        may_take=may,
        faults={**seen.fields, **(faults or {})},
        begins=moment(int(span[0] * 1000)) if span else None,
        ends=moment(int(span[1] * 1000)) if span else None,
    )


def _named(kept: Kept) -> str:
    return f"{kept.name} ({kept.unit})" if kept.unit else kept.name


def _columns(seen: Look) -> tuple[ColumnRow, ...]:
    first = seen.layout.first(FIRST_ROWS)
    spec: Spec = seen.spec
    fitting = len(spec.roles) == len(seen.layout.columns)
    return tuple(
        ColumnRow(
            number=number,
            column=column,
            role=spec.roles[number] if fitting else LEFT_OUT,
            unit=spec.units[number] if fitting else "",
            cells=tuple(row[number].strip()[:40] for row in first),
            fault=seen.fields.get(f"column.{number}", ""),
        )
        for number, column in enumerate(seen.layout.columns)
    )
