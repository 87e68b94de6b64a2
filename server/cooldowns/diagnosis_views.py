"""What the page of a diagnosis shows."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cooldowns import diagnosis, diagnosis_rules, diagnosis_tests, residual
from server.cooldowns.diagnosis import Diagnosed
from server.cooldowns.diagnosis_models import DiagnosisFinding
from server.cooldowns.diagnosis_rules import LABELS, MISSING, RATIOS, Cause, Told
from server.cooldowns.diagnosis_tests import Test
from server.cooldowns.finding import Sheet
from server.cooldowns.residual_rules import Load
from server.cooldowns.views import Trouble
from server.cooldowns.witnesses import Witness
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.faults.causes import CAUSES, GROUPS
from server.people.models import Person
from server.physics import thermal
from server.physics.thermal.diagnosis import Explanation
from server.physics.thermal.suspects import CAUSES as NAMED
from server.units import in_unit, show

MOST = 3
"""Explanations told whole; the others in one line each."""
LIKE_WIRE_M = 0.1
LIKE_WIRE = "copper-rrr-100"


@dataclass(frozen=True)
class Row:
    """One witness: read, usual or expected, apart from it, and its standard deviation as text."""

    name: str
    label: str
    read: str
    expected: str
    usual: str
    apart: str
    sigma: str
    reason: str


@dataclass(frozen=True)
class Ranked:
    """One explanation. `chance` is its probability in words."""

    title: str
    causes: Sequence[Cause]
    chance: str
    told: Sequence[Told]


@dataclass(frozen=True)
class Contact:
    """A contact from a warmer stage that would carry the load, and a wire that would conduct as much."""

    hot: str
    conductance: str
    wire: str


@dataclass(frozen=True)
class LoadRow:
    """Extra heat at a stage, and the contacts that would carry it."""

    load: Load
    contacts: Sequence[Contact]


@dataclass(frozen=True)
class DiagnosisView:
    """The page of a diagnosis."""

    sheet: Sheet
    rows: Sequence[Row]
    first: Sequence[Ranked]
    others: Sequence[Ranked]
    loads: Sequence[LoadRow]
    tests: Sequence[Test]
    ask: Sequence[str]
    doubts: Sequence[str]
    learned: Sequence[str]
    findings: Sequence[tuple[DiagnosisFinding, str]]
    gap: str
    may_write: bool
    trouble: Trouble
    causes: Sequence[tuple[str, Sequence[tuple[str, str]]]] = GROUPS

    @property
    def cryostat(self) -> Cryostat:
        """Whose it is."""
        return self.sheet.cryostat


def page(
    session: Session,
    person: Person,
    sheet: Sheet,
    sigmas: Mapping[str, float],
    trouble: Trouble | None = None,
) -> DiagnosisView:
    """The diagnosis of one cooldown in words."""
    found = diagnosis.of(session, sheet, sigmas)
    ranked = [_ranked(found, row) for row in (found.diagnosis.explanations if found.diagnosis else ())]
    whole = found.diagnosis.explanations[:MOST] if found.diagnosis else ()
    reasons = {row.reason for row in residual.of(session, sheet) if row.measured_K is not None and row.reason}
    return DiagnosisView(
        sheet=sheet,
        rows=[_row(found, witness) for witness in found.witnesses],
        first=ranked[:MOST],
        others=ranked[MOST:],
        loads=[_load_row(found, load) for load in found.loads],
        tests=diagnosis_tests.tests(whole),
        ask=[MISSING[row.name] for row in found.witnesses if row.reason and row.name in MISSING],
        doubts=sorted(reasons),
        learned=[f"{NAMED[cause].lower()}: {count:.0f}" for cause, count in found.often.items()],
        findings=[(row, CAUSES[row.cause]) for row in diagnosis.findings(session, sheet)],
        gap=found.gap,
        may_write=guards.grade_of(session, person, sheet.cryostat) >= OPERATE,
        trouble=trouble or Trouble(),
    )


UNITS = {"pressure": "mbar", "cooldown": "h", "helium": "bar"}


def _row(found: Diagnosed, one: Witness) -> Row:
    seen = found.seen.get(one.name)
    ratio = one.name in RATIOS
    unit = UNITS.get(one.name, "K")
    expected = found.diagnosis.expected.get(one.name) if found.diagnosis and not ratio else one.usual
    apart = (
        f"{diagnosis_rules.witness(one.name, seen)}, {seen / one.sigma:+.1f} σ" if seen is not None else "–"
    )
    return Row(
        name=one.name,
        label=LABELS[one.name],
        read=in_unit(one.read, unit, 4) if one.read is not None else "–",
        expected=in_unit(expected, unit, 4) if expected is not None else "–",
        usual=_usual(one, ratio),
        apart=apart.replace("-", "−"),
        sigma=show(float(f"{one.sigma:.3g}"), "%" if ratio else "mK"),
        reason=one.reason,
    )


def _usual(one: Witness, ratio: bool) -> str:
    if one.usual is None:
        return "nothing before it to compare with"
    if ratio:
        return f"median of {one.count}"
    return f"{diagnosis_rules.witness(one.name, one.usual)} above the prediction, median of {one.count}"


def _ranked(found: Diagnosed, one: Explanation) -> Ranked:
    sigmas = {row.name: row.sigma for row in found.witnesses}
    return Ranked(
        title=diagnosis_rules.title(one),
        causes=[diagnosis_rules.cause(row, found.titles) for row in one.causes],
        chance=chance(one.probability),
        told=diagnosis_rules.told(one, found.seen, sigmas),
    )


def chance(probability: float) -> str:
    """A probability in per cent, honest at both ends."""
    if probability > 0.99:
        return "more than 99 %"
    return f"{100 * probability:.0f} %" if probability >= 0.01 else "less than 1 %"


def _load_row(found: Diagnosed, load: Load) -> LoadRow:
    """What would carry this load to the stage from each warmer one."""
    assert found.diagnosis is not None
    kelvin = {"vessel": thermal.Cryostat.vessel_K} | dict(found.diagnosis.expected)
    cold_K, heat_W = kelvin[load.stage], load.heat_W.middle
    order = [stage for stage in ("vessel", "shield", "platform", "mount") if stage in kelvin]
    hotter = [stage for stage in order if kelvin[stage] > cold_K + 1.0 and stage != load.stage]
    return LoadRow(load, [_contact(stage, kelvin[stage], cold_K, heat_W) for stage in hotter])


def _contact(hot: str, hot_K: float, cold_K: float, heat_W: float) -> Contact:
    integral_W_m = float(thermal.material(LIKE_WIRE).conductivity_integral_W_m(cold_K, hot_K))
    diameter_m = 2.0 * math.sqrt(heat_W * LIKE_WIRE_M / integral_W_m / math.pi)
    conductance = diagnosis_rules.conductance_words(heat_W / (hot_K - cold_K))
    return Contact(
        hot, conductance, f"{in_unit(diameter_m, 'mm', 2)} thick and {in_unit(LIKE_WIRE_M, 'mm')} long"
    )
