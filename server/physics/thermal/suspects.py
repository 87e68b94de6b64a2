"""What may have gone wrong inside one cryostat: each cause, with the sizes it may have, as a configuration.

A suspect is one cause at one place. Its size is one number, in the unit its name says; a cause that is there
or not has one size. What it does to the temperatures follows from the balance of the configuration it makes;
what it does to a thermometer's reading, the pressure, the cooldown time or the static helium is said here.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from server.physics.thermal import fields
from server.physics.thermal.compile_parts import joint_resistance_K_W
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.elements import Element, Gas, Joint, Lid, Source, Touch, Window
from server.physics.thermal.recipe import Reader
from server.physics.thermal.runs import Run

USUAL_LIFT_W = {"shield": 30.0, "platform": 1.0}
"""What the two stages of a cooler lift where they work (common practice, no source)."""
DIRECT = ("pressure", "cooldown", "helium")
"""Witnesses that are no temperature: cold pressure, time to cool, static helium; as logarithms of a ratio."""
WITNESSES = (*fields.STAGES[1:], *DIRECT)

TOUCH_W_K = (1e-4, 1.0)
LEFT_ON_W = (1e-3, 1.0)
LOST_SHARE = (0.01, 0.5)
WORSE_TIMES = (1.5, 300.0)
PRESSURE_Pa = (1e-4, 0.3)
ABSORBED = (0.01, 1.0)
OFFSET_K = {"shield": (0.2, 5.0)}
OTHER_OFFSET_K = (0.02, 1.0)
"""Between these a size may lie (common practice, no source)."""


@dataclass(frozen=True)
class Suspect:
    """One cause at one place.

    Attributes
    ----------
    cause : str
        One of `CAUSES`.
    where : str
        The place: two stages, a stage, or the key of an element, with the stage of its lag.
    unit : str
        Of the size: a suffix such as ``W_K``; empty for a ratio, and where there is no size.
    sizes : (float, float) or None
        The least and the largest it may be, compared on a logarithmic scale; None when it is there or not.
    sign : float
        -1.0 for a thermometer that reads too low, else 1.0.
    element : Element or None
        What is changed; None when something is added.
    """

    cause: str
    where: str
    unit: str = ""
    sizes: tuple[float, float] | None = None
    sign: float = 1.0
    element: Element | None = field(default=None, compare=False)

    @property
    def key(self) -> str:
        """Cause, place and sign as one word."""
        return f"{self.cause}:{self.where}" + ("-" if self.sign < 0.0 else "")


CAUSES = {
    "touch": "Something touches between two stages",
    "lag-lost": "A lag no longer holds its run",
    "lid-missing": "The lid is off",
    "window-missing": "A shield window is missing",
    "joint-worse": "A joint is dry or loose",
    "gas": "Gas in the vacuum",
    "helium-low": "The cooler is short of helium",
    "cooler-weaker": "A stage of the cooler is weaker",
    "heat-left-on": "Heat or light was left on",
    "thermometer-wrong": "A thermometer reads wrong",
}


def suspects(cryostat: Cryostat, elements: Sequence[Element]) -> tuple[Suspect, ...]:
    """Everything that may be wrong with one configuration.

    Parameters
    ----------
    cryostat : Cryostat
        The instrument.
    elements : sequence of elements
        Its configuration.

    Returns
    -------
    tuple of Suspect
        In the order of `CAUSES`, each once.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest
    >>> test = HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.1, 32.0, 3.9)))
    >>> [one.key for one in suspects(Cryostat(("vessel", "shield", "platform"), test), [])][:3]
    ['touch:vessel-shield', 'touch:vessel-platform', 'touch:shield-platform']
    """
    inside = [stage for stage in cryostat.stages if stage != "vessel"]
    found = [*_touches(cryostat.stages), *_of_elements(elements), Suspect("gas", "", "Pa", PRESSURE_Pa)]
    found.append(Suspect("helium-low", "", "", LOST_SHARE))
    found += [Suspect("cooler-weaker", stage, "", LOST_SHARE) for stage in USUAL_LIFT_W if stage in inside]
    found += [Suspect("heat-left-on", stage, "W", LEFT_ON_W) for stage in inside if stage != "shield"]
    found += [
        Suspect("thermometer-wrong", stage, "K", OFFSET_K.get(stage, OTHER_OFFSET_K), sign)
        for stage in inside
        for sign in (1.0, -1.0)
    ]
    return tuple(found)


def varied(elements: Sequence[Element], suspect: Suspect, size: float) -> tuple[Element, ...]:
    """The configuration when `suspect` has this size; as it was for a thermometer that reads wrong."""
    changed = _changed(suspect, size)
    if suspect.element is None:
        return (*elements, *changed)
    return (*(one for one in elements if one is not suspect.element), *changed)


def direct(suspect: Suspect, size: float, witness: str, pressure_Pa: float) -> float:
    """What a cause of this size adds to a reading by another way than the balance.

    Kelvin for a temperature, the logarithm of a ratio for a member of `DIRECT`; `pressure_Pa` is what the
    gauge reads when all is well.
    """
    if suspect.cause == "thermometer-wrong":
        return suspect.sign * size if witness == suspect.where else 0.0
    if suspect.cause == "gas" and witness == "pressure":
        return math.log1p(size / pressure_Pa)
    if suspect.cause in ("cooler-weaker", "helium-low") and witness == "cooldown":
        return -math.log1p(-size)
    if suspect.cause == "helium-low" and witness == "helium":
        return math.log1p(-size)
    return 0.0


def _touches(stages: Sequence[str]) -> Iterator[Suspect]:
    for hot, cold in combinations(stages, 2):
        yield Suspect("touch", f"{hot}-{cold}", "W_K", TOUCH_W_K)


def _of_elements(elements: Iterable[Element]) -> list[Suspect]:
    found: list[Suspect] = []
    for one in elements:
        if isinstance(one, Run):
            held = (lag.stage for lag in one.lags if lag.state != "none")
            found += [Suspect("lag-lost", f"{one.key}@{stage}", element=one) for stage in held]
        elif isinstance(one, Lid) and one.state != "off":
            found.append(Suspect("lid-missing", one.key, "", ABSORBED, 1.0, one))
        elif isinstance(one, Window) and one.state != "out":
            found.append(Suspect("window-missing", one.key, "", ABSORBED, 1.0, one))
        elif isinstance(one, Joint):
            found.append(Suspect("joint-worse", one.key, "", WORSE_TIMES, 1.0, one))
    return sorted(found, key=lambda one: list(CAUSES).index(one.cause))


def _changed(suspect: Suspect, size: float) -> tuple[Element, ...]:
    """What stands instead of the suspect's element, or beside all elements."""
    one, key = suspect.element, f"suspect {suspect.key}"
    if isinstance(one, Run):
        stage = suspect.where.rpartition("@")[2]
        lags = (replace(lag, state="none") if lag.stage == stage else lag for lag in one.lags)
        return (replace(one, lags=tuple(lags)),)
    if isinstance(one, Lid):
        return (replace(one, state="off", absorbed=size),)
    if isinstance(one, Window):
        return (replace(one, state="out", absorbed=size),)
    if isinstance(one, Joint):
        return (replace(one, resistance_K_W=size * joint_resistance_K_W(one, Reader())),)
    if suspect.cause == "touch":
        hot, _, cold = suspect.where.partition("-")
        return (Touch(key, "present", hot, cold, size),)
    return _added(suspect, size, key)


def _added(suspect: Suspect, size: float, key: str) -> tuple[Element, ...]:
    if suspect.cause == "gas":
        return (Gas(key, "helium", size),)
    if suspect.cause == "heat-left-on":
        return (Source(key, "heater", suspect.where, size),)
    if suspect.cause == "helium-low":
        return tuple(
            Source(f"{key} {stage}", "heater", stage, size * lift) for stage, lift in USUAL_LIFT_W.items()
        )
    if suspect.cause == "cooler-weaker":
        return (Source(key, "heater", suspect.where, size * USUAL_LIFT_W[suspect.where]),)
    return ()


def scale(suspect: Suspect, points: int) -> tuple[float, ...]:
    """Sizes of a suspect, evenly spaced on a logarithmic scale; one where there is no size."""
    if suspect.sizes is None:
        return (1.0,)
    low, high = (math.log(one) for one in suspect.sizes)
    return tuple(math.exp(low + (high - low) * part / (points - 1)) for part in range(points))
