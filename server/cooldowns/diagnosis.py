"""Why one cooldown is warmer than it should be: its witnesses, the explanations, and what was found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from server.cooldowns import diagnosis_rules, residual, service, witnesses
from server.cooldowns.diagnosis_models import DiagnosisFinding
from server.cooldowns.diagnosis_rules import RATIOS
from server.cooldowns.finding import Sheet
from server.cooldowns.residual_rules import INSIDE, OUTSIDE, Load, Residual, implied
from server.cooldowns.witnesses import NORMAL_95, Witness
from server.cryostats import budget, contents, instruments
from server.cryostats.rules import OPERATE, text_faults
from server.errors import NotFound, Refused
from server.faults import service as faults
from server.faults.causes import CAUSES
from server.faults.rules import FOUND, MENDED, Where
from server.history import service as history
from server.materials import service as materials
from server.people.models import Person
from server.physics import thermal
from server.physics.errors import PhysicsError
from server.physics.statistics import Band
from server.physics.thermal import document
from server.physics.thermal.diagnosis import Diagnosis, Reading, diagnose

LAST_FAULTS = 200
KEPT = 5
"""How many explanations a finding keeps beside itself."""


@dataclass(frozen=True)
class Diagnosed:
    """A diagnosis with everything it was made from. `gap` says why there is none."""

    witnesses: tuple[Witness, ...]
    readings: Mapping[str, Reading] = field(default_factory=dict)
    diagnosis: Diagnosis | None = None
    loads: tuple[Load, ...] = ()
    titles: Mapping[str, str] = field(default_factory=dict)
    often: Mapping[str, float] = field(default_factory=dict)
    gap: str = ""

    @property
    def seen(self) -> dict[str, float]:
        """Witness → what was read above what was expected."""
        if self.diagnosis is None:
            return {}
        return {name: row.value - self.diagnosis.expected[name] for name, row in self.readings.items()}


def of(session: Session, sheet: Sheet, sigmas: Mapping[str, float]) -> Diagnosed:
    """The diagnosis of a cooldown, with these standard deviations where somebody chose them."""
    found = witnesses.taken(session, sheet, sigmas)
    readings = {row.name: row.reading for row in found if row.reading is not None}
    if not any(name not in RATIOS for name in readings):
        return Diagnosed(found, gap="No temperature at base was written down yet.")
    puts = contents.elements(session, sheet.cryostat, sheet.expectation.revision)
    own = materials.in_force(session)
    elements = tuple(budget.read_each(puts.values(), own).values())
    offsets = {row.name: row.usual for row in found if row.name in readings and row.usual is not None}
    offsets_K = {name: value for name, value in offsets.items() if name not in RATIOS}
    counts = often(session, sheet)
    try:
        cryostat = residual.instrument(session, sheet, own)
        told = diagnose(cryostat, elements, readings, often=counts, offsets_K=offsets_K)
        loads = _loads(cryostat, elements, readings, told)
    except (PhysicsError, document.BadDocument, NotFound) as problem:
        return Diagnosed(found, readings, gap=str(problem))
    titles = {key: put.title for key, put in puts.items()}
    return Diagnosed(found, readings, told, loads, titles, counts)


def often(session: Session, sheet: Sheet) -> dict[str, float]:
    """Cause → how many times it was found on this cryostat."""
    rows = faults.listed(session, sheet.cryostat.id, (FOUND, MENDED), limit=LAST_FAULTS)
    return diagnosis_rules.often(row.cause for row in rows)


def _loads(
    cryostat: thermal.Cryostat,
    elements: Sequence[thermal.Element],
    readings: Mapping[str, Reading],
    told: Diagnosis,
) -> tuple[Load, ...]:
    """The extra heat at each stage that reads warmer than expected by more than two standard deviations."""
    rows = []
    for stage in cryostat.stages[1:]:
        if stage in readings:
            expected_K, half_K = told.expected[stage], NORMAL_95 * readings[stage].sigma
            band = Band(expected_K - half_K, expected_K, expected_K + half_K)
            verdict = INSIDE if band.contains(readings[stage].value) else OUTSIDE
            rows.append(Residual(stage, readings[stage].value, band, verdict))
    return implied(cryostat, elements, tuple(rows))


def findings(session: Session, sheet: Sheet) -> Sequence[DiagnosisFinding]:
    """What was found behind this cooldown, oldest first."""
    query = select(DiagnosisFinding).where(DiagnosisFinding.cooldown_id == sheet.cooldown.id)
    return session.exec(query.order_by(col(DiagnosisFinding.id))).all()


def found(
    session: Session, person: Person, slug: str, number: int, cause: str, words: str, now: datetime
) -> DiagnosisFinding:
    """What was found behind a cooldown: a fault with its cause, which later diagnoses here learn from."""
    sheet = service.locked(session, person, slug, number, OPERATE)
    wrong = text_faults("words", "the words", words, 2000)
    if cause not in CAUSES:
        wrong["cause"] = "Choose what was found"
    if wrong:
        raise Refused("What was found was not written down.", wrong)
    told = of(session, sheet, {})
    fault = faults.report(
        session, person, sheet.cryostat.id, _what_seen(sheet, told), Where(), now, "disturbs"
    )
    assert fault.id is not None
    assert sheet.cooldown.id is not None
    faults.cause_found(session, person, fault.id, cause, words, now)
    row = DiagnosisFinding(
        cooldown_id=sheet.cooldown.id,
        fault_id=fault.id,
        cause=cause,
        words=words.strip(),
        told=_kept(told),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Found behind cooldown {number}: {CAUSES[cause].lower()}"
    history.note(session, person, instruments.subject(sheet.cryostat), line, now)
    return row


def _what_seen(sheet: Sheet, told: Diagnosed) -> str:
    shifts = [
        f"{diagnosis_rules.LABELS[name].lower()} {diagnosis_rules.witness(name, shift)}"
        for name, shift in told.seen.items()
    ]
    against = f", against what was expected: {', '.join(shifts)}" if shifts else ""
    return f"Cooldown {sheet.cooldown.number}{against}"


def _kept(told: Diagnosed) -> list[dict[str, Any]]:
    rows = told.diagnosis.explanations[:KEPT] if told.diagnosis else ()
    return [
        {
            "causes": [one.suspect.key for one in row.causes],
            "known": row.known,
            "probability": round(row.probability, 6),
        }
        for row in rows
    ]
