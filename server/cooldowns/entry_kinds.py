"""What can be written down in a cooldown, as data: forms, readers and the API follow from it. Pure."""

from dataclasses import dataclass
from typing import Any

from server.units import suffix_of

STAGES = (("shield", "shield"), ("platform", "platform"), ("mount", "mount"), ("sample", "sample"))
TARGETS = (("200", "200 K"), ("100", "100 K"), ("50", "50 K"), ("10", "10 K"), ("base", "base"))
YES_NO = (("yes", "yes"), ("no", "no"), ("not-recorded", "not recorded"))
HEATER = (("off", "off"), ("on", "on"), ("not-recorded", "not recorded"))

LIMITS = {
    "K": (0.0, 400.0),
    "Pa": (0.0, 1e8),
    "W": (0.0, 1e4),
    "s": (0.0, 1e7),
    "m3_s": (0.0, 1.0),
    "": (0.0, 1.0),
}
"""What a number of a cooldown may be, by the suffix of its name, in SI."""


@dataclass(frozen=True)
class Asked:
    """One field: a number with its unit, or a choice."""

    name: str
    label: str
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    needed: bool = False
    hint: str = ""

    @property
    def suffix(self) -> str:
        """The unit its name says."""
        return suffix_of(self.name)


@dataclass(frozen=True)
class Kind:
    """One kind of entry. `worded` ones need their note; `span` ones lie within pumping and the end."""

    label: str
    asked: tuple[Asked, ...] = ()
    worded: bool = False
    span: bool = True
    phase: str = ""
    """Where its form stands: pumping, cooling, cold, warming, or nothing: at any time."""


def temperatures(*needed: str) -> tuple[Asked, ...]:
    """A field for each stage."""
    return tuple(Asked(f"{stage}_K", stage.capitalize(), "K", needed=stage in needed) for stage, _ in STAGES)


PRESSURE, RISE, HELIUM, WATER = "pressure", "rise", "helium", "water"
WARM, MARK, BASE, STEP = "warm-sensors", "mark", "base", "heater-step"
STOPPED, VENTED, WORD, REMARK = "stopped", "vented", "word", "remark"
COOLING, WARMING, ENDED, TAKEN_BACK = "cooling", "warming", "ended", "taken-back"
COOLER, CHECKLIST = "cooler", "checklist"

KINDS = {
    PRESSURE: Kind(
        "Pressure while pumping", (Asked("pressure_Pa", "Pressure", "mbar", needed=True),), phase="pumping"
    ),
    RISE: Kind(
        "Rate of rise, pump valve closed",
        (
            Asked("from_Pa", "Pressure at the beginning", "mbar", needed=True),
            Asked("to_Pa", "Pressure at the end", "mbar", needed=True),
            Asked("wait_s", "Waited", "min", needed=True, hint="Wait as long as every time before."),
            Asked(
                "shape",
                "How it rose",
                choices=(
                    ("straight", "in a straight line"),
                    ("bending", "bending over"),
                    ("not-recorded", "not looked"),
                ),
            ),
        ),
        phase="pumping",
    ),
    HELIUM: Kind(
        "Static helium pressure, compressor off and warm",
        (
            Asked("pressure_Pa", "Helium", "bar", needed=True),
            Asked("room_K", "Room", "°C", hint="The same gas reads higher in a warmer room."),
        ),
        phase="pumping",
    ),
    WATER: Kind(
        "Cooling water",
        (
            Asked("in_K", "Water in", "°C", needed=True),
            Asked("out_K", "Water out", "°C"),
            Asked("flow_m3_s", "Flow", "L/min"),
        ),
        phase="pumping",
    ),
    WARM: Kind("Thermometers at room temperature", temperatures(), phase="pumping"),
    MARK: Kind(
        "A mark on the way down",
        (
            Asked("stage", "Stage", choices=STAGES, needed=True),
            Asked("target", "Reached", choices=TARGETS, needed=True),
        ),
        phase="cooling",
    ),
    BASE: Kind(
        "Base reached",
        (
            *temperatures(),
            Asked("pressure_Pa", "Pressure, cold", "mbar"),
            Asked("heater", "Heater", choices=HEATER, needed=True),
            Asked("settled", "Nothing moves any more", choices=YES_NO, needed=True),
        ),
        phase="cooling",
    ),
    STEP: Kind(
        "A step of a heater test",
        (
            Asked("heated", "Heated stage", choices=STAGES[:2], needed=True),
            Asked("added_W", "Added heat", "mW", needed=True),
            Asked("shield_K", "Shield", "K", needed=True),
            Asked("platform_K", "Platform", "K", needed=True),
        ),
        phase="cold",
    ),
    WORD: Kind("The base, explained in one line", worded=True, span=False, phase="cold"),
    STOPPED: Kind("Cooling stopped by itself", (Asked("pressure_Pa", "Pressure then", "mbar"),)),
    VENTED: Kind(
        "Warm, and gas let in",
        (
            Asked("lowest_K", "Coldest thermometer", "K", needed=True),
            Asked("oxygen", "Oxygen in the room", "%", needed=True),
            Asked("relief_free", "Relief free", choices=YES_NO, needed=True),
            Asked("pressure_Pa", "Pressure before gas was let in", "mbar"),
            Asked(
                "purge",
                "Let in",
                choices=(("dry gas", "dry gas"), ("air", "air"), ("not-recorded", "not recorded")),
            ),
            Asked("frost", "Frost or drops seen", choices=YES_NO),
        ),
        phase="warming",
    ),
    REMARK: Kind("Remark", worded=True, span=False),
}
"""Kinds that people write by hand, in the order of a cooldown."""

WARMED = (
    Asked(
        "method",
        "How",
        choices=(("by itself", "by itself"), ("heater", "with the heater"), ("stopped", "cooling stopped")),
        needed=True,
    ),
    Asked("heater_W", "Heater, at most", "W"),
    Asked("set_K", "Set-point, at most", "K"),
)
"""What is asked when warming begins."""

STEPS = {
    COOLING: "Cooling began",
    WARMING: "Warming began",
    ENDED: "Over",
    TAKEN_BACK: "Taken back",
    COOLER: "Entered as the cooler",
    CHECKLIST: "Checklist",
}
"""Kinds that a step of the cooldown writes."""


def label(kind: str) -> str:
    """What a page calls it."""
    return KINDS[kind].label if kind in KINDS else STEPS.get(kind, kind)


def value_faults(asked: Asked, value: Any) -> str:
    """What is wrong with one value in SI; empty when nothing is."""
    if asked.choices:
        words = ", ".join(text for _, text in asked.choices)
        return "" if value in [key for key, _ in asked.choices] else f"Choose one of {words}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"Enter one number{f' in {asked.unit}' if asked.unit else ''}, or leave it empty"
    low, high = LIMITS[asked.suffix]
    zero_too = asked.suffix not in ("K", "Pa") and asked.name != "wait_s"
    if not (low <= value <= high) or (value == 0 and not zero_too):
        return f"{asked.label} cannot be that; look at the unit"
    return ""
