"""Runs: wires, ribbons and coax from stage to stage, with their lags and what sits on them.

Fields are told as in `elements`.
"""

# ruff: noqa: RUF009 - these calls make the fields, as dataclasses.field does.

from collections.abc import Mapping
from dataclasses import dataclass

from server.physics.materials import Material
from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields

MaterialName = str | Material | None


@dataclass(frozen=True)
class Lag:
    """A place where a run is clamped to a stage.

    ``good`` holds the run at the stage's temperature as well as its length and filler allow; ``none`` says
    that there is no clamp; ``loose`` and ``not-recorded`` mean anything from held to not held.
    """

    stage: str = fields.stage("Stage", "shield", choices=fields.INNER)
    length_m: Quantity = fields.quantity(
        "Length under the clamp",
        "mm",
        (0.0005, 1.0),
        default=Band(0.005, 0.010, 0.020),
        unknown=Band(0.002, None, 0.030),
        hint="How much of it lies under the bar or on the post.",
    )
    filler: str = fields.choice(
        "Filler", ("varnish", "grease", "thin-tape", "none", "unknown"), "unknown", "None is common and bad."
    )
    state: str = fields.choice(
        "State",
        ("good", "loose", "none", "not-recorded"),
        "not-recorded",
        "Look whether the wire is really under the bar.",
    )
    held: str = fields.choice(
        "Held from",
        ("one-side", "both-sides"),
        "one-side",
        "Glued on or wound on a post: one side. Between two cold plates: both.",
    )


@dataclass(frozen=True)
class Attenuator:
    """What turns part of a signal into heat at a stage: an attenuator, a termination, a lossy part."""

    stage: str = fields.stage("Stage", "platform", choices=fields.INNER)
    attenuation_dB: Quantity = fields.quantity(
        "Attenuation in dB",
        None,
        (0.0, 100.0),
        default=20.0,
        unknown=Band(0.0, None, 100.0),
        hint="A termination takes everything: enter 60.",
    )


@dataclass(frozen=True)
class Run:
    """A wire, ribbon or coax from stage to stage.

    A crossing without a lag is passed by and its length adds to the next. Heat is booked at the stage of
    the lag that takes it, and at `ends_on`. `material` is the conductor; of a coax the jacket.

    A crossing whose length is not given adds nothing to a run that passes it by; from a lag on it is unknown.
    """

    key: str
    kind: str = "wire"
    material: MaterialName = fields.material_name(
        "Material", None, "Read it off the reel; leave unknown if you cannot."
    )
    count: int = fields.count("How many", (1, 10_000), 1)
    diameter_m: Quantity = fields.quantity(
        "Diameter",
        "AWG",
        (5e-6, 0.03),
        default=0.127e-3,
        unknown=Band(0.08e-3, None, 0.32e-3),
        hint="Of the metal, without enamel or sleeve.",
    )
    lengths_m: Mapping[tuple[str, str], Quantity] = fields.lengths(
        "Length", "mm", (0.001, 20.0), Band(0.10, None, 1.0), "Along the wire, from stage to stage."
    )
    lags: tuple[Lag, ...] = fields.rows("Lags", Lag)
    ends_on: str = fields.stage("Cold end lands on", "platform", choices=fields.INNER)
    current_A: Quantity = fields.quantity(
        "Current in each conductor",
        "mA",
        (0.0, 100.0),
        default=0.0,
        unknown=Band(0.0, None, 0.010),
        hint="Root mean square, averaged over the time it is on and off.",
    )
    width_m: Quantity = fields.quantity(
        "Width of a trace", "mm", (1e-5, 0.2), default=0.3e-3, unknown=Band(0.1e-3, None, 1e-3)
    )
    thickness_m: Quantity = fields.quantity(
        "Thickness of a trace", "µm", (1e-6, 0.005), default=35e-6, unknown=Band(10e-6, None, 50e-6)
    )
    traces: int = fields.count("Traces", (1, 1000), 1)
    ground_plane: str = fields.choice(
        "Ground plane",
        ("none", "same-metal", "not-recorded"),
        "not-recorded",
        "A sheet of metal under the traces carries as much heat as a thick wire.",
    )
    backing: str = fields.choice(
        "Backing", ("polyimide", "polyester-film", "none"), "polyimide", advanced=True
    )
    backing_width_m: Quantity = fields.quantity(
        "Width of the whole ribbon",
        "mm",
        (1e-4, 0.3),
        default=Band(0.005, 0.010, 0.030),
        unknown=Band(0.005, None, 0.030),
    )
    backing_thickness_m: Quantity = fields.quantity(
        "Thickness of the backing",
        "µm",
        (1e-6, 0.005),
        default=Band(50e-6, 100e-6, 200e-6),
        unknown=Band(25e-6, None, 300e-6),
        advanced=True,
    )
    centre_material: MaterialName = fields.material_name(
        "Centre metal", None, "Unknown means the same as the jacket, up to copper."
    )
    dielectric: MaterialName = fields.material_name("Dielectric", "ptfe", advanced=True)
    dielectric_ratio: Quantity = fields.quantity(
        "Dielectric diameter by outer diameter",
        None,
        (0.05, 0.99),
        default=Band(0.74, 0.77, 0.80),
        unknown=Band(0.70, None, 0.90),
        advanced=True,
    )
    centre_ratio: Quantity = fields.quantity(
        "Centre diameter by outer diameter",
        None,
        (0.01, 0.9),
        default=Band(0.22, 0.235, 0.25),
        unknown=Band(0.15, None, 0.35),
        advanced=True,
    )
    attenuators: tuple[Attenuator, ...] = fields.rows("Attenuators and terminations", Attenuator)
    rf_power_W: Quantity = fields.quantity(
        "Signal power into each line",
        "dBm",
        (0.0, 100.0),
        default=0.0,
        unknown=Band(0.0, None, 0.001),
        hint="At the warm end, averaged over time.",
    )

    def __post_init__(self) -> None:
        object.__setattr__(self, "lengths_m", fields.Lengths(self.lengths_m))
        object.__setattr__(self, "lags", tuple(self.lags))
        object.__setattr__(self, "attenuators", tuple(self.attenuators))
