"""What lies between two configurations, as a page shows it: element by element, and stage by stage."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.cryostats import facts
from server.cryostats.models import Cryostat
from server.cryostats.rules import MISSING, Altered, Difference, Put
from server.physics import thermal
from server.physics.statistics import Band
from server.units import unit_for


@dataclass(frozen=True)
class DifferenceRow:
    """One element that was added, taken out or altered; `fields` are (name, before, after)."""

    mark: str
    title: str
    kind: str
    fields: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True)
class DifferenceView:
    """All of them."""

    rows: tuple[DifferenceRow, ...]

    @property
    def empty(self) -> bool:
        """True when nothing differs."""
        return not self.rows


@dataclass(frozen=True)
class StageShift:
    """A stage before and after."""

    stage: str
    before_K: Band | None
    after_K: Band | None
    shift_K: Band | None
    unit: str
    status: str


def difference_view(diff: Difference) -> DifferenceView:
    """The difference in words."""
    rows = [DifferenceRow("added", put.title, label(put)) for put in diff.added]
    rows += [DifferenceRow("taken", put.title, label(put)) for put in diff.taken]
    rows += [_altered(row) for row in diff.altered]
    return DifferenceView(tuple(rows))


def label(put: Put) -> str:
    """The kind in words."""
    return thermal.KINDS[put.kind].label if put.kind in thermal.KINDS else put.kind


def _altered(row: Altered) -> DifferenceRow:
    fields = []
    for name, (before, after) in row.fields.items():
        words, new = _words(row.after, name, after)
        fields.append((words, _words(row.before, name, before)[1], new))
    return DifferenceRow("altered", row.after.title, label(row.after), tuple(fields))


def _words(put: Put, name: str, value: object) -> tuple[str, str]:
    if value is MISSING:
        return facts.default_words(put.kind, name)
    return facts.field_words(put.kind, name, value)


def shifts(
    cryostat: Cryostat, before: thermal.Budget, after: thermal.Budget, moved_K: Mapping[str, Band]
) -> tuple[StageShift, ...]:
    """Each stage before and after, with the band of the difference itself."""
    stages = [stage for stage in cryostat.stages if stage != "vessel"]
    return tuple(
        StageShift(
            stage=stage,
            before_K=before.temperatures.get(stage),
            after_K=after.temperatures.get(stage),
            shift_K=moved_K.get(stage),
            unit=unit_for([moved_K.get(stage)] if stage in moved_K else [], "K"),
            status=after.margins[stage].status if stage in after.margins else "no limit",
        )
        for stage in stages
    )
