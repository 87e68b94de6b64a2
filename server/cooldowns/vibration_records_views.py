"""What the page of vibration records shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cooldowns import vibration_records
from server.cooldowns.vibration_files import UNITS
from server.cooldowns.vibration_records import AXES, STANDINGS
from server.cooldowns.vibration_records_models import VibrationRecord
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.files.models import StoredFile
from server.people.models import Person


@dataclass(frozen=True)
class RecordsView:
    """The records of a cryostat, and the form of a new one."""

    cryostat: Cryostat
    rows: Sequence[tuple[VibrationRecord, StoredFile]]
    may_keep: bool
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    units: Sequence[tuple[str, str]] = tuple((unit, unit.replace("2", "²")) for unit in UNITS)
    axes: Sequence[tuple[str, str]] = tuple((axis, axis) for axis in AXES)
    standings: Sequence[tuple[str, str]] = tuple((word, word) for word in STANDINGS)


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> RecordsView:
    """The newest records and the form."""
    may = guards.grade_of(session, person, cryostat) >= OPERATE
    return RecordsView(cryostat, vibration_records.of(session, cryostat), may, faults or {}, typed or {})
