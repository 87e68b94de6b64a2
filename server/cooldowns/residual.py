"""The residual of a cooldown: what was measured at base against what was written down before it began."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, select

from server.cooldowns import entry_kinds, residual_rules, rules
from server.cooldowns.finding import Sheet, revision_at
from server.cooldowns.models import CooldownEntry
from server.cooldowns.readings_asked import latest
from server.cooldowns.residual_rules import Facts, Load, Residual
from server.cryostats import budget, contents
from server.cryostats.models import BudgetRow, CoolerVersion
from server.errors import NotFound
from server.materials import service as materials
from server.physics import thermal
from server.physics.errors import PhysicsError
from server.physics.thermal import document

TEMPERATURE = "temperature"


@dataclass(frozen=True)
class Beside:
    """What the model and the cooler of today would say of the same configuration."""

    model: str
    cooler_version: int
    residuals: tuple[Residual, ...]


def measured_K(base: CooldownEntry | None) -> dict[str, float] | None:
    """Stage → what was read at base; None before anybody wrote it down."""
    if base is None:
        return None
    return {stage: base.data[f"{stage}_K"] for stage, _ in entry_kinds.STAGES if f"{stage}_K" in base.data}


def of(session: Session, sheet: Sheet, now: datetime | None = None) -> tuple[Residual, ...]:
    """Every stage against the prediction made before. With `now`, silent thermometers are told apart."""
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    facts = _facts(session, sheet, base, now)
    return residual_rules.judged(sheet.cryostat.stages, measured_K(base), sheet.expected_K, facts)


def _facts(session: Session, sheet: Sheet, base: CooldownEntry | None, now: datetime | None) -> Facts:
    began = sheet.expectation.revision
    if base is None:
        return Facts(began, began, "", "")
    return Facts(
        began_with=began,
        stood_at_base=revision_at(session, sheet.cryostat, base.at),
        heater=base.data.get("heater", ""),
        settled=base.data.get("settled", ""),
        unrecorded=_unrecorded(session, sheet),
        silent=_silent(session, sheet, now) if now is not None else (),
    )


def _unrecorded(session: Session, sheet: Sheet) -> tuple[str, ...]:
    """Lid and windows of which nobody wrote down whether they are in."""
    puts = contents.elements(session, sheet.cryostat, sheet.expectation.revision)
    return tuple(
        put.title
        for put in puts.values()
        if put.kind in budget.SHUTTERS and put.data.get("state", "not-recorded") in (None, "not-recorded")
    )


def _silent(session: Session, sheet: Sheet, now: datetime) -> tuple[str, ...]:
    assert sheet.cryostat.id is not None
    rows = latest(session, sheet.cryostat.id, now)
    return tuple(row.channel.stage for row in rows if row.silent and row.channel.quantity == TEMPERATURE)


def loads(session: Session, sheet: Sheet, residuals: tuple[Residual, ...]) -> tuple[Load, ...]:
    """The extra load that would explain what lies outside, with the cooler as the prediction knew it."""
    if not any(row.outside_K > 0.0 for row in residuals):
        return ()
    own = materials.in_force(session)
    puts = contents.elements(session, sheet.cryostat, sheet.expectation.revision)
    elements = tuple(budget.read_each(puts.values(), own).values())
    try:
        return residual_rules.implied(instrument(session, sheet, own), elements, residuals)
    except (PhysicsError, document.BadDocument, NotFound):
        return ()


def instrument(session: Session, sheet: Sheet, own: document.Own) -> thermal.Cryostat:
    """The cryostat with the version of the cooler that the prediction was made with."""
    stored = session.get(BudgetRow, sheet.expectation.budget_id)
    assert stored is not None
    query = select(CoolerVersion).where(
        CoolerVersion.cryostat_id == sheet.cryostat.id, CoolerVersion.number == stored.cooler_version
    )
    version = session.exec(query).first()
    if version is None:
        raise NotFound("There was no cooler when this was predicted.")
    bare = contents.elements(session, sheet.cryostat, version.bare_revision) if version.bare_revision else {}
    return document.read_cryostat(budget.described(sheet.cryostat, version, bare), own=own)


def beside(session: Session, sheet: Sheet) -> Beside:
    """The same measurement against what is computed of that configuration today; nothing is stored."""
    puts = contents.elements(session, sheet.cryostat, sheet.expectation.revision)
    found = budget.compute(session, sheet.cryostat, puts)
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    rows = residual_rules.judged(
        sheet.cryostat.stages,
        measured_K(base),
        found.budget.temperatures,
        _facts(session, sheet, base, None),
    )
    return Beside(found.budget.model, found.cooler_version, rows)
