"""Choosing a wire for a set of lines: what was asked, every metal and gauge ranked, one taken on."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session

from server.cryostats import budget, contents, forms, reading
from server.cryostats.models import Cryostat
from server.materials import service as materials
from server.physics import thermal
from server.physics.errors import NoData, PhysicsError
from server.physics.statistics import Band
from server.physics.thermal import document
from server.units import BadNumber, in_unit, parse_quantity, unit_for

KIND = "wire"
ASKED = ("count", "ends_on", "current_A")
CHOSEN = {"material": "phosphor-bronze", "diameter_m": "AWG 36"}
"""Stand in for what is being chosen while the rest of the form is read."""
START = {
    "count": "24",
    "current_A": "1 mA",
    "ends_on": "platform",
    "lengths_m.vessel-shield": "300 mm",
    "lengths_m.shield-platform": "150 mm",
    "lags.shield.state": "good",
    "lags.shield.length_m": "10 mm",
    "lags.shield.filler": "varnish",
}


@dataclass(frozen=True)
class ChoiceRow:
    """One metal and gauge in the units of the table; `texts` are the fields of its form."""

    candidate: thermal.Candidate
    rises: tuple[str, ...]
    resistance: str
    heating: str
    texts: Mapping[str, str]


@dataclass(frozen=True)
class ChoiceView:
    """The page."""

    cryostat: Cryostat
    fields: tuple[forms.FieldView, ...]
    crossings: tuple[forms.CrossingView, ...]
    most_ohm: str
    stages: tuple[str, ...]
    rows: tuple[ChoiceRow, ...]
    faults: Mapping[str, str]
    refusal: str


def view(session: Session, cryostat: Cryostat, typed: Mapping[str, str], most_ohm: str) -> ChoiceView:
    """The page for what was typed; with nothing typed, for an ordinary loom."""
    texts = dict(typed) or {name: text for name, text in START.items() if _fits(name, cryostat)}
    shown = forms.fields(KIND, texts, cryostat)
    stages = tuple(stage for stage in ("platform", "sample") if stage in cryostat.stages)
    wanted, faults = _wanted(texts, most_ohm, cryostat)
    rows, refusal = (
        ((), "") if faults or wanted is None else _ranked(session, cryostat, wanted, stages, texts)
    )
    return ChoiceView(
        cryostat=cryostat,
        fields=tuple(field for field in shown.plain if field.name.removeprefix("e.") in ASKED),
        crossings=shown.crossings,
        most_ohm=most_ohm,
        stages=stages,
        rows=rows,
        faults=faults,
        refusal=refusal,
    )


def _fits(name: str, cryostat: Cryostat) -> bool:
    named = [
        stage for stage in thermal.STAGES if stage in name.split(".", 1)[-1].replace(".", "-").split("-")
    ]
    return all(stage in cryostat.stages for stage in named)


def _wanted(
    texts: Mapping[str, str], most_ohm: str, cryostat: Cryostat
) -> tuple[thermal.Wanted | None, dict[str, str]]:
    data, found = reading.read(KIND, {**texts, **CHOSEN}, cryostat)
    faults = {f"e.{name}": text for name, text in found.items()}
    limit: float | Band | None = None
    try:
        limit = parse_quantity(most_ohm, "ohm", "ohm") if most_ohm else None
    except BadNumber as bad:
        faults["most_ohm"] = str(bad)
    if isinstance(limit, Band):
        faults["most_ohm"] = "Enter one resistance such as 10 Ω"
    if faults:
        return None, faults
    try:
        run = document.read_element({"key": "wanted", "kind": KIND, **data})
    except document.BadDocument as bad:
        return None, {f"e.{path}": text for path, text in bad.faults.items()}
    return _of(run, limit if isinstance(limit, float) else None)


def _of(run: thermal.Element, most_ohm: float | None) -> tuple[thermal.Wanted | None, dict[str, str]]:
    assert isinstance(run, thermal.Run)
    if not isinstance(run.current_A, float):
        return None, {"e.current_A": "Enter one current such as 1 mA"}
    lengths = {pair: length for pair, length in run.lengths_m.items() if isinstance(length, float)}
    if len(lengths) < len(run.lengths_m) or not lengths:
        return None, {"e.lengths_m.vessel-shield": "Enter a length for each stretch such as 300 mm"}
    return thermal.Wanted(run.count, run.current_A, most_ohm, lengths, run.lags, run.ends_on), {}


def _ranked(
    session: Session,
    cryostat: Cryostat,
    wanted: thermal.Wanted,
    stages: tuple[str, ...],
    texts: Mapping[str, str],
) -> tuple[tuple[ChoiceRow, ...], str]:
    known = budget.physical(session, cryostat)
    if known is None:
        return (), budget.NO_COOLER
    inside = contents.elements(session, cryostat, cryostat.revision)
    own = materials.in_force(session)
    present = budget.read_each(inside.values(), own)
    metals: list[str | thermal.Material] = [*thermal.WIRE_METALS, *filter(_is_metal, own.values())]
    try:
        found = thermal.choose_wire(known, tuple(present.values()), wanted, metals)
    except PhysicsError as problem:
        return (), str(problem)
    return tuple(_row(candidate, stages, texts) for candidate in found), ""


def _is_metal(solid: thermal.Material) -> bool:
    """Whether a laboratory entered how it conducts a current: only then can lines be made of it."""
    try:
        solid.about("resistivity")
    except NoData:
        return False
    return True


def _row(candidate: thermal.Candidate, stages: tuple[str, ...], texts: Mapping[str, str]) -> ChoiceRow:
    rises = [candidate.rise_K.get(stage) for stage in stages]
    chosen = {**texts, "material": candidate.material, "diameter_m": f"AWG {candidate.gauge}"}
    return ChoiceRow(
        candidate=candidate,
        rises=tuple("–" if rise is None else in_unit(rise, unit_for([rise], "K")) for rise in rises),
        resistance=_shown(candidate.resistance_ohm, "ohm"),
        heating=_shown(candidate.self_heating_W, "W"),
        texts={f"e.{name}": text for name, text in chosen.items()},
    )


def _shown(value: float | None, suffix: str) -> str:
    return "not known" if value is None else in_unit(value, unit_for([value], suffix))
