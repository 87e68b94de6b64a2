"""Words of a diagnosis: witnesses, causes, sizes as people say them. Pure."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.physics.statistics import Band
from server.physics.thermal.diagnosis import Explanation, Fitted
from server.physics.thermal.suspects import CAUSES, Suspect
from server.units import in_unit, show_band, unit_for

UNEXPLAINED = 2.0
"""Standard deviations from which on a reading is said to be left unexplained."""
RATIOS = ("pressure", "cooldown", "helium")
LABELS = {
    "shield": "Shield",
    "platform": "Platform",
    "mount": "Mount",
    "sample": "Sample",
    "pressure": "Cold pressure",
    "cooldown": "Time to 10 K",
    "helium": "Static helium",
}
SIGMAS = {
    "shield": 0.15,
    "platform": 0.010,
    "mount": 0.020,
    "sample": 0.020,
    "pressure": 0.20,
    "cooldown": 0.03,
    "helium": 0.01,
}
"""Standard deviation of a reading, in kelvin, the last three as a share (common practice, no source)."""
MISSING = {
    "pressure": "Read the cold pressure at base: it settles whether gas is in the vacuum.",
    "cooldown": "Write down when the platform passes 10 K: a tired cooler is slow, a touch hardly is.",
    "helium": "Read the static helium pressure first, compressor off and warm: without it a low charge, a"
    " worn or dirty cooler and warm cooling water look alike.",
}
OF_FAULTS = {
    "touch-mount-shield": "touch",
    "touch-shield-vessel": "touch",
    "wire-added": "touch",
    "joint-loose": "joint-worse",
    "joint-dry": "joint-worse",
    "link-loose": "joint-worse",
    "lag-missing": "lag-lost",
    "lid-open": "lid-missing",
    "window-missing": "window-missing",
    "light-absorbed": "heat-left-on",
    "self-heating": "heat-left-on",
    "helium-low": "helium-low",
    "helium-dirty": "cooler-weaker",
    "adsorber-tired": "cooler-weaker",
    "cold-head-worn": "cooler-weaker",
    "water": "cooler-weaker",
    "ring-dirty": "gas",
    "ring-cold": "gas",
    "window-seat": "gas",
    "feed-through": "gas",
    "water-inside": "gas",
    "virtual-leak": "gas",
    "getter-full": "gas",
    "sensor-loose": "thermometer-wrong",
    "sensor-drifted": "thermometer-wrong",
    "curve-wrong": "thermometer-wrong",
}
"""A cause found, as the faults name it → the cause of a diagnosis it speaks for."""
MEANS = {
    "touch": "a wire, braid, foil or mount that bridges two stages, or a wire nobody wrote down",
    "lag-lost": "varnish cracked, tape lifted, the clamp slack",
    "lid-missing": "never put back, or its screws left out",
    "window-missing": "not seated, or out and not recorded",
    "joint-worse": "grease forgotten, a screw or its disc spring slack",
    "gas": "a leak, a full getter, water coming off",
    "helium-low": "the charge has leaked away",
    "cooler-weaker": "adsorber due, seals or regenerator worn, helium dirty, cooling water warm",
    "heat-left-on": "a heater, a current, a laser or room light",
    "thermometer-wrong": "the wrong curve, self-heating, or it came loose",
}


def witness(name: str, value: float) -> str:
    """A shift of a witness as people say it: mK or K, or per cent for a ratio."""
    if name in RATIOS:
        return show_band(value, "%", signed=True)
    return show_band(value, unit_for([value], "K"), signed=True)


def often(found: Iterable[str]) -> dict[str, float]:
    """How often each cause of a diagnosis was found here, from the causes of faults."""
    return {
        cause: float(n) for cause, n in Counter(OF_FAULTS[key] for key in found if key in OF_FAULTS).items()
    }


SIZES = {
    "lid-missing": ("lets in heat of which {} stays", "%"),
    "window-missing": ("lets in heat of which {} stays", "%"),
    "touch": ("conducts {}", "mW/K"),
    "joint-worse": ("resists {} times as much", ""),
    "helium-low": ("lifts {} less", "%"),
    "cooler-weaker": ("lifts {} less", "%"),
    "gas": ("is {} of helium", "mbar"),
}
"""Cause → how its size is said, and the unit the trade uses."""


def size(suspect: Suspect, band: Band | None) -> str:
    """The size of a cause with its band; nothing where it is there or not."""
    if band is None:
        return ""
    if suspect.cause == "thermometer-wrong":
        return f"reads {show_band(band, unit_for([band], 'K'))} too {'high' if suspect.sign > 0 else 'low'}"
    words, unit = SIZES.get(suspect.cause, ("is {}", unit_for([band], "W")))
    return words.format(show_band(band, unit))


def place(suspect: Suspect, titles: Mapping[str, str]) -> str:
    """Where it is, in words; `titles` maps the keys of elements to what they are called."""
    key, _, stage = suspect.where.partition("@")
    if suspect.cause == "touch":
        hot, _, cold = suspect.where.partition("-")
        return f"between {hot} and {cold}"
    if suspect.cause == "lag-lost":
        return f"{titles.get(key, key)}, lag at the {stage}"
    if suspect.element is not None:
        return titles.get(key, key)
    return f"at the {suspect.where}" if suspect.where else ""


def said(suspect: Suspect, titles: Mapping[str, str]) -> str:
    """Cause and place in one line."""
    where = place(suspect, titles)
    return f"{CAUSES[suspect.cause]}{': ' if where else ''}{where}"


@dataclass(frozen=True)
class Cause:
    """One cause of an explanation as the page says it. `alike` are others that would look the same."""

    title: str
    means: str
    size: str
    alike: tuple[str, ...]


def cause(fitted: Fitted, titles: Mapping[str, str]) -> Cause:
    """A fitted cause in words."""
    one = fitted.suspect
    others = tuple(said(other, titles) for other in fitted.alike if other.key != one.key)
    return Cause(said(one, titles), MEANS[one.cause], size(one, fitted.size), others)


@dataclass(frozen=True)
class Told:
    """What one explanation says of one witness: observed and explained shift, and what is left in sigmas."""

    name: str
    label: str
    seen: str
    explained: str
    left: float
    verdict: str


def told(
    explanation: Explanation, seen: Mapping[str, float], sigmas: Mapping[str, float]
) -> tuple[Told, ...]:
    """Each witness; `seen` are the shifts that were read, in the unit of the witness."""
    rows = []
    for name, shift in seen.items():
        left = explanation.left_sigmas[name]
        words = _verdict(shift / sigmas[name], left)
        explained = witness(name, explanation.shifts[name])
        rows.append(Told(name, LABELS[name], witness(name, shift), explained, left, words))
    return tuple(rows)


def _verdict(read: float, left: float) -> str:
    if abs(left) >= UNEXPLAINED:
        return f"not explained: {abs(left):.1f} σ {'more' if left > 0 else 'less'} than it would bring"
    return "explained" if abs(read) >= UNEXPLAINED else "as it should be"


def title(explanation: Explanation) -> str:
    """What to call an explanation without causes; empty where it has some."""
    if explanation.causes:
        return ""
    return "Nothing is wrong" if explanation.known else "Something that is not named here"


def conductance_words(conductance_W_K: float) -> str:
    """A conductance in the unit that suits it."""
    unit = "mW/K" if conductance_W_K >= 1e-3 else "µW/K"
    return in_unit(conductance_W_K, unit)
