"""What the page of one cooldown shows, and the part that tells of the last one like a configuration."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.cooldowns import (
    entry_kinds,
    finding,
    marks,
    night_orders,
    pictures,
    reference,
    residual,
    rules,
    service,
    similar,
    trends,
)
from server.cooldowns.entry_kinds import KINDS, TARGETS, WARMED, Asked, Kind
from server.cooldowns.finding import Sheet
from server.cooldowns.models import CooldownEntry
from server.cooldowns.pictures import Shown
from server.cooldowns.residual import Beside
from server.cooldowns.residual_rules import Load, Residual
from server.cooldowns.rules import Usual
from server.cryostats import guards
from server.cryostats.differences import DifferenceView, difference_view
from server.cryostats.models import Cryostat, Revision
from server.cryostats.rules import OPEN, OPERATE, STEWARD, Put
from server.people.models import Person
from server.physics.statistics import Band
from server.units import in_unit


@dataclass(frozen=True)
class Line:
    """One entry in words."""

    entry: CooldownEntry
    label: str
    values: tuple[tuple[str, str], ...]
    counts: bool
    may_take_back: bool


@dataclass(frozen=True)
class Figure:
    """One number of this cooldown beside what is usual here."""

    label: str
    value: str
    usual: str
    judged: str


@dataclass(frozen=True)
class Due:
    """When the core expected a temperature."""

    target_K: float
    time_s: Band | None
    reason: str


@dataclass(frozen=True)
class Trouble:
    """What stood in the way of the last wish, and what was typed; `form` says of which form."""

    form: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    words: str = ""


@dataclass(frozen=True)
class CooldownView:
    """The page of one cooldown."""

    sheet: Sheet
    phase: str
    lines: Sequence[Line]
    figures: Sequence[Figure]
    marks: Mapping[str, Mapping[str, str]]
    due: Sequence[Due]
    residuals: Sequence[Residual]
    loads: Sequence[Load]
    beside: Beside | None
    revisions: Sequence[Revision]
    doubts: Sequence[str]
    word: str
    pictures: Sequence[Shown]
    go_Pa: float | None
    kinds: Mapping[str, Kind]
    """The entries that can be written now, those of its phase first."""
    now_K: Mapping[str, float]
    unwritten_marks: int
    cooler_points: int
    checklists: Mapping[str, str]
    """Checklists begun for this cooldown: list → its address."""
    may_write: bool
    may_step: bool
    steward: bool
    trouble: Trouble
    warmed: Sequence[Asked] = WARMED
    targets: Sequence[tuple[str, str]] = TARGETS
    after: Sequence[tuple[str, str]] = tuple(service.AFTER.items())

    @property
    def cryostat(self) -> Cryostat:
        """Whose it is."""
        return self.sheet.cryostat


def show(
    session: Session,
    person: Person,
    sheet: Sheet,
    now: datetime,
    trouble: Trouble | None = None,
    *,
    with_today: bool = False,
) -> CooldownView:
    """One cooldown, with what this person may write in it."""
    cryostat = sheet.cryostat
    assert cryostat.id is not None
    grade = guards.grade_of(session, person, cryostat)
    numbers = night_orders.rule_of(session, cryostat.id)
    residuals = residual.of(session, sheet, now)
    word = rules.newest(sheet.entries, entry_kinds.WORD)
    return CooldownView(
        sheet=sheet,
        phase=sheet.phase,
        lines=_lines(sheet, person),
        figures=_figures(sheet, trends.usual_before(session, sheet)),
        marks=_marks(sheet),
        due=due(sheet),
        residuals=residuals,
        loads=residual.loads(session, sheet, residuals),
        beside=residual.beside(session, sheet) if with_today else None,
        revisions=finding.revisions_in(session, cryostat, sheet.cooldown),
        doubts=rules.doubts(sheet.entries),
        word=word.note if word else "",
        pictures=pictures.of(session, sheet.cooldown),
        go_Pa=numbers.go_Pa if numbers else None,
        kinds=_kinds(sheet.phase),
        now_K=marks.now_K(session, sheet, now) if sheet.cooldown.ended_at is None else {},
        unwritten_marks=len(marks.shown(session, sheet, now)) if grade >= OPERATE else 0,
        cooler_points=0 if rules.newest(sheet.entries, entry_kinds.COOLER) else len(reference.points(sheet)),
        checklists=_checklists(sheet),
        may_write=grade >= OPERATE,
        may_step=grade >= OPEN,
        steward=grade >= STEWARD,
        trouble=trouble or Trouble(),
    )


def _checklists(sheet: Sheet) -> dict[str, str]:
    rows = [row for row in rules.counting(sheet.entries) if row.kind == entry_kinds.CHECKLIST]
    return {row.data["list"]: row.data["address"] for row in rows}


def _lines(sheet: Sheet, person: Person) -> list[Line]:
    counting = rules.counting(sheet.entries)
    return [
        Line(
            entry=row,
            label=entry_kinds.label(row.kind),
            values=values(row),
            counts=row in counting or row.kind == entry_kinds.TAKEN_BACK,
            may_take_back=row in counting
            and row.kind in KINDS
            and (row.by_id == person.id or person.steward),
        )
        for row in reversed(sheet.entries)
    ]


STEP_VALUES = {
    entry_kinds.COOLING: (
        Asked("pressure_Pa", "Pressure", "mbar"),
        Asked("limit_Pa", "Number of this cryostat", "mbar"),
    ),
    entry_kinds.WARMING: WARMED,
}
STEP_TEXTS = {
    "list": "List",
    "verdict": "Go or no-go",
    "despite": "Despite it",
    "state": "State after",
    "version": "Version",
}


def values(entry: CooldownEntry) -> tuple[tuple[str, str], ...]:
    """The fields of an entry, each as (label, text)."""
    asked = KINDS[entry.kind].asked if entry.kind in KINDS else STEP_VALUES.get(entry.kind, ())
    found = [
        (row.label, _text(row, entry.data[row.name])) for row in asked if entry.data.get(row.name) is not None
    ]
    texts = [(label, str(entry.data[name])) for name, label in STEP_TEXTS.items() if name in entry.data]
    seen = [("Seen by", "readings")] if entry.data.get("from") == "readings" else []
    return (*found, *texts, *seen)


def _text(asked: Asked, value: float | str) -> str:
    if asked.choices:
        return dict(asked.choices).get(str(value), str(value))
    return in_unit(float(value), asked.unit, 4)


LABELS = {
    "pump": ("Pumped for", "h"),
    "to 100 Pa": ("Pumped to 1 mbar", "h"),
    "to 10 Pa": ("Pumped to 0.1 mbar", "h"),
    "to 1 Pa": ("Pumped to 0.01 mbar", "h"),
    "to 0.5 Pa": ("Pumped to 0.005 mbar", "h"),
    "rise": ("Rate of rise", "mbar"),
    "helium": ("Static helium, at 20 °C", "bar"),
    "water": ("Cooling water in", "°C"),
    "cool": ("Cold after", "h"),
    "warm": ("Warm after", "h"),
}


def _figures(sheet: Sheet, usual: Mapping[str, Usual]) -> list[Figure]:
    """Each figure beside the usual one; marks stand in a table of their own."""
    found = trends.figures(sheet)
    rows = []
    for name, (label, unit) in LABELS.items():
        if name not in found:
            continue
        band = usual.get(name)
        rows.append(
            Figure(
                label,
                _shown(name, found[name], unit),
                _usual_words(name, band, unit),
                band.judged(found[name]) if band else "no band yet",
            )
        )
    return rows


def _shown(name: str, value: float, unit: str) -> str:
    return f"{in_unit(60 * value, unit)}/min" if name == "rise" else in_unit(value, unit)


def _usual_words(name: str, band: Usual | None, unit: str) -> str:
    if band is None:
        return "none before it"
    median = _shown(name, band.median, unit)
    if band.low is None or band.high is None:
        return f"{median}, from {band.count} before it"
    return (
        f"{median}; the middle 80 in 100: {_shown(name, band.low, unit)} to {_shown(name, band.high, unit)}"
    )


def _marks(sheet: Sheet) -> dict[str, dict[str, str]]:
    """Stage → target → how long it took, for the stages that have a mark."""
    found: dict[str, dict[str, str]] = {}
    for mark in rules.marks(sheet.cooldown, sheet.entries):
        found.setdefault(mark.stage, {})[mark.target] = in_unit(mark.took_s, "h")
    cold_s = trends.took(sheet).get("cool")
    base = residual.measured_K(rules.newest(sheet.entries, entry_kinds.BASE))
    for stage in base or {}:
        if cold_s is not None:
            found.setdefault(stage, {}).setdefault("base", in_unit(cold_s, "h"))
    return {stage: found[stage] for stage in sheet.cryostat.stages if stage in found}


def due(sheet: Sheet) -> list[Due]:
    """When the core expected it to be how cold, as it was written down before it began."""
    return [
        Due(row["target_K"], Band(*row["time_s"]) if row["time_s"] else None, row["reason"])
        for row in sheet.expectation.times["rows"]
    ]


def _kinds(phase: str) -> dict[str, Kind]:
    """What can be written down in a phase, what belongs to it first; after its end only words."""
    if phase in (rules.OVER, rules.CALLED_OFF):
        return {name: kind for name, kind in KINDS.items() if not kind.span}
    later = {rules.PUMPING: (rules.COOLING, rules.COLD, rules.WARMING)}.get(phase, ())
    rows = {name: kind for name, kind in KINDS.items() if kind.phase not in later}
    if phase != rules.WARMING:
        rows.pop(entry_kinds.VENTED, None)
    if phase == rules.PUMPING:
        rows.pop(entry_kinds.STOPPED, None)
    return dict(sorted(rows.items(), key=lambda row: row[1].phase != phase))


@dataclass(frozen=True)
class SimilarView:
    """The last cooldown like a configuration; None where there is none."""

    cryostat: Cryostat
    of_what: str
    sheet: Sheet | None = None
    same: int = 0
    of: int = 0
    differs: DifferenceView | None = None
    residuals: Sequence[Residual] = ()


def alike(
    session: Session, cryostat: Cryostat, puts: Mapping[str, Put], of_what: str, before: int | None = None
) -> SimilarView:
    """What the last cooldown of a configuration like these elements gave."""
    found = similar.find(session, cryostat, puts, before)
    if found is None:
        return SimilarView(cryostat, of_what)
    return SimilarView(
        cryostat,
        of_what,
        found.sheet,
        found.likeness.same,
        found.likeness.of,
        difference_view(found.likeness.differs),
        found.residuals,
    )
