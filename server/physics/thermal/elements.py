"""Everything a configuration is made of: one frozen dataclass a kind of thing, nothing computed here.

A field asks only what a person can see, measure with ruler, calliper, multimeter or torque driver, or read
off a reel. A quantity is a number, a `Band`, or None for unknown; what unknown means stands beside the field.
Defaults and unknown ranges are common practice without a source, or from memory, unless said otherwise: a
laboratory replaces them with its own.
"""

# ruff: noqa: RUF009 - these calls make the fields, as dataclasses.field does.

from dataclasses import dataclass
from typing import ClassVar

from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields
from server.physics.thermal.blankets import SEAMS
from server.physics.thermal.runs import MaterialName, Run
from server.physics.thermal.surfaces import finishes


@dataclass(frozen=True)
class Support:
    """A post, tube or strut that holds one stage from another."""

    kind: ClassVar[str] = "support"
    key: str
    material: MaterialName = fields.material_name("Material", None)
    count: int = fields.count("How many", (1, 1000), 1)
    area_m2: Quantity = fields.quantity(
        "Cross-section of each", "mm2", (1e-9, 0.1), default=10e-6, unknown=Band(2e-6, None, 100e-6)
    )
    length_m: Quantity = fields.quantity(
        "Length", "mm", (0.001, 3.0), default=0.05, unknown=Band(0.02, None, 0.15)
    )
    hot_stage: str = fields.stage("From", "shield")
    cold_stage: str = fields.stage("To", "platform", choices=fields.INNER)


ABSORBED_HINT = "Share of what comes in that stays in: bright metal reflects much of it out again."
SAMPLE_HINT = "Share of that which lands on the sample itself."


def _sample_share(low: float, best: float, high: float) -> Quantity:
    band = Band(low, best, high)
    share: Quantity = fields.quantity(
        "Share on the sample",
        None,
        (0.0, 1.0),
        default=band,
        unknown=Band(0.0, None, high),
        hint=SAMPLE_HINT,
        advanced=True,
    )
    return share


GLASSES = (
    "fused-silica",
    "sapphire",
    "borosilicate-crown",
    "calcium-fluoride",
    "magnesium-fluoride",
    "barium-fluoride",
    "zinc-selenide",
    "unknown",
)


@dataclass(frozen=True)
class Lid:
    """The lid of the shield. Off, it is the largest item of all, and nobody can say how large."""

    kind: ClassVar[str] = "lid"
    key: str
    state: str = fields.choice("State", ("on", "off", "bored", "not-recorded"), "not-recorded")
    opening_diameter_m: Quantity = fields.quantity(
        "Diameter of the opening it closes", "mm", (0.001, 2.0), default=0.09, unknown=Band(0.05, None, 0.20)
    )
    bore_diameter_m: Quantity = fields.quantity(
        "Diameter of the bore", "mm", (0.0005, 1.0), default=0.025, unknown=Band(0.005, None, 0.05)
    )
    bore_glass: str = fields.choice("Glass in the bore", ("none", *GLASSES), "none")
    absorbed: Quantity = fields.quantity(
        "Share absorbed inside",
        None,
        (0.001, 1.0),
        default=None,
        unknown=None,
        hint=ABSORBED_HINT,
        advanced=True,
    )
    sample_share: Quantity = _sample_share(0.01, 0.03, 0.10)


@dataclass(frozen=True)
class Window:
    """One port of the shield: a glass, a blank, a bored blank, or nothing."""

    kind: ClassVar[str] = "window"
    key: str
    state: str = fields.choice("State", ("in", "out", "bored", "blank", "not-recorded"), "not-recorded")
    material: str = fields.choice("Glass", GLASSES, "unknown")
    diameter_m: Quantity = fields.quantity(
        "Clear diameter", "mm", (0.0005, 1.0), default=0.025, unknown=Band(0.010, None, 0.060)
    )
    bore_diameter_m: Quantity = fields.quantity(
        "Diameter of the bore", "mm", (0.0005, 1.0), default=0.005, unknown=Band(0.001, None, 0.025)
    )
    absorbed: Quantity = fields.quantity(
        "Share absorbed inside",
        None,
        (0.001, 1.0),
        default=None,
        unknown=None,
        hint=ABSORBED_HINT,
        advanced=True,
    )
    sample_share: Quantity = _sample_share(0.01, 0.05, 0.50)


@dataclass(frozen=True)
class Hole:
    """A clear hole, slot or wire port through which a colder stage sees a hotter one."""

    kind: ClassVar[str] = "hole"
    key: str
    covered: str = fields.choice("Covered", ("open", "taped", "not-recorded"), "open", "With foil tape.")
    diameter_m: Quantity = fields.quantity(
        "Diameter", "mm", (0.0, 1.0), default=0.005, unknown=Band(0.001, None, 0.015)
    )
    slot_width_m: Quantity = fields.quantity(
        "Width of a slot", "mm", (0.0, 1.0), default=0.0, unknown=Band(0.0, None, 0.005), advanced=True
    )
    slot_length_m: Quantity = fields.quantity(
        "Length of a slot", "mm", (0.0, 1.0), default=0.0, unknown=Band(0.0, None, 0.05), advanced=True
    )
    hot_stage: str = fields.stage("It sees", "vessel", choices=("vessel", "shield"))
    cold_stage: str = fields.stage("From", "platform", choices=fields.INNER)
    view: Quantity = fields.quantity(
        "Share of its view that is warm",
        None,
        (0.0, 1.0),
        default=1.0,
        unknown=Band(0.1, None, 1.0),
        advanced=True,
    )
    absorbed: Quantity = fields.quantity(
        "Share absorbed inside",
        None,
        (0.001, 1.0),
        default=Band(0.2, 0.5, 1.0),
        unknown=Band(0.2, None, 1.0),
        hint=ABSORBED_HINT,
        advanced=True,
    )


@dataclass(frozen=True)
class Surface:
    """Two surfaces at different temperatures that face each other all over."""

    kind: ClassVar[str] = "surface"
    key: str
    hot_stage: str = fields.stage("Warm side", "vessel")
    cold_stage: str = fields.stage("Cold side", "shield", choices=fields.INNER)
    area_m2: Quantity = fields.quantity(
        "Area of the cold side", "cm2", (1e-6, 20.0), default=0.15, unknown=Band(0.05, None, 0.4)
    )
    hot_area_m2: Quantity = fields.quantity(
        "Area of the warm side",
        "cm2",
        (0.0, 40.0),
        default=0.0,
        unknown=None,
        hint="Leave 0 if it is as large as the cold side.",
        advanced=True,
    )
    cold_finish: str = fields.choice("Finish of the cold side", finishes(), "unknown")
    hot_finish: str = fields.choice("Finish of the warm side", finishes(), "unknown")
    floating_shields: int = fields.count("Floating shields between them", (0, 100), 0, advanced=True)
    blanket_layers: int = fields.count("Layers of blanket between them", (0, 100), 0)
    layers_per_m: Quantity = fields.quantity(
        "Density of its layers",
        "1/cm",
        (100.0, 10_000.0),
        default=Band(1500.0, 2000.0, 3000.0),
        unknown=Band(1000.0, None, 4000.0),
        hint="Pressed together it insulates worse.",
        advanced=True,
    )
    seams: Quantity = fields.quantity(
        "How many times worse than an ideal blanket",
        None,
        (1.0, 100.0),
        default=SEAMS,
        unknown=Band(1.0, None, 10.0),
        hint="Seams, holes, burns and patches.",
        advanced=True,
    )


@dataclass(frozen=True)
class Source:
    """Something that makes heat at a stage."""

    kind: ClassVar[str] = "source"
    key: str
    what: str = fields.choice(
        "What it is",
        ("heater", "amplifier", "sensor", "laser", "lamp", "positioner", "coil", "other"),
        "heater",
    )
    stage: str = fields.stage("Where", "platform", choices=fields.INNER)
    power_W: Quantity = fields.quantity(
        "Power while it is on", "mW", (0.0, 1000.0), default=0.0, unknown=Band(0.0, None, 0.05)
    )
    duty: Quantity = fields.quantity(
        "Share of the time it is on", None, (0.0, 1.0), default=1.0, unknown=Band(0.0, None, 1.0)
    )
    absorbed: Quantity = fields.quantity(
        "Share that stays as heat",
        None,
        (0.0, 1.0),
        default=1.0,
        unknown=Band(0.3, None, 1.0),
        hint="Of light, what is not reflected.",
        advanced=True,
    )


@dataclass(frozen=True)
class Joint:
    """What the mount or the sample hangs on: everything between it and the stage below, in kelvin per watt.

    A measured resistance is used as it is. Without one it follows from the filler, and from the force of
    the screws where their torque is known. Best measured: base temperature against known heater power.
    """

    kind: ClassVar[str] = "joint"
    key: str
    hot_stage: str = fields.stage("It carries", "sample", choices=("mount", "sample"))
    cold_stage: str = fields.stage("It sits on", "platform", choices=("shield", "platform", "mount"))
    filler: str = fields.choice("Filler", ("greased", "dry", "indium", "unknown"), "unknown")
    resistance_K_W: Quantity = fields.quantity(
        "Measured resistance of the whole path",
        "K/W",
        (0.001, 1e5),
        default=None,
        unknown=None,
        hint="Leave unknown unless somebody measured it.",
    )
    screws: int = fields.count("Screws tightened", (0, 100), 0)
    screws_of: int = fields.count("Screws there should be", (0, 100), 0)
    screw_diameter_m: Quantity = fields.quantity(
        "Screw diameter", "mm", (0.001, 0.02), default=0.003, unknown=Band(0.002, None, 0.004)
    )
    torque_N_m: Quantity = fields.quantity(
        "Driver setting",
        "in·lbf",
        (0.01, 50.0),
        default=None,
        unknown=None,
        hint="The maker's value and the standing order come first.",
    )
    springs: int = fields.count("Disc springs fitted the right way up", (0, 200), 0)
    springs_of: int = fields.count("Disc springs there should be", (0, 200), 0)
    metal: str = fields.choice("Faces", ("copper", "gold", "aluminium", "stainless"), "copper", advanced=True)


@dataclass(frozen=True)
class Mass:
    """Extra mass on a stage: no heat, only a longer cooldown."""

    kind: ClassVar[str] = "mass"
    key: str
    stage: str = fields.stage("Where", "platform", choices=fields.INNER)
    mass_kg: Quantity = fields.quantity(
        "Mass", "g", (1e-6, 1000.0), default=0.1, unknown=Band(0.02, None, 0.5)
    )
    material: MaterialName = fields.material_name("Material", None)


@dataclass(frozen=True)
class Touch:
    """A suspected contact between two stages. Its conductance is an order of magnitude and no more."""

    kind: ClassVar[str] = "touch"
    key: str
    state: str = fields.choice("State", ("present", "checked-absent", "not-checked"), "not-checked")
    hot_stage: str = fields.stage("Warm side", "shield")
    cold_stage: str = fields.stage("Cold side", "platform", choices=fields.INNER)
    conductance_W_K: Quantity = fields.quantity(
        "Conductance",
        "mW/K",
        (0.0, 10.0),
        default=Band(1e-3, 5e-3, 20e-3),
        unknown=Band(1e-3, None, 20e-3),
        advanced=True,
    )


@dataclass(frozen=True)
class Gas:
    """What gas is left, between the vessel and the shield and between the shield and what is colder."""

    kind: ClassVar[str] = "gas"
    key: str
    gas: str = fields.choice(
        "Gas", ("helium", "hydrogen", "neon", "nitrogen", "air", "argon", "water", "unknown"), "unknown"
    )
    pressure_Pa: Quantity = fields.quantity(
        "Pressure at the gauge", "mbar", (0.0, 100.0), default=1e-5, unknown=Band(0.0, None, 1e-3)
    )
    gauge_K: Quantity = fields.quantity(
        "Temperature of the gauge",
        "K",
        (1.0, 400.0),
        default=295.0,
        unknown=Band(280.0, None, 310.0),
        advanced=True,
    )
    shield_area_m2: Quantity = fields.quantity(
        "Area of the shield", "cm2", (1e-4, 20.0), default=0.15, unknown=Band(0.1, None, 0.3), advanced=True
    )
    cold_area_m2: Quantity = fields.quantity(
        "Area of what is colder",
        "cm2",
        (1e-4, 20.0),
        default=0.05,
        unknown=Band(0.02, None, 0.1),
        advanced=True,
    )
    accommodation: Quantity = fields.quantity(
        "Accommodation",
        None,
        (0.01, 1.0),
        default=Band(0.3, 0.5, 1.0),
        unknown=Band(0.1, None, 1.0),
        hint="How well a molecule takes the temperature of the wall.",
        advanced=True,
    )


Element = Run | Support | Lid | Window | Hole | Surface | Source | Joint | Mass | Touch | Gas
