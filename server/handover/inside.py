"""What is in a cryostat now, for the book of whoever takes it over."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cryostats import (
    budget,
    contents,
    instruments,
    part_views,
    photographs,
    ports,
    service,
    views,
    wire_map,
)
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.part_views import CryostatPartsView
from server.cryostats.photographs import Shown
from server.cryostats.port_models import ContinuityLine, ContinuityTest, PinEntry, Port
from server.cryostats.port_rules import PIN_STATES
from server.cryostats.rules import STATES, Put
from server.cryostats.samples import Inside as Sample
from server.cryostats.samples import inside as samples_inside
from server.cryostats.views import BudgetView
from server.cryostats.wire_map import WireMapView
from server.handover.rules import NOTHING, Chapter, Clock
from server.physics.statistics import Band
from server.record.rules import Section
from server.units import in_unit, show_band, unit_for

MOST_PICTURES = 24
COUNTED = "MΩ"


@dataclass(frozen=True)
class Inside:
    """Everything that stands in one cryostat now."""

    cryostat: Cryostat
    state: StateEntry | None
    puts: Mapping[str, Put]
    found: budget.Found
    budget: BudgetView
    wires: WireMapView
    ports: Sequence[Port]
    pins: Mapping[int, Mapping[int, PinEntry]]
    tested: ContinuityTest | None
    lines: Sequence[ContinuityLine]
    parts: CryostatPartsView
    samples: Sequence[Sample]
    pictures: Sequence[Shown]


def gather(session: Session, cryostat: Cryostat, clock: Clock) -> Inside:
    """What is inside now, in a number of queries that does not grow with the years."""
    puts = contents.elements(session, cryostat, cryostat.revision)
    found = budget.of_revision(session, cryostat, cryostat.revision)
    step = service.revision(session, cryostat, cryostat.revision) if cryostat.revision else None
    tested = next(iter(ports.measured(session, cryostat, 1)), None)
    shown = photographs.of_cryostat(session, cryostat, limit=MOST_PICTURES)
    return Inside(
        cryostat=cryostat,
        state=instruments.state_now(session, cryostat),
        puts=puts,
        found=found,
        budget=views.budget_view(session, cryostat, puts, found),
        wires=wire_map.sheet(cryostat, cryostat.revision, step, puts, clock.now),
        ports=ports.of_cryostat(session, cryostat),
        pins=ports.pins(session, cryostat),
        tested=tested,
        lines=ports.lines(session, tested) if tested else (),
        parts=part_views.of_cryostat(session, cryostat, clock.today),
        samples=samples_inside(session, [cryostat]).get(cryostat.id or 0, ()),
        pictures=[row for row in shown if row.withdrawal is None],
    )


def chapter(found: Inside, clock: Clock) -> Chapter:
    """What is inside, what it brings to the stages, and where its lines come out."""
    sections = (
        _instrument(found, clock),
        _elements(found),
        _wires(found),
        _stages(found),
        _heats(found),
        _doubts(found),
        _samples(found, clock),
        _parts(found),
        _ports(found),
        _pins(found),
        _continuity(found),
        _pictures(found, clock),
    )
    return Chapter("inside", "What is in it now", sections)


def _instrument(found: Inside, clock: Clock) -> Section:
    row, state = found.cryostat, found.state
    limits = ", ".join(f"{stage} below {in_unit(limit_K, 'K')}" for stage, limit_K in row.limits_K.items())
    told = (
        ("Place", row.place),
        ("Stages", ", ".join(row.stages)),
        ("Limits", limits),
        ("State", f"{STATES[state.state]}, entered by {state.by_name}" if state else ""),
        ("In this state since", clock.when(state.since) if state else ""),
        ("Remark on the state", state.note if state else ""),
        ("Revision inside", str(row.revision)),
        (
            "Logged",
            f"{clock.when(found.wires.revision.done_at)}, {found.wires.revision.by_name}"
            if found.wires.revision
            else "",
        ),
        ("Why", found.wires.revision.reason if found.wires.revision else ""),
    )
    return Section("The instrument", ("What", "As it stands"), told)


def _elements(found: Inside) -> Section:
    rows = tuple(
        (
            line.put.title,
            line.kind,
            "; ".join(f"{fact.name} {fact.value}" for fact in line.facts),
            line.put.part,
            "house" if line.put.house else "",
            line.put.note,
        )
        for line in found.budget.lines
    )
    head = ("Element", "Kind", "What is known of it", "Part", "Whose", "Note")
    return Section("Configuration", head, rows, "Nothing is written down as being inside.")


def _wires(found: Inside) -> Section:
    rows = tuple(
        (
            f"{row.number} {row.put.title}",
            row.kind,
            row.material,
            row.size,
            str(row.count),
            "; ".join(row.lengths) or "not recorded",
            "; ".join(row.lags) or "none recorded",
            row.ends_on,
        )
        for row in found.wires.rows
    )
    head = ("Run", "Kind", "Material", "Size", "How many", "Lengths", "Lags", "Ends on")
    return Section("Wire map", head, rows, "No run is inside.")


def _stages(found: Inside) -> Section:
    rows = tuple(
        (
            row.stage,
            show_band(row.temperature_K, "K") if row.temperature_K else "not computed",
            in_unit(row.limit_K, "K") if row.limit_K is not None else "",
            row.status,
            "; ".join(row.room),
            "; ".join(row.gaps),
        )
        for row in found.budget.stages
    )
    head = (
        "Stage",
        "Predicted (central 95 %)",
        "Limit",
        "Against the limit",
        "Heat",
        "What cannot be computed",
    )
    return Section("Heat budget by stage", head, rows, budget.NO_COOLER)


def _heats(found: Inside) -> Section:
    rows = tuple(
        (
            line.put.title,
            "; ".join(
                f"{stage} {_band(heat_W, 'W')}" for stage, heat_W in line.heats_W.items() if heat_W.high != 0
            ),
            "; ".join(
                f"{stage} {_band(cost_K, 'K', True)}" for stage, cost_K in line.costs_K.items() if cost_K
            ),
            "bare reference" if line.bare else "",
            line.gap or "",
        )
        for line in found.budget.lines
    )
    head = ("Element", "Heat", "What it costs", "Stood there at", "What cannot be computed")
    return Section("Heat budget by element", head, rows, "Nothing is inside.")


def _band(value: Band, suffix: str, signed: bool = False) -> str:
    return show_band(value, unit_for([value], suffix), signed)


def _doubts(found: Inside) -> Section:
    return Section(
        "What the budget warns of",
        ("Warning",),
        tuple((words,) for words in found.budget.warnings),
        "Nothing.",
    )


def _samples(found: Inside, clock: Clock) -> Section:
    rows = tuple(
        (
            row.sample.what,
            row.sample.owner_name + ("" if row.owner_active else " (has left)"),
            row.sample.hazard,
            row.sample.if_breaks,
            row.sample.carrier,
            f"waits for a steward's yes since {clock.day(row.sample.at)}" if row.needs_approval else "",
        )
        for row in found.samples
    )
    head = ("Sample", "Whose", "Hazard", "If it breaks", "Carrier", "Approval")
    return Section("Samples", head, rows, "No sample is inside.")


def _parts(found: Inside) -> Section:
    rows = [
        (part.tag, part.name, element.label or element.key, part.serial, _about(part.about))
        for element, part in found.parts.inside
    ]
    rows += [
        (
            row.part.tag,
            row.part.name,
            f"lent to here, due back {row.out.loan.due_on.isoformat()}",
            row.part.serial,
            "",
        )
        for row in found.parts.lent
    ]
    head = ("Part", "Name", "Is", "Serial", "Description, curve and calibration")
    return Section("Parts inside", head, tuple(rows), NOTHING)


def _about(about: Mapping[str, str]) -> str:
    return "; ".join(f"{name.replace('_', ' ')}: {text}" for name, text in about.items() if text)


def _ports(found: Inside) -> Section:
    rows = []
    for port in found.ports:
        states = [entry.state for entry in found.pins.get(port.id or 0, {}).values()]
        used, dead = states.count("line"), states.count("dead")
        rows.append((port.name, port.kind, port.carries, str(port.pins), str(used), str(dead), port.note))
    head = ("Port", "Kind", "Carries", "Pins", "With a line", "Dead", "Note")
    return Section("Ports", head, tuple(rows), NOTHING)


def _pins(found: Inside) -> Section:
    rows = tuple(
        (f"{port.name} {pin}", PIN_STATES[entry.state], entry.line, entry.element_key, entry.note)
        for port in found.ports
        for pin, entry in sorted(found.pins.get(port.id or 0, {}).items())
        if entry.state != "free" or entry.note
    )
    return Section("Pins", ("Pin", "State", "Line", "Element", "Note"), rows, NOTHING)


def _continuity(found: Inside) -> Section:
    rows = tuple(
        (
            f"{line.port} {line.pin}",
            line.line,
            _resistance(line),
            _isolation(line),
            line.note,
        )
        for line in found.lines
    )
    day = f", {found.tested.on_day.isoformat()}, lid {found.tested.lid}" if found.tested else ""
    head = ("Pin", "Line", "Continuity", "Isolation", "Note")
    return Section(f"Last test of the lines{day}", head, rows, "No test is written down.")


def _resistance(line: ContinuityLine) -> str:
    if line.open:
        return "open"
    return in_unit(line.resistance_ohm, "Ω") if line.resistance_ohm is not None else "not measured"


def _isolation(line: ContinuityLine) -> str:
    if line.isolation_ohm is None:
        return "not measured"
    return ("more than " if line.isolation_more else "") + in_unit(line.isolation_ohm, COUNTED)


def _pictures(found: Inside, clock: Clock) -> Section:
    rows = tuple(
        (
            row.photograph.caption,
            row.photograph.kind,
            f"revision {row.photograph.revision}",
            row.photograph.element_key or "",
            row.photograph.by_name,
            clock.day(row.photograph.at),
        )
        for row in found.pictures
    )
    head = ("Picture", "Kind", "Of", "Element", "By", "Taken in")
    return Section(f"Photographs and drawings, the last {MOST_PICTURES}", head, rows, NOTHING)
