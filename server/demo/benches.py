"""The two invented cryostats of the demo laboratory: what the house built in, and a year of changes.

All data here is invented. Days count from the first entry; hours are the laboratory's own clock.
"""

from dataclasses import dataclass, field
from typing import Any

STEWARD, WIRES, LIGHT, NEW = "quill", "maren", "jory", "sabe"


@dataclass(frozen=True)
class Told:
    """One change of the story: when, by whom, why, what."""

    day: int
    hour: float
    who: str
    reason: str
    put: tuple[dict[str, Any], ...] = ()
    remove: tuple[str, ...] = ()


def house(key: str, kind: str, label: str, **fields: Any) -> dict[str, Any]:
    """An element that belongs to the house."""
    return {"key": key, "kind": kind, "label": label, "house": True, **fields}


def lag(stage: str, length_m: float, filler: str = "varnish", state: str = "good") -> dict[str, Any]:
    """A lag."""
    return {"stage": stage, "length_m": length_m, "filler": filler, "state": state}


OUT_AND_IN = {"vessel-shield": 0.30, "shield-platform": 0.15}
HOUSE = (
    house(
        "shield-posts",
        "support",
        "Posts of the shield",
        material="g10-normal",
        count=6,
        area_m2=50e-6,
        length_m=0.06,
        hot_stage="vessel",
        cold_stage="shield",
    ),
    house(
        "platform-posts",
        "support",
        "Posts of the platform",
        material="g10-normal",
        count=4,
        area_m2=28e-6,
        length_m=0.05,
        hot_stage="shield",
        cold_stage="platform",
    ),
    house(
        "shield-outside",
        "surface",
        "Outside of the shield",
        hot_stage="vessel",
        cold_stage="shield",
        area_m2=0.18,
        cold_finish="bright-plated",
        hot_finish="bare-stainless",
    ),
    house(
        "platform-round",
        "surface",
        "Platform inside the shield",
        hot_stage="shield",
        cold_stage="platform",
        area_m2=0.06,
        cold_finish="bare-copper",
        hot_finish="bright-plated",
    ),
    house("lid", "lid", "Shield lid", state="on", opening_diameter_m=0.09),
    house(
        "window-south", "window", "South shield window", state="in", material="fused-silica", diameter_m=0.025
    ),
    house("window-east", "window", "East port", state="blank", diameter_m=0.025),
    house(
        "thermometers",
        "thermometer-leads",
        "Leads of the house thermometers",
        material="phosphor-bronze",
        count=12,
        diameter_m=0.127e-3,
        lengths_m=OUT_AND_IN,
        ends_on="platform",
        lags=[lag("shield", 0.02)],
    ),
    house("gas", "gas", "Gas left", gas="helium", pressure_Pa=[1e-5, 1e-4]),
)
MOUNT = {
    "key": "mount-joint",
    "kind": "joint",
    "label": "Mount on the platform",
    "hot_stage": "mount",
    "cold_stage": "platform",
    "filler": "greased",
    "screws": 4,
    "screws_of": 4,
    "torque_N_m": 0.56,
    "springs": 4,
    "springs_of": 4,
}
CARRIER = {
    "key": "carrier",
    "kind": "joint",
    "label": "Chip carrier in the mount",
    "hot_stage": "sample",
    "cold_stage": "mount",
    "filler": "greased",
    "resistance_K_W": [20, 40],
}
LOOM = {
    "key": "loom-24",
    "kind": "wire",
    "label": "24-line loom",
    "material": "phosphor-bronze",
    "count": 24,
    "diameter_m": 0.127e-3,
    "current_A": 0.002,
    "ends_on": "sample",
    "lengths_m": {**OUT_AND_IN, "platform-mount": 0.05, "mount-sample": 0.03},
    "lags": [lag("shield", 0.02)],
    "note": "Reel label: bronze, AWG 36, enamelled.",
    "part": "loom-03",
}
LOOM_TWICE = {**LOOM, "lags": [lag("shield", 0.02), lag("platform", 0.015)]}
COAX = {
    "key": "coax-pair",
    "kind": "coax",
    "label": "Two coax to the sample",
    "material": "stainless-304",
    "centre_material": "stainless-304",
    "count": 2,
    "diameter_m": 2.2e-3,
    "ends_on": "sample",
    "lengths_m": LOOM["lengths_m"],
    "lags": [lag("shield", 0.02, "grease"), lag("platform", 0.02, "grease")],
}
COPPER = {
    "key": "heater-2",
    "kind": "heater-leads",
    "label": "Leads of the second heater",
    "material": "copper-rrr-100",
    "count": 2,
    "diameter_m": 0.202e-3,
    "lengths_m": OUT_AND_IN,
    "ends_on": "platform",
    "lags": [lag("shield", 0.02)],
    "note": "From the drawer, no reel label; pink under the knife.",
}
OBJECTIVE = {
    "key": "laser",
    "kind": "source",
    "label": "Laser on the sample",
    "what": "laser",
    "stage": "sample",
    "power_W": 0.4e-3,
    "duty": [0.1, 0.5],
    "absorbed": [0.3, 1.0],
}
BENCH_A = (
    Told(0, 10, STEWARD, "As the house built it; bare reference", HOUSE),
    Told(9, 11, STEWARD, "Mount and carrier fitted, greased, screws to the setting", (MOUNT, CARRIER)),
    Told(31, 14.5, WIRES, "24 dc lines for the transport runs", (LOOM,)),
    Told(46, 16, WIRES, "Second lag at the platform: the sample sat half a kelvin warm", (LOOM_TWICE,)),
    Told(98, 10.5, WIRES, "Two coax for the fast lines", (COAX,)),
    Told(151, 15, LIGHT, "Light on the sample through the south window", (OBJECTIVE,)),
    Told(203, 17.75, NEW, "Loom re-made with 12 lines, half were dead", ({**LOOM_TWICE, "count": 12},)),
    Told(221, 11, WIRES, "Full loom back", (LOOM_TWICE,)),
    Told(266, 9.5, LIGHT, "Light finished", (), ("laser",)),
    Told(318, 18.5, NEW, "Second heater for the step tests", (COPPER,)),
)
HOUSE_B = tuple(row for row in HOUSE if row["key"] != "window-east")
BENCH_B = (
    Told(2, 10, STEWARD, "As the house built it; bare reference", HOUSE_B),
    Told(
        40,
        15,
        LIGHT,
        "Mount for optics, indium under the sample plate",
        ({**MOUNT, "filler": "indium"}, {**CARRIER, "filler": "indium", "resistance_K_W": [10, 25]}),
    ),
    Told(
        77,
        13,
        WIRES,
        "Eight manganin lines",
        (
            {
                **LOOM_TWICE,
                "key": "loom-8",
                "part": "",
                "label": "8-line loom",
                "material": "manganin",
                "count": 8,
                "current_A": 0.0001,
                "note": "",
            },
        ),
    ),
    Told(
        190,
        16,
        LIGHT,
        "Lid bored, silica in the bore, for the long objective",
        (
            house(
                "lid",
                "lid",
                "Shield lid",
                state="bored",
                opening_diameter_m=0.09,
                bore_diameter_m=0.025,
                bore_glass="fused-silica",
            ),
        ),
    ),
    Told(
        262,
        12,
        STEWARD,
        "Closed lid back",
        (house("lid", "lid", "Shield lid", state="on", opening_diameter_m=0.09),),
    ),
    Told(
        341,
        18,
        LIGHT,
        "Lid left off for the microscope objective",
        (house("lid", "lid", "Shield lid", state="off", opening_diameter_m=0.09),),
    ),
)


@dataclass(frozen=True)
class Bench:
    """One instrument of the story."""

    name: str
    place: str
    told: tuple[Told, ...]
    points: tuple[dict[str, Any], ...]
    limits_K: dict[str, float]
    states: tuple[tuple[int, float, str, str, str], ...]
    grades: dict[str, int] = field(default_factory=dict)


def test_points(shield_K: float, platform_K: float, slope_K_W: float) -> tuple[dict[str, Any], ...]:
    """A heater test with nearly straight lines."""
    platform = tuple(
        {
            "heated": "platform",
            "added_W": added_W,
            "platform_K": round(platform_K + slope_K_W * added_W, 3),
            "shield_K": round(shield_K + 2 * added_W, 2),
        }
        for added_W in (0.0, 0.01, 0.03, 0.1, 0.15)
    )
    shield = tuple(
        {
            "heated": "shield",
            "added_W": added_W,
            "shield_K": round(shield_K + 1.1 * added_W, 2),
            "platform_K": round(platform_K + 0.004 * added_W, 3),
        }
        for added_W in (0.0, 1.0, 3.0, 6.0)
    )
    return platform + shield


BENCHES = (
    Bench(
        "Bench A",
        "Cellar, room 2",
        BENCH_A,
        test_points(32.0, 3.18, 7.5),
        {"shield": 45.0, "platform": 3.6, "sample": 4.0},
        (
            (0, 9, STEWARD, "open", "Set up"),
            (1, 17, STEWARD, "cold", "Bare reference"),
            (30, 9, WIRES, "open", ""),
            (32, 12, WIRES, "cold", ""),
            (318, 9, NEW, "open", "Second heater"),
            (320, 13, NEW, "cold", "Platform warmer than expected"),
        ),
        {WIRES: 3, LIGHT: 2, NEW: 3},
    ),
    Bench(
        "Bench B",
        "Cellar, room 4",
        BENCH_B,
        test_points(34.5, 3.32, 8.2),
        {"shield": 48.0, "platform": 3.8, "sample": 5.0},
        (
            (2, 9, STEWARD, "open", "Set up"),
            (3, 18, STEWARD, "cold", "Bare reference"),
            (341, 9, LIGHT, "open", "Microscope"),
            (343, 10, LIGHT, "cold", "Platform does not come down"),
        ),
        {WIRES: 3, LIGHT: 3, NEW: 1},
    ),
)
