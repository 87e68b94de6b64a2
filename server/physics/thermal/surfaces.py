"""What surfaces emit and absorb, by the state they are in."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from server.physics.errors import OutOfRange, UnknownMaterial
from server.physics.statistics import Band

COVERED_K = (1.0, 310.0)
"""Temperatures at which a finish answers [K]; below 4 K its value at 4 K."""


@dataclass(frozen=True)
class Finish:
    """A state of a surface, in the words of the trade.

    Attributes
    ----------
    name : str
        What it is asked for by, such as ``"polished-copper"``.
    describes : str
        How to recognise it.
    source : str
        Where its values come from.
    confidence : str
        B: seen in one or two transcriptions; C: partly from memory; D: from memory only.
    """

    name: str
    describes: str
    source: str
    confidence: str


def finishes() -> tuple[str, ...]:
    """The names `emissivity` knows, brightest first.

    Returns
    -------
    tuple of str
        Names of finishes; ``"unknown"`` is the last.

    Examples
    --------
    >>> finishes()[0], finishes()[-1]
    ('bright-plated', 'unknown')
    """
    return tuple(_data()["finishes"])


def finish(name: str) -> Finish:
    """What is known about a finish, besides its emissivity.

    Parameters
    ----------
    name : str
        One of `finishes()`.

    Returns
    -------
    Finish
        Its description, source and confidence.

    Raises
    ------
    UnknownMaterial
        When there is no finish of that name.

    Examples
    --------
    >>> finish("handled-metal").confidence
    'D'
    """
    entry = _entry(name)
    source = "; ".join(_data()["sources"][key] for key in entry["source"])
    return Finish(name, entry["describes"], source, entry["confidence"])


def emissivity(finish: str, temperature_K: float) -> Band:
    r"""Emissivity of a surface over all wavelengths and directions.

    Between the temperatures of the table the value is a straight line against ln T.

    Parameters
    ----------
    finish : str
        One of `finishes()`.
    temperature_K : float
        Temperature of the surface, 1 to 310 [K].

    Returns
    -------
    Band
        Emissivity; without a best value where only the range is known [1].

    Raises
    ------
    UnknownMaterial
        When there is no finish of that name.
    OutOfRange
        When the temperature is not between 1 and 310 K.

    Notes
    -----
    A cold metal absorbs somewhat more of the radiation of a warmer body than the emissivity at its own
    temperature says; the band covers it. Measured values scatter with the treatment of the surface, and
    rise with the time cold, as gas freezes on.

    Examples
    --------
    >>> emissivity("polished-copper", 77.0)
    Band(low=0.013, best=0.022, high=0.06)
    >>> emissivity("unknown", 300.0).best is None
    True

    References
    ----------
    M. Kutz (ed.), Mechanical Engineers' Handbook vol. 4, cryogenics chapter, Table 5 p. 495; the rest from
    memory, as each finish says.
    """
    entry = _entry(finish)
    cold_K, hot_K = COVERED_K
    if not cold_K <= temperature_K <= hot_K:
        raise OutOfRange(
            f"Emissivities are known from {cold_K:g} to {hot_K:g} K, not at {temperature_K:g} K."
        )
    low, best, high = (_between(entry, part, temperature_K) for part in ("low", "best", "high"))
    return Band(low, best, high)


def _between(entry: Mapping[str, Any], part: str, temperature_K: float) -> float | None:
    if part not in entry:
        return None
    return round(float(np.interp(np.log(temperature_K), np.log(entry["T_K"]), entry[part])), 12)


def _entry(name: str) -> Mapping[str, Any]:
    entries: Mapping[str, Mapping[str, Any]] = _data()["finishes"]
    if name not in entries:
        raise UnknownMaterial(f"There is no finish called '{name}'.")
    return entries[name]


@cache
def _data() -> Mapping[str, Any]:
    path = files("server.physics.thermal") / "data" / "finishes.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
