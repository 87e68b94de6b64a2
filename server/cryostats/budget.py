"""From rows to elements, to the balance, to a stored budget.

A stored budget is a row for (revision, cooler version, model, time), never overwritten; the newest is shown.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.cryostats import contents
from server.cryostats.documents import written
from server.cryostats.models import BudgetRow, CoolerVersion, Cryostat, ElementRow
from server.cryostats.rules import Put
from server.materials import service as materials
from server.physics import thermal
from server.physics.errors import NotSolved
from server.physics.statistics import Band, together
from server.physics.thermal import document

SEVERITY = ("no limit", "within", "may exceed", "incomplete", "more than", "over")
NO_COOLER = "No cooler is entered yet, so no temperature can be predicted"
SHUTTERS = ("lid", "window")


@dataclass(frozen=True)
class Found:
    """A budget, and what it was computed from. `at` is None when it is not stored."""

    budget: thermal.Budget
    data: dict[str, Any]
    cooler_version: int
    at: datetime | None
    own_materials: Mapping[str, int] | None = None
    """Own materials that were used, with their version; None of a budget stored before that was kept."""


@dataclass(frozen=True)
class Brief:
    """What the list of cryostats shows of a budget."""

    temperatures: Mapping[str, Band]
    worst: str


def cooler(session: Session, cryostat: Cryostat) -> CoolerVersion | None:
    """The newest version of the cooler, or None before the first."""
    query = select(CoolerVersion).where(CoolerVersion.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(CoolerVersion.number).desc()).limit(1)).first()


def element_faults(
    puts: Iterable[Put], cryostat: Cryostat, own: document.Own | None = None
) -> dict[str, str]:
    """What the elements get wrong, `put.2.count` → what to do about it. They may name materials of `own`."""
    faults: dict[str, str] = {}
    for number, put in enumerate(puts):
        try:
            element = document.read_element(written(put), f"put.{number}", own)
        except document.BadDocument as bad:
            faults |= bad.faults
        else:
            faults |= {
                f"put.{number}.{name}": text for name, text in _stage_faults(element, cryostat).items()
            }
    return faults


def _stage_faults(element: thermal.Element, cryostat: Cryostat) -> dict[str, str]:
    """Stages an element names that this cryostat does not have."""
    return {
        name: f"This cryostat has no {stage}; choose another stage"
        for name, stage in _stages_named(element)
        if stage not in cryostat.stages
    }


def _stages_named(element: thermal.Element) -> Iterator[tuple[str, str]]:
    """Every field in which a stage stands, with the stage."""
    for name in ("ends_on", "hot_stage", "cold_stage", "stage"):
        if hasattr(element, name):
            yield name, getattr(element, name)
    if isinstance(element, thermal.Run):
        for crossing in element.lengths_m:
            yield from ((f"lengths_m.{'-'.join(crossing)}", stage) for stage in crossing)
        yield from ((f"lags[{number}].stage", lag.stage) for number, lag in enumerate(element.lags))
        yield from (
            (f"attenuators[{number}].stage", row.stage) for number, row in enumerate(element.attenuators)
        )


def read_each(puts: Iterable[Put], own: document.Own) -> dict[str, thermal.Element]:
    """The elements that can be read, by key. What was stored under older rules may not be."""
    found = {}
    for put in puts:
        try:
            found[put.key] = document.read_element(written(put), own=own)
        except document.BadDocument:
            continue
    return found


def compute(session: Session, cryostat: Cryostat, puts: Mapping[str, Put]) -> Found:
    """The budget of these elements with the newest cooler; nothing is stored."""
    version = cooler(session, cryostat)
    if version is None:
        computed = _incomplete(cryostat, NO_COOLER)
        return Found(computed, document.write_budget(computed), 0, None)
    bare = contents.elements(session, cryostat, version.bare_revision) if version.bare_revision else {}
    own = materials.in_force(session)
    elements = read_each(puts.values(), own)
    try:
        computed = thermal.balance(_physical(cryostat, version, bare, own), tuple(elements.values()))
    except NotSolved as problem:
        computed = _incomplete(cryostat, f"The balance found no solution: {problem}")
    except document.BadDocument as bad:
        computed = _incomplete(
            cryostat, f"The cooler does not fit these stages: {'; '.join(bad.faults.values())}"
        )
    computed = _with_unread(computed, puts.keys() - elements.keys())
    used = _used(session, [*puts.values(), *bare.values()])
    return Found(computed, document.write_budget(computed), version.number, None, used)


def _used(session: Session, puts: Iterable[Put]) -> Mapping[str, int]:
    """The own materials these elements are made of, with the version in force."""
    named = {value for put in puts for value in put.data.values() if isinstance(value, str)}
    versions = materials.versions_in_force(session)
    return {name: number for name, number in versions.items() if name in named}


def physical(session: Session, cryostat: Cryostat) -> thermal.Cryostat | None:
    """The instrument as the balance sees it, with its newest cooler; None before the first."""
    version = cooler(session, cryostat)
    if version is None:
        return None
    bare = contents.elements(session, cryostat, version.bare_revision) if version.bare_revision else {}
    return _physical(cryostat, version, bare, materials.in_force(session))


def _physical(
    cryostat: Cryostat, version: CoolerVersion, bare: Mapping[str, Put], own: document.Own
) -> thermal.Cryostat:
    return document.read_cryostat(described(cryostat, version, bare), own=own)


def described(cryostat: Cryostat, version: CoolerVersion, bare: Mapping[str, Put]) -> dict[str, Any]:
    """The cryostat as its document has it."""
    return {
        "stages": cryostat.stages,
        "cooler": version.data["cooler"],
        "limits_K": cryostat.limits_K,
        "vessel_K": cryostat.vessel_K,
        "bare": {
            "elements": [written(put) for put in bare.values()],
            "temperatures_K": version.data.get("bare_temperatures_K", {}),
        },
    }


def cooler_doubts(cryostat: Cryostat, data: Mapping[str, Any]) -> Sequence[str]:
    """What is unlikely in a cooler as entered; nothing where it no longer fits the stages."""
    try:
        known = document.read_cryostat({"stages": cryostat.stages, "cooler": data["cooler"]})
    except document.BadDocument:
        return ()
    return thermal.doubts(known.cooler)


def cooler_faults(cryostat: Cryostat, data: Mapping[str, Any]) -> dict[str, str]:
    """What the document refuses of a cooler, path → what to do."""
    about = {"stages": cryostat.stages, "cooler": data["cooler"]}
    try:
        document.read_cryostat(about, "")
    except document.BadDocument as bad:
        return {path.removeprefix(".cooler."): text for path, text in bad.faults.items()}
    return {}


def _incomplete(cryostat: Cryostat, reason: str) -> thermal.Budget:
    margins = {
        stage: thermal.Margin(cryostat.limits_K.get(stage), None, "incomplete")
        for stage in cryostat.stages
        if stage != "vessel"
    }
    return thermal.Budget({}, {}, {}, margins, gaps=(thermal.Gap(None, None, reason),))


def _with_unread(computed: thermal.Budget, unread: Iterable[str]) -> thermal.Budget:
    keys = sorted(unread)
    if not keys:
        return computed
    gaps = tuple(
        thermal.Gap(key, None, "What is stored of this element can no longer be read") for key in keys
    )
    margins = {
        stage: thermal.Margin(margin.limit_K, margin.margin_K, "incomplete")
        for stage, margin in computed.margins.items()
    }
    return thermal.Budget(
        computed.temperatures,
        computed.heats,
        computed.costs,
        margins,
        (*computed.gaps, *gaps),
        computed.warnings,
        computed.band_causes,
        computed.model,
    )


def store(session: Session, cryostat: Cryostat, revision: int, at: datetime) -> BudgetRow:
    """Compute the budget of a revision and keep it."""
    found = compute(session, cryostat, contents.elements(session, cryostat, revision))
    assert cryostat.id is not None
    row = BudgetRow(
        cryostat_id=cryostat.id,
        revision=revision,
        cooler_version=found.cooler_version,
        model=found.budget.model,
        at=at,
        data=found.data,
        own_materials=None if found.own_materials is None else dict(found.own_materials),
    )
    session.add(row)
    session.flush()
    return row


def of_revision(session: Session, cryostat: Cryostat, revision: int) -> Found:
    """The newest budget stored for a revision; computed afresh where none is."""
    query = select(BudgetRow).where(BudgetRow.cryostat_id == cryostat.id, BudgetRow.revision == revision)
    row = session.exec(query.order_by(col(BudgetRow.id).desc()).limit(1)).first()
    if row is None:
        return compute(session, cryostat, contents.elements(session, cryostat, revision))
    return Found(document.read_budget(row.data), row.data, row.cooler_version, row.at, row.own_materials)


def is_behind(session: Session, cryostat: Cryostat, model: str, cooler_version: int) -> bool:
    """True when the model or the cooler moved on since a budget was computed with these."""
    version = cooler(session, cryostat)
    return cooler_version != (version.number if version else 0) or model != thermal.MODEL


def refresh(session: Session, cryostat: Cryostat, at: datetime) -> bool:
    """Store the budget of the current revision anew if it is behind; the older one stays."""
    query = select(BudgetRow).where(
        BudgetRow.cryostat_id == cryostat.id, BudgetRow.revision == cryostat.revision
    )
    row = session.exec(query.order_by(col(BudgetRow.id).desc()).limit(1)).first()
    if row is not None and not is_behind(session, cryostat, row.model, row.cooler_version):
        return False
    store(session, cryostat, cryostat.revision, at)
    return True


def temperatures_of(
    session: Session, cryostat: Cryostat, stage: str, revisions: Sequence[int]
) -> Mapping[int, Band]:
    """Revision → what its newest stored budget says of one stage, all in one query."""
    query = select(BudgetRow).where(
        BudgetRow.cryostat_id == cryostat.id, col(BudgetRow.revision).in_(revisions)
    )
    rows = {row.revision: row for row in session.exec(query.order_by(col(BudgetRow.id))).all()}
    found = {number: document.read_budget(row.data).temperatures.get(stage) for number, row in rows.items()}
    return {number: band for number, band in found.items() if band is not None}


def newest_of_all(session: Session) -> Mapping[int, Brief]:
    """Cryostat key → what is predicted for it now, for all cryostats in one query."""
    newest = (
        select(BudgetRow.cryostat_id, func.max(BudgetRow.id).label("newest"))
        .join(
            Cryostat,
            (col(Cryostat.id) == BudgetRow.cryostat_id) & (col(Cryostat.revision) == BudgetRow.revision),
        )
        .group_by(col(BudgetRow.cryostat_id))
        .subquery()
    )
    rows = session.exec(select(BudgetRow).join(newest, newest.c.newest == BudgetRow.id)).all()
    return {row.cryostat_id: _brief(document.read_budget(row.data)) for row in rows}


def _brief(computed: thermal.Budget) -> Brief:
    statuses = [margin.status for margin in computed.margins.values()]
    return Brief(computed.temperatures, max(statuses, key=SEVERITY.index, default="incomplete"))


def shutters_of_all(session: Session) -> Mapping[int, Sequence[tuple[str, str]]]:
    """Cryostat key → (lid or window, its state), for all cryostats in one query."""
    query = select(ElementRow).where(
        col(ElementRow.to_revision).is_(None), col(ElementRow.kind).in_(SHUTTERS)
    )
    found: dict[int, list[tuple[str, str]]] = {}
    for row in session.exec(query.order_by(ElementRow.kind, ElementRow.key)).all():
        state = str(row.data.get("state", "not-recorded"))
        found.setdefault(row.cryostat_id, []).append((row.label or row.key, state))
    return found


def arriving_W(computed: thermal.Budget, puts: Mapping[str, Put], stage: str) -> Band | None:
    """All heat that has to leave a stage: what the elements bring, and what arrives there through joints."""
    bringing = (key for key, put in puts.items() if put.kind != "joint")
    heats = [computed.heats[key][stage] for key in bringing if stage in computed.heats.get(key, {})]
    through_W = through_joints_W(computed, puts, stage)
    heats += [] if through_W is None else [through_W]
    return together(heats) if heats else None


def through_joints_W(computed: thermal.Budget, puts: Mapping[str, Put], stage: str) -> Band | None:
    """The heat joints bring to a stage from the warmer side; None where no joint brings any."""
    joints = (computed.heats.get(key, {}).get(stage) for key, put in puts.items() if put.kind == "joint")
    heats = [band for band in joints if band is not None and band.middle > 0]
    return together(heats) if heats else None


def bare_keys(session: Session, cryostat: Cryostat, puts: Mapping[str, Put]) -> frozenset[str]:
    """Elements that stand as they did at the bare reference: part of the zero everything is told from."""
    version = cooler(session, cryostat)
    if version is None or not version.bare_revision:
        return frozenset()
    bare = contents.elements(session, cryostat, version.bare_revision)
    return frozenset(key for key, put in puts.items() if key in bare and bare[key].data == put.data)


def shifts_K(
    session: Session, cryostat: Cryostat, before: Mapping[str, Put], after: Mapping[str, Put]
) -> Mapping[str, Band]:
    """What going from `before` to `after` does to each stage, with a band of its own.

    Two budgets share most of what is uncertain in them, so their bands must not be subtracted. A stage is
    left out where nobody can say; all are before the first cooler.
    """
    own = materials.in_force(session)
    builds = [tuple(read_each(puts.values(), own).values()) for puts in (before, after)]
    try:
        instrument = physical(session, cryostat)
        return thermal.difference(instrument, *builds) if instrument else {}
    except (NotSolved, document.BadDocument):
        return {}
