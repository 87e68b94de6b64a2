"""What the pages of a configuration show, as typed views: the budget's table, the ladder, the elements."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.cryostats import budget, contents, facts, guards, instruments, ladder, rules, service
from server.cryostats.differences import DifferenceView, StageShift, difference_view, label, shifts
from server.cryostats.models import Cryostat, Revision, StateEntry
from server.cryostats.rules import STATES, Put
from server.materials import service as materials
from server.people.models import Person
from server.physics import thermal
from server.physics.statistics import Band
from server.physics.thermal import document
from server.units import in_unit, show_band, unit_for


@dataclass(frozen=True)
class StageRow:
    """One stage of the budget: its temperature, what arrives there and what is left.

    `arriving_W` is what lands there and what joints bring; `joints_W` is that second part alone.
    """

    stage: str
    temperature_K: Band | None
    limit_K: float | None
    margin_K: Band | None
    status: str
    arriving_W: Band | None
    joints_W: Band | None
    spare_W: Band | None
    room_unit: str
    gaps: tuple[str, ...]

    @property
    def room(self) -> tuple[str, ...]:
        """What stands on the rung: what arrives, and what is left."""
        parts = []
        if self.arriving_W is not None:
            parts.append(f"arrives {show_band(self.arriving_W, self.room_unit)}")
        if self.spare_W is not None:
            parts.append(f"left {show_band(self.spare_W, self.room_unit, signed=True)}")
        return tuple(parts)


@dataclass(frozen=True)
class ElementLine:
    """One element: what it is, what heat it brings to each stage, what it costs the cold."""

    number: int
    put: Put
    kind: str
    facts: tuple[facts.Fact, ...]
    heats_W: Mapping[str, Band]
    costs_K: Mapping[str, Band | None]
    weight: float
    bare: bool
    warnings: tuple[str, ...]
    gap: str | None


@dataclass(frozen=True)
class BudgetView:
    """A heat budget as tables and as the ladder."""

    stages: tuple[StageRow, ...]
    lines: tuple[ElementLine, ...]
    largest: tuple[ElementLine, ...]
    ladder: ladder.Ladder
    heat_units: Mapping[str, str]
    cost_units: Mapping[str, str]
    cost_stages: tuple[str, ...]
    warnings: tuple[str, ...]
    causes: tuple[tuple[str, str, str, str], ...]
    model: str
    at: datetime | None
    cooler_version: int
    own_materials: Mapping[str, int] | None


@dataclass(frozen=True)
class ConfigurationView:
    """The page of one revision."""

    cryostat: Cryostat
    number: int
    revision: Revision | None
    budget: BudgetView
    grade: int
    grade_words: str
    state: StateEntry | None
    state_words: str
    states: Sequence[tuple[str, str]] = field(default_factory=tuple)
    step: DifferenceView | None = None
    behind: bool = False
    """True when model or cooler moved on since the newest budget was stored."""

    @property
    def newest(self) -> bool:
        """True when this is what is inside now."""
        return self.number == self.cryostat.revision


def configuration(session: Session, person: Person, cryostat: Cryostat, number: int) -> ConfigurationView:
    """One revision with its budget, and what led to it."""
    elements = contents.elements(session, cryostat, number)
    revision = service.revision(session, cryostat, number) if number else None
    found = budget.of_revision(session, cryostat, number)
    stored = found.at is not None and number == cryostat.revision
    state = instruments.state_now(session, cryostat)
    grade = guards.grade_of(session, person, cryostat)
    return ConfigurationView(
        cryostat=cryostat,
        number=number,
        revision=revision,
        budget=budget_view(session, cryostat, elements, found),
        grade=grade,
        grade_words=rules.GRADES.get(grade, "steward"),
        state=state,
        state_words=STATES[state.state] if state else "not entered yet",
        states=tuple(STATES.items()),
        step=difference_view(service.compare(session, cryostat, number - 1, number)) if number else None,
        behind=stored and budget.is_behind(session, cryostat, found.budget.model, found.cooler_version),
    )


def budget_view(
    session: Session, cryostat: Cryostat, elements: Mapping[str, Put], found: budget.Found
) -> BudgetView:
    """The budget of these elements as a page shows it; those of the bare reference are told last."""
    bare, own = budget.bare_keys(session, cryostat, elements), materials.in_force(session)
    computed = found.budget
    stages = tuple(stage for stage in cryostat.stages if stage != "vessel")
    lines = _lines(elements, computed, bare)
    rows = tuple(_stage_row(stage, computed, elements) for stage in stages)
    cost_stages = tuple(stage for stage in ("platform", "sample") if stage in stages) or stages[-1:]
    return BudgetView(
        stages=rows,
        lines=lines,
        largest=tuple(line for line in lines[:3] if line.weight > 0 and not line.bare),
        ladder=ladder.draw(
            computed, cryostat.stages, cryostat.vessel_K, _words(cryostat, rows), _drawn(lines, elements, own)
        ),
        heat_units={stage: _heat_unit(stage, lines) for stage in stages},
        cost_units={
            stage: unit_for([line.costs_K.get(stage) for line in lines], "K") for stage in cost_stages
        },
        cost_stages=cost_stages,
        warnings=_to_look_at(computed, elements),
        causes=tuple(_cause(row, elements) for row in computed.band_causes[:5]),
        model=computed.model,
        at=found.at,
        cooler_version=found.cooler_version,
        own_materials=found.own_materials,
    )


FIRST = (
    "lid-off",
    "window-out",
    "lid-not-recorded",
    "window-not-recorded",
    "copper",
    "copper-lagged",
    "touch",
)
"""What deserves a person's attention before the rest, in order (from memory)."""


def _to_look_at(computed: thermal.Budget, elements: Mapping[str, Put]) -> tuple[str, ...]:
    """Every warning, the heaviest first, with the name of the element it is about."""
    order = {code: place for place, code in enumerate(FIRST)}
    rows = sorted(computed.warnings, key=lambda row: order.get(row.code, len(FIRST)))
    named = ((elements.get(row.key or ""), row.text) for row in rows)
    return tuple(f"{put.title}: {text}" if put else text for put, text in named)


def _stage_row(stage: str, computed: thermal.Budget, elements: Mapping[str, Put]) -> StageRow:
    margin = computed.margins.get(stage)
    arriving_W = budget.arriving_W(computed, elements, stage)
    spare_W = margin.spare_W if margin else None
    return StageRow(
        stage=stage,
        temperature_K=computed.temperatures.get(stage),
        limit_K=margin.limit_K if margin else None,
        margin_K=margin.margin_K if margin else None,
        status=margin.status if margin else "no limit",
        arriving_W=arriving_W,
        joints_W=budget.through_joints_W(computed, elements, stage),
        spare_W=spare_W,
        room_unit=unit_for([arriving_W, spare_W], "W"),
        gaps=tuple(gap.reason for gap in computed.gaps if gap.stage == stage or gap.stage is None),
    )


def _lines(
    elements: Mapping[str, Put], computed: thermal.Budget, bare: frozenset[str]
) -> tuple[ElementLine, ...]:
    weights = {key: _weight(computed.costs.get(key, {})) for key in elements}
    order = sorted(elements, key=lambda key: (key in bare, -weights[key], key))
    gaps = {gap.key: gap.reason for gap in computed.gaps if gap.key}
    return tuple(
        _line(number, elements[key], weights[key], computed, gaps.get(key), key in bare)
        for number, key in enumerate(order, 1)
    )


def _line(
    number: int, put: Put, weight: float, computed: thermal.Budget, gap: str | None, bare: bool
) -> ElementLine:
    return ElementLine(
        number=number,
        put=put,
        kind=label(put),
        facts=facts.of(put),
        heats_W=computed.heats.get(put.key, {}),
        costs_K=costs_told_K(computed.costs.get(put.key, {}), bare),
        weight=weight,
        bare=bare,
        warnings=tuple(row.text for row in computed.warnings if row.key == put.key),
        gap=gap,
    )


def costs_told_K(costs_K: Mapping[str, Band], bare: bool) -> Mapping[str, Band | None]:
    """What an element costs, as far as it can be told.

    What stood in the cryostat at its reference is part of the zero: where heat goes beyond what was tested,
    “more than 0.2 mK” of it would sound like knowledge and is none.
    """
    return {
        stage: None if bare and cost.high is None else _without_noise(cost) for stage, cost in costs_K.items()
    }


NOISE_K = 1e-9
"""Two solutions of the same balance differ by less than this."""


def _without_noise(cost_K: Band) -> Band:
    low, best, high = (
        0.0 if end is not None and abs(end) < NOISE_K else end
        for end in (cost_K.low, cost_K.best, cost_K.high)
    )
    return Band(low, best, high)


def _weight(costs: Mapping[str, Band]) -> float:
    """How large an element is: its cost where it is coldest. *More than* comes first of all."""
    coldest = [costs[stage] for stage in ("platform", "mount", "sample") if stage in costs]
    return max((math.inf if cost.high is None else cost.middle for cost in coldest), default=0.0)


def _drawn(lines: Sequence[ElementLine], elements: Mapping[str, Put], own: document.Own) -> list[ladder.Line]:
    """What the ladder may draw: all that brings heat from one stage to another."""
    read = budget.read_each(elements.values(), own)
    return [
        ladder.Line(line.number, line.put.title, bool(line.warnings), read[line.put.key])
        for line in lines
        if line.put.key in read and line.heats_W and line.put.kind not in ("joint", "source")
    ]


def _words(cryostat: Cryostat, rows: Sequence[StageRow]) -> dict[str, ladder.Words]:
    words = {"vessel": ladder.Words(show_band(cryostat.vessel_K, "K"))}
    for row in rows:
        shown = show_band(row.temperature_K, "K") if row.temperature_K else "not computed"
        words[row.stage] = ladder.Words(shown, row.room, row.status)
    return words


def _heat_unit(stage: str, lines: Sequence[ElementLine]) -> str:
    return unit_for([line.heats_W.get(stage) for line in lines], "W")


def _cause(cause: thermal.Cause, elements: Mapping[str, Put]) -> tuple[str, str, str, str]:
    put = elements.get(cause.key or "")
    title = put.title if put else "not one element alone"
    half = (
        "more than can be said" if cause.half_width_K is None else f"± {in_unit(cause.half_width_K, 'K', 2)}"
    )
    return title, cause.what, cause.stage, half


@dataclass(frozen=True)
class RevisionsView:
    """Every change, newest first, with what was predicted for the coldest stage."""

    cryostat: Cryostat
    rows: Sequence[Revision]
    more: bool
    coldest: str
    coldest_K: Mapping[int, Band]
    may_restore: bool


PAGE = 50


def revisions(session: Session, person: Person, cryostat: Cryostat, before: int | None) -> RevisionsView:
    """One page of the revisions."""
    rows = service.revisions(session, cryostat, PAGE + 1, before)
    stage = "platform" if "platform" in cryostat.stages else cryostat.stages[-1]
    return RevisionsView(
        cryostat=cryostat,
        rows=rows[:PAGE],
        more=len(rows) > PAGE,
        coldest=stage,
        coldest_K=budget.temperatures_of(session, cryostat, stage, [row.number for row in rows[:PAGE]]),
        may_restore=guards.grade_of(session, person, cryostat) >= rules.OPEN,
    )


@dataclass(frozen=True)
class ComparisonView:
    """Two revisions against each other."""

    cryostat: Cryostat
    first: int
    second: int
    diff: DifferenceView
    effects: tuple[StageShift, ...]


def comparison(session: Session, cryostat: Cryostat, first: int, second: int) -> ComparisonView:
    """Both computed with the newest cooler, so that only the configuration differs."""
    diff = service.compare(session, cryostat, first, second)
    builds = [contents.elements(session, cryostat, number) for number in (first, second)]
    before, after = (budget.compute(session, cryostat, build).budget for build in builds)
    moved_K = budget.shifts_K(session, cryostat, *builds)
    return ComparisonView(
        cryostat, first, second, difference_view(diff), shifts(cryostat, before, after, moved_K)
    )
