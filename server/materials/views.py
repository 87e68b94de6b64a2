"""What the pages of materials show, as typed views."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from sqlmodel import Session

from server.errors import NotFound, Refused
from server.history import service as history
from server.history.models import Entry
from server.materials import columns, rules, service
from server.materials.forms import Typed
from server.materials.models import OwnVersion
from server.people.models import Person
from server.physics.materials import About, Material, material, materials, sources
from server.units import show

ROUND_K = (1, 2, 4, 6, 8, 10, 15, 20, 30, 40, 50, 60, 77, 100, 120, 150, 200, 250, 273, 293, 300)
COLD_K, HOT_K = 4.0, 300.0
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
LABELS = {
    "conductivity": "Conductivity",
    "resistivity": "Resistivity",
    "specific_heat": "Specific heat",
    "contraction": "Contraction from 293 K",
}
HEADS = {
    "conductivity": "k, W/(m·K)",
    "resistivity": "ρ, Ω·m",
    "specific_heat": "c, J/(kg·K)",
    "contraction": "(L₂₉₃ − L)/L₂₉₃",
}
CONFIDENCE = {
    "A": "A: the source's values seen alike in three or more places",
    "B": "B: seen in one or two places",
    "C": "C: from memory, checked against what was seen",
    "D": "D: from memory only",
    "own": "own: this laboratory's",
    "exact": "exact: by definition",
}


@dataclass(frozen=True)
class Property:
    """One property in words."""

    label: str
    source: str
    range: str
    covered: str
    uncertainty: str
    confidence: str
    confidence_words: str
    note: str


@dataclass(frozen=True)
class Row:
    """One material in the list: its first property, and the names of the others."""

    name: str
    describes: str
    own: bool
    first: Property
    others: str
    numbers: Sequence[int]
    """Under which numbers its sources stand below the list; none for an own one, which tells its own."""


@dataclass(frozen=True)
class IndexView:
    """All materials, the laboratory's own first."""

    own: Sequence[Row]
    known: Sequence[Row]
    sources: Sequence[str]
    may_add: bool


def index(session: Session, person: Person) -> IndexView:
    """The list."""
    own = [_row(one) for one in service.in_force(session).values()]
    references = list(sources().values())
    known = [_row(material(name), references) for name in materials()]
    return IndexView(own, known, references, person.steward)


def _row(one: Material, references: Sequence[str] = ()) -> Row:
    first, *others = one.curves
    words = ", ".join(LABELS[name].split(" from")[0].lower() for name in others)
    own = one.kind == "own"
    about = one.about(first)
    cited = [number for number, text in enumerate(references, 1) if text in about.source]
    return Row(one.name, "" if own else one.describes, own, _property(first, about), words, cited)


def _property(name: str, about: About) -> Property:
    return Property(
        label=LABELS[name],
        source=about.source,
        range=_span(about.range_K),
        covered=_span(about.covered_K),
        uncertainty=f"{show(float(f'{about.relative_uncertainty:.2g}'), '%')}",
        confidence=about.confidence,
        confidence_words=CONFIDENCE[about.confidence],
        note=about.note,
    )


def _span(ends_K: tuple[float, float]) -> str:
    return f"{ends_K[0]:g}–{ends_K[1]:g} K"


@dataclass(frozen=True)
class Integral:
    """∫ k dT up to and from one temperature, each with its range."""

    at: str
    from_cold: str
    from_cold_range: str
    to_hot: str
    to_hot_range: str


@dataclass(frozen=True)
class MaterialView:
    """One material: where it comes from, its values at round temperatures, its integrals, its versions."""

    name: str
    describes: str
    properties: Sequence[Property]
    heads: Sequence[str]
    values: Sequence[tuple[str, Sequence[str]]]
    cold: str
    hot: str
    integrals: Sequence[Integral]
    shown: OwnVersion | None
    versions: Sequence[OwnVersion]
    points: Sequence[Sequence[str]]
    may_correct: bool
    record: Sequence[Entry]


def show_material(session: Session, person: Person, name: str, number: int | None) -> MaterialView:
    """One material as it is, an own one in the version in force or in version `number`; NotFound."""
    versions = service.versions(session, name)
    shown = _version(versions, name, number)
    solid = service.made(shown) if shown else rules.built_in(name)
    if solid is None or (shown is None and number is not None):
        raise NotFound(f"There is no material “{name}” here.")
    cold_K, hot_K = _ends(solid)
    return MaterialView(
        name=name,
        describes="" if shown else solid.describes,
        properties=[_property(which, solid.about(which)) for which in solid.curves],
        heads=[HEADS[which] for which in solid.curves],
        values=_values(solid),
        cold=f"{cold_K:g} K",
        hot=f"{hot_K:g} K",
        integrals=_integrals(solid, cold_K, hot_K),
        shown=shown,
        versions=versions,
        points=_points(shown),
        may_correct=bool(shown) and person.steward,
        record=history.of(session, service.subject(name), limit=50) if shown else (),
    )


def _version(versions: Sequence[OwnVersion], name: str, number: int | None) -> OwnVersion | None:
    if not versions or number is None:
        return versions[0] if versions else None
    found = next((row for row in versions if row.number == number), None)
    if found is None:
        raise NotFound(f"There is no version {number} of {name}.")
    return found


def _values(solid: Material) -> list[tuple[str, list[str]]]:
    """Every property at each round temperature one of them covers, a dash where one does not."""
    properties: Mapping[str, Callable[[float], float]] = {
        "conductivity": solid.conductivity_W_m_K,
        "resistivity": solid.resistivity_ohm_m,
        "specific_heat": solid.specific_heat_J_kg_K,
        "contraction": solid.contraction,
    }
    covered = {name: curve.about.covered_K for name, curve in solid.curves.items()}
    lines = []
    for T_K in _temperatures(solid):
        here = {name: low <= T_K <= high for name, (low, high) in covered.items()}
        if any(here.values()):
            cells = [_digits(properties[name](T_K)) if inside else "–" for name, inside in here.items()]
            lines.append((f"{T_K:g}", cells))
    return lines


def _temperatures(solid: Material) -> list[float]:
    """The round temperatures, and of a measured table its ends as well."""
    ends = solid.about("conductivity").covered_K if solid.kind == "own" else ()
    return sorted({float(T_K) for T_K in (*ROUND_K, *ends)})


def _ends(solid: Material) -> tuple[float, float]:
    """From where and up to where the integrals are told: 4 and 300 K, or where the data end."""
    if "conductivity" not in solid.curves:
        return COLD_K, HOT_K
    low_K, high_K = solid.about("conductivity").covered_K
    # Data that lie wholly to one side of 4 or 300 K are told between their own ends.
    cold_K = COLD_K if low_K <= COLD_K < high_K else low_K
    return cold_K, (HOT_K if cold_K < HOT_K <= high_K else high_K)


def _integrals(solid: Material, cold_K: float, hot_K: float) -> list[Integral]:
    if "conductivity" not in solid.curves:
        return []
    told = [T_K for T_K in _temperatures(solid) if cold_K <= T_K <= hot_K]
    return [
        Integral(f"{T_K:g}", *_integral(solid, cold_K, T_K), *_integral(solid, T_K, hot_K)) for T_K in told
    ]


def _integral(solid: Material, cold_K: float, hot_K: float) -> tuple[str, str]:
    if cold_K == hot_K:
        return "–", ""
    value = solid.conductivity_integral_W_m(cold_K, hot_K)
    low, high = solid.uncertainty_of_integral(cold_K, hot_K)
    return _digits(value), f"{_digits(low * value)}–{_digits(high * value)}"


def _digits(value: float) -> str:
    """Four digits, in powers of ten only where a page could not show them otherwise."""
    if value == 0.0 or 1e-3 <= abs(value) < 1e6:
        decimals = 3 if value == 0.0 else max(0, 3 - int(np.floor(np.log10(abs(value)))))
        return f"{value:.{decimals}f}"
    digits, power = f"{value:.3e}".split("e")
    return f"{digits}×10{str(int(power)).translate(RAISED)}"


def _points(shown: OwnVersion | None) -> list[list[str]]:
    if shown is None:
        return []
    given = rules.points_of(shown.points).written()
    return [[f"{value:.6g}" for value in row] for row in zip(*given.values(), strict=True)]


@dataclass(frozen=True)
class FormView:
    """The form of a new material, or of a correction to the version it starts from."""

    typed: Typed
    faults: Mapping[str, str]
    base: OwnVersion | None
    names: str


def new(texts: Typed | None = None, refused: Refused | None = None) -> FormView:
    """The empty form, or what somebody typed and has to mend."""
    return FormView(texts or Typed(), refused.fields if refused else {}, None, _column_names())


def correction(
    session: Session, name: str, texts: Typed | None = None, refused: Refused | None = None
) -> FormView:
    """The form of a correction, filled from the version in force; NotFound."""
    last = service.own_versions(session, name)[0]
    own = service.own_of(last)
    kept = Typed(
        name=name,
        table=columns.written(own.points),
        source=own.source,
        relative_uncertainty=show(own.relative_uncertainty, "%"),
        note=own.note,
    )
    return FormView(texts or kept, refused.fields if refused else {}, last, _column_names())


def _column_names() -> str:
    return ", ".join(column.advice for column in columns.COLUMNS)
