"""What is known of the cooler, and the cryostat it cools.

A *heater test* says how warm the stages get for watts added to them; zero watts is the reference cooldown.
A *map* says how warm the cooler gets for all the watts it lifts.
"""

# ruff: noqa: RUF009 - these calls make the fields, as dataclasses.field does.

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from server.physics.errors import Unphysical
from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields
from server.physics.thermal.elements import Element

COOLED = ("shield", "platform")
"""The two stages a cooler cools itself."""

SPREAD_K = {"shield": 0.3, "platform": 0.02}
"""How far two cooldowns of the same configuration differ, central 95 % (from memory)."""


@dataclass(frozen=True)
class HeaterPoint:
    """One line of a heater test: which stage was heated, with how much, and what both then read.

    The stage that was not heated may be left out: it then counts as unmoved.
    """

    heated: str = fields.stage("Heated stage", "platform", choices=COOLED)
    added_W: float = fields.number("Added heat", "mW", (0.0, 500.0), default=0.0)
    shield_K: float | None = fields.number("Shield", "K", (1.0, 310.0), default=None)
    platform_K: float | None = fields.number("Platform", "K", (1.0, 310.0), default=None)


@dataclass(frozen=True)
class HeaterTest:
    """Temperatures against added watts, each stage heated by itself.

    Two points of zero watts, one for each stage heated, are the same reference cooldown.
    """

    points: tuple[HeaterPoint, ...] = fields.rows("Points", HeaterPoint)
    slope_uncertainty: float = fields.number(
        "Relative uncertainty of the slope", None, (0.0, 1.0), default=0.05, advanced=True
    )
    spread_K: Mapping[str, float] = fields.by_stage(
        "Spread between cooldowns", "mK", (0.0, 10.0), default=SPREAD_K, advanced=True
    )
    ageing: Mapping[str, Quantity] = fields.by_stage(
        "Share of its lift the cooler still has", None, (0.05, 1.5), default={}, banded=True, advanced=True
    )

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", tuple(self.points))


@dataclass(frozen=True)
class MapPoint:
    """One point of a map: what the two stages of the cooler lift at two temperatures."""

    shield_W: float = fields.number("Lift of the first stage", "W", (0.0, 1000.0), default=0.0)
    platform_W: float = fields.number("Lift of the second stage", "W", (0.0, 100.0), default=0.0)
    shield_K: float = fields.number("First stage", "K", (1.0, 310.0), default=40.0)
    platform_K: float = fields.number("Second stage", "K", (1.0, 310.0), default=4.0)


@dataclass(frozen=True)
class CapacityMap:
    """A two-stage map: gross watts, on a complete grid of loads.

    Every load of the first stage is given with every load of the second. A flexible link between the second
    stage of the cooler and the platform has a conductance, or an unknown one.
    """

    points: tuple[MapPoint, ...] = fields.rows("Points", MapPoint)
    link: str = fields.choice("Between cooler and platform", ("direct", "flexible"), "direct")
    link_W_K: Quantity = fields.quantity(
        "Conductance of the link", "W/K", (0.001, 1000.0), default=None, unknown=Band(0.1, None, 1.0)
    )
    input_W: float | None = fields.number(
        "Electrical power of the compressor", "kW", (100.0, 100_000.0), default=None, advanced=True
    )
    capacity_uncertainty: float = fields.number(
        "Relative uncertainty of the lift", None, (0.0, 1.0), default=0.10, advanced=True
    )
    spread_K: Mapping[str, float] = fields.by_stage(
        "Spread between cooldowns", "mK", (0.0, 10.0), default=SPREAD_K, advanced=True
    )
    ageing: Mapping[str, Quantity] = fields.by_stage(
        "Share of its lift the cooler still has", None, (0.05, 1.5), default={}, banded=True, advanced=True
    )

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", tuple(self.points))


Cooler = HeaterTest | CapacityMap


@dataclass(frozen=True)
class Bare:
    """The bare reference: the configuration at which the cooler was measured, and what its stages read.

    With a heater test its point of zero watts says what shield and platform read.
    """

    elements: tuple[Element, ...] = ()
    temperatures_K: Mapping[str, float] = fields.by_stage("Bare temperatures", "K", (1.0, 310.0), default={})

    def __post_init__(self) -> None:
        object.__setattr__(self, "elements", tuple(self.elements))


@dataclass(frozen=True)
class Cryostat:
    """One instrument as the balance sees it.

    Attributes
    ----------
    stages : tuple of str
        Its stages, from the vessel down; any but the vessel may be absent.
    cooler : HeaterTest or CapacityMap
        What cools it.
    bare : Bare
        Its bare reference. A map without one takes every watt from the elements.
    limits_K : mapping
        Stage → temperature it should not exceed [K].
    vessel_K : float
        Temperature of the room [K].

    Raises
    ------
    Unphysical
        When a stage is unknown, out of order or twice there, or the vessel is missing.
    """

    stages: tuple[str, ...]
    cooler: Cooler
    bare: Bare = field(default_factory=Bare)
    limits_K: Mapping[str, float] = fields.by_stage("Limit", "K", (1.0, 400.0), default={})
    vessel_K: float = fields.number("Room temperature", "K", (200.0, 350.0), default=295.0)

    def __post_init__(self) -> None:
        object.__setattr__(self, "stages", tuple(self.stages))
        inside = [stage for stage in fields.STAGES if stage in self.stages]
        if list(self.stages) != inside or self.stages[:1] != ("vessel",):
            raise Unphysical(f"Stages are some of {', '.join(fields.STAGES)}, in this order, vessel first.")


def faults(machine: Cooler) -> dict[str, str]:
    """What makes a cooler unusable: field → sentence. Empty for a usable one."""
    if not machine.points:
        return {"points": "Give at least one point."}
    return _test_faults(machine) if isinstance(machine, HeaterTest) else _map_faults(machine)


def _test_faults(machine: HeaterTest) -> dict[str, str]:
    found = {}
    for heated in COOLED:
        line = sorted(
            (p.added_W, reading) for p in machine.points if p.heated == heated and (reading := own_K(p))
        )
        if line and not any(added_W == 0.0 for added_W, _ in line):
            found["points"] = f"The heater test of the {heated} needs its point of zero watts."
        if any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(line)):
            found["points"] = f"More heat must make the {heated} warmer, and no heat may be there twice."
    missing = [p for p in machine.points if own_K(p) is None]
    return {"points": "Give the temperature of the stage that was heated."} if missing else found


def own_K(point: HeaterPoint) -> float | None:
    """What the heated stage itself read [K]."""
    return point.shield_K if point.heated == "shield" else point.platform_K


def _map_faults(machine: CapacityMap) -> dict[str, str]:
    loads = [(point.shield_W, point.platform_W) for point in machine.points]
    first, second = ({load[axis] for load in loads} for axis in (0, 1))
    if len(loads) != len(set(loads)) or len(loads) != len(first) * len(second):
        return {"points": "Give every lift of the first stage once with every lift of the second."}
    by_load = {(p.shield_W, p.platform_W): p for p in machine.points}
    for one in first:
        along = [by_load[one, other].platform_K for other in sorted(second)]
        if any(b <= a for a, b in pairwise(along)):
            return {"points": "More heat must make the second stage warmer."}
    for other in second:
        along = [by_load[one, other].shield_K for one in sorted(first)]
        if any(b <= a for a, b in pairwise(along)):
            return {"points": "More heat must make the first stage warmer."}
    return {}
