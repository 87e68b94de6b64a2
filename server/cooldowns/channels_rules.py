"""What a channel may be, and how its readings go from one unit into another. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from server.cooldowns.blocks import Values
from server.cryostats.rules import text_faults
from server.units import KINDS, UNITS, BadNumber, Unit, unit_named


@dataclass(frozen=True)
class Quantity:
    """What a channel measures: what it is called, the suffix of its SI unit, and whether it spans decades."""

    label: str
    suffix: str
    decades: bool = False

    @property
    def units(self) -> tuple[str, ...]:
        """The units it may be kept in, the SI one first."""
        bent = ("°C",) if self.suffix == "K" else ()
        return tuple(KINDS[self.suffix].units) + bent if self.suffix else ("", "%")

    @property
    def si(self) -> str:
        """Symbol of its SI unit."""
        return self.units[0]


QUANTITIES = {
    "temperature": Quantity("Temperature", "K", decades=True),
    "pressure": Quantity("Pressure", "Pa", decades=True),
    "power": Quantity("Power", "W"),
    "hours": Quantity("Hours run", "s"),
    "flow": Quantity("Flow", "m3_s"),
    "leak": Quantity("Leak rate", "Pa_m3_s", decades=True),
    "voltage": Quantity("Voltage", "V"),
    "current": Quantity("Current", "A"),
    "resistance": Quantity("Resistance", "ohm", decades=True),
    "frequency": Quantity("Frequency", "Hz"),
    "number": Quantity("Number or share", ""),
}
LONGEST_NAME = 60
SHORTEST_SILENCE_S, LONGEST_SILENCE_S = 5.0, 400 * 86400.0
MOST_CHANNELS = 400


@dataclass(frozen=True)
class Wanted:
    """A channel as somebody wants it; `silent_after_s` None: it may be silent."""

    name: str
    quantity: str
    unit: str
    stage: str = ""
    part: str = ""
    silent_after_s: float | None = None


def unit_of(symbol: str) -> Unit | None:
    """The unit somebody means by `symbol`, however it is spelt; None for what is none."""
    try:
        return unit_named(symbol) if symbol else None
    except BadNumber:
        return None


def faults(wanted: Wanted, stages: Sequence[str]) -> dict[str, str]:
    """What cannot be, field → what to do about it."""
    found = text_faults("name", "the name", wanted.name, LONGEST_NAME)
    found |= text_faults("part", "the tag", wanted.part, LONGEST_NAME)
    if not wanted.name.strip():
        found["name"] = "Enter the name of the channel, such as Platform"
    if wanted.stage and wanted.stage not in stages:
        found["stage"] = f"Choose one of {', '.join(stages)}, or none"
    quantity = QUANTITIES.get(wanted.quantity)
    if quantity is None:
        found["quantity"] = "Choose what it measures"
    elif wanted.unit not in quantity.units:
        found["unit"] = f"Choose a unit of it: {', '.join(unit or 'none' for unit in quantity.units)}"
    silent_s = wanted.silent_after_s
    if silent_s is not None and not SHORTEST_SILENCE_S <= silent_s <= LONGEST_SILENCE_S:
        found["silent_after"] = "Enter a time between 5 s and 400 d, or leave it empty"
    return found


def converted(values: Values, of: str, into: str) -> Values:
    """Values in the unit `of`, in the unit `into` of the same quantity."""
    if of == into:
        return values
    here, there = UNITS[of], UNITS[into]
    if here.factor is None or there.factor is None or here.suffix != there.suffix:
        raise ValueError(f"{of} does not go into {into}")
    # Whichever way round the factor is a whole number keeps a decimal a decimal.
    up, down = here.factor / there.factor, there.factor / here.factor
    scaled = values * float(up) if up >= 1 else values / float(down)
    shift = float((here.offset - there.offset) / there.factor)
    return scaled + shift if shift else scaled


def one_converted(value: float, of: str, into: str) -> float:
    """The same for one value."""
    return float(converted(np.array([value]), of, into)[0])


def silent(last: datetime | None, silent_after_s: float | None, ended: bool, now: datetime) -> bool:
    """True when the last reading is older than it may be, or when there has never been one."""
    if silent_after_s is None or ended:
        return False
    return last is None or (now - last).total_seconds() > silent_after_s
