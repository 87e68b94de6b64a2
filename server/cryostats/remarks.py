"""What a person should hear about an element before it is logged, that no balance tells. Pure."""

from collections.abc import Mapping

from server.cryostats.rules import Put
from server.physics import mechanics
from server.physics.errors import Overloaded

MADE_ANEW = ("filler", "screws", "torque_N_m", "springs", "metal")
MAKER_FIRST = "The maker's value and the standing order decide; this is arithmetic, no approval."
THREADS = {0.002: "M2", 0.0025: "M2.5", 0.003: "M3", 0.004: "M4", 0.005: "M5", 0.006: "M6"}
STRONG = "stainless-A2-70"
"""The strongest screw one finds on a bench: what is too much for it is too much."""
ENGAGED_DIAMETERS = 1.5
"""Depth of thread taken where nobody wrote it down, in diameters (common practice, no source)."""


def remarks(before: Put | None, after: Put) -> list[str]:
    """Sentences about one element as it was and as it is wanted."""
    if after.kind != "joint":
        return []
    return [*_older_measurement(before, after), *_torque(after)]


def _older_measurement(before: Put | None, after: Put) -> list[str]:
    measured = after.data.get("resistance_K_W")
    if before is None or measured is None or measured != before.data.get("resistance_K_W"):
        return []
    if all(before.data.get(name) == after.data.get(name) for name in MADE_ANEW):
        return []
    return ["The measured resistance is older than this joint: measure it again, or enter ? for unknown"]


def _torque(after: Put) -> list[str]:
    torque_N_m = after.data.get("torque_N_m")
    thread = THREADS.get(_number(after.data, "screw_diameter_m", 0.003) or 0.0)
    if not isinstance(torque_N_m, float | int) or thread is None:
        return []
    try:
        engaged_m = ENGAGED_DIAMETERS * float(thread.removeprefix("M")) * 1e-3
        mechanics.check_screw(thread, float(torque_N_m), screw=STRONG, engaged_m=engaged_m)
    except Overloaded as overloaded:
        return [f"{overloaded} {MAKER_FIRST}"]
    return []


def _number(data: Mapping[str, object], name: str, default: float) -> float | None:
    value = data.get(name, default)
    return float(value) if isinstance(value, float | int) else None
