"""How long a cooldown takes by what is known of one: points of net power, a reference cooldown, or neither.

A basis belongs to the stage the extra masses sit on: the platform, or the coldest stage there is.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.errors import Refused
from server.physics import thermal
from server.physics.errors import PhysicsError
from server.physics.statistics import Band, together

LEARNT, POINTS, DEFAULT = "learnt", "points", "default"
MOST_LINES = 2000
ABOVE_COLDEST = 1.05
"""Where points end, the base is called reached this far above their coldest (common practice, no source)."""

REPEATS = 0.1
"""Part by which two cooldowns of the same build differ (common practice, no source)."""

ORDINARY_MASSES = (thermal.ColdMass("copper-rrr-100", Band.within_factor(3.0, 2.0)),)
ORDINARY_POWER = thermal.power_from_points([3.2, 10.0, 40.0, 300.0], [0.05, 3.0, 20.0, 30.0], 1.0)
"""An ordinary small two-stage cryostat: 3 kg of copper on the platform side, each good to a factor two (from
memory). It is told as such, never as this cryostat."""


@dataclass(frozen=True)
class Basis:
    """What is known of one cooldown.

    `kind` is `learnt` or `points`. `table` holds (time [s], temperature [K]) of a reference cooldown, or
    (temperature [K], net power [W]) of points. `masses` is what was cooled then: material → kg.
    """

    kind: str
    table: tuple[tuple[float, float], ...]
    masses: Mapping[str, float]

    def written(self) -> dict[str, Any]:
        """As a row keeps it."""
        table = [list(line) for line in self.table]
        return {"kind": self.kind, "table": table, "masses": dict(self.masses)}

    @property
    def cold_masses(self) -> tuple[thermal.ColdMass, ...]:
        """The masses as the physics wants them."""
        return tuple(thermal.ColdMass(name, mass_kg) for name, mass_kg in self.masses.items())


@dataclass(frozen=True)
class Known:
    """A basis ready to be used: what cools, what is cooled, from where to where.

    `repeats` is the part by which a cooldown of the same build differs from the one learnt from; None of
    points, where the uncertainty is that of power and masses.
    """

    power: thermal.NetPower
    masses: tuple[thermal.ColdMass, ...]
    hot_K: float
    base_K: float
    repeats: float | None = None


@dataclass(frozen=True)
class Extra:
    """A mass that is there now and was not then; with `taken_out`, one that was there and is not now."""

    key: str
    title: str
    mass: thermal.ColdMass
    taken_out: bool = False


@dataclass(frozen=True)
class Delay:
    """What one extra mass changes from start to base; negative for one that was taken out."""

    key: str
    title: str
    time_s: Band


def basis_of(data: Mapping[str, Any]) -> Basis:
    """A basis from its row."""
    return Basis(data["kind"], tuple((a, b) for a, b in data["table"]), data["masses"])


def known(basis: Basis | None, vessel_K: float) -> Known:
    """A basis ready to be used; of None an ordinary cryostat. Raises PhysicsError where it makes no sense."""
    if basis is None:
        return Known(ORDINARY_POWER, ORDINARY_MASSES, min(vessel_K, 300.0), 3.2 * ABOVE_COLDEST)
    first, second = ([line[column] for line in basis.table] for column in (0, 1))
    if basis.kind == LEARNT:
        power = thermal.learnt_power(first, second, basis.cold_masses)
        return Known(power, basis.cold_masses, power.edges_K[-1], power.edges_K[0], REPEATS)
    power = thermal.power_from_points(first, second)
    hot_K = min(vessel_K, power.edges_K[-1])
    return Known(power, basis.cold_masses, hot_K, power.edges_K[0] * ABOVE_COLDEST)


def times(found: Known, extra: Sequence[Extra]) -> tuple[thermal.CooldownTime, ...]:
    """When the stage reaches 100, 50, 10 K and its base: that of the basis, and what was added since.

    Raises PhysicsError where an extra mass cannot be counted: see `delay_s`.
    """
    plain = thermal.cooldown_times(found.masses, found.power, found.hot_K, found.base_K)
    return tuple(_with(found, row, extra) for row in plain)


def _with(found: Known, row: thermal.CooldownTime, extra: Sequence[Extra]) -> thermal.CooldownTime:
    if row.time_s is None:
        return row
    own_s, best_s = row.time_s, row.time_s.middle
    if found.repeats is not None:
        own_s = Band(best_s * (1.0 - found.repeats), best_s, best_s * (1.0 + found.repeats))
    whole = together([own_s, *(delay_s(found, one, row.target_K) for one in extra)])
    least = None if whole.low is None else max(whole.low, 0.0)
    return thermal.CooldownTime(row.target_K, Band(least, whole.best, whole.high))


def delay_s(found: Known, extra: Extra, target_K: float | None = None) -> Band:
    """What one extra mass changes down to a temperature, or to the base.

    Raises PhysicsError where nobody can tell: a specific heat that is not known, a power that is used up.
    """
    cold_K = found.base_K if target_K is None else target_K
    added_s = thermal.added_mass_delay_s(extra.mass, found.power, found.hot_K, cold_K)
    return added_s.scaled(-1.0) if extra.taken_out else added_s


def sorted_out(found: Known, extra: Iterable[Extra]) -> tuple[tuple[Extra, ...], tuple[str, ...]]:
    """Those extra masses that can be counted, and of the others why not."""
    counted, gaps = [], []
    for one in extra:
        try:
            delay_s(found, one)
        except PhysicsError as problem:
            gaps.append(f"{one.title}: {problem}")
        else:
            counted.append(one)
    return tuple(counted), tuple(gaps)


def read(kind: str, table: str, masses: str) -> Basis:
    """A basis from what a steward typed: two numbers a line, and a material with its kilograms a line.

    A reference cooldown is typed in hours and kelvin, points in kelvin and watts. Refused, by field.
    """
    found: dict[str, str] = {}
    if kind not in (LEARNT, POINTS):
        found["kind"] = "Choose a reference cooldown or points"
    lines = _lines(table, "table", found)
    scale = 3600.0 if kind == LEARNT else 1.0
    basis = Basis(kind, tuple((first * scale, second) for first, second in lines), _masses(masses, found))
    if not found:
        _try(basis, found)
    if found:
        raise Refused("What is known of a cooldown was not stored.", found)
    return basis


def _lines(text: str, name: str, found: dict[str, str]) -> list[tuple[float, float]]:
    rows = [line.replace(";", " ").split() for line in text.splitlines() if line.strip()]
    if not 2 <= len(rows) <= MOST_LINES:
        found[name] = f"Enter from 2 to {MOST_LINES} lines"
        return []
    try:
        return [_pair(cells) for cells in rows]
    except ValueError as bad:
        found[name] = str(bad)
        return []


def _pair(cells: Sequence[str]) -> tuple[float, float]:
    sentence = f"“{' '.join(cells)[:60]}” is not two numbers such as 1.5 210"
    if len(cells) != 2:
        raise ValueError(sentence)
    try:
        first, second = float(cells[0]), float(cells[1])
    except ValueError:
        raise ValueError(sentence) from None
    if not (abs(first) < 1e9 and abs(second) < 1e9):
        raise ValueError(sentence)
    return first, second


def _masses(text: str, found: dict[str, str]) -> dict[str, float]:
    masses: dict[str, float] = {}
    for line in filter(None, (line.strip() for line in text.splitlines())):
        name, _, amount = line.removesuffix("kg").strip().rpartition(" ")
        try:
            mass_kg = float(amount)
            thermal.enthalpy_J([thermal.ColdMass(name.strip(), mass_kg)], 77.0, 290.0)
        except (ValueError, PhysicsError) as bad:
            plain = "Write a material and its kilograms, such as copper-rrr-100 3"
            found["masses"] = str(bad) if isinstance(bad, PhysicsError) else plain
            return {}
        if not 0.0 < mass_kg < 1e5:
            found["masses"] = "Enter a mass above zero"
        masses[name.strip()] = masses.get(name.strip(), 0.0) + mass_kg
    if not masses and "masses" not in found:
        found["masses"] = "Enter at least one mass: of what, how many kilograms"
    return masses


def _try(basis: Basis, found: dict[str, str]) -> None:
    try:
        told = times(known(basis, 300.0), ())
    except PhysicsError as problem:
        found["table"] = str(problem)
        return
    if told[-1].time_s is None:
        found["table"] = told[-1].reason
