"""Copper of any purity, told by its residual resistance ratio."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.errors import UnknownMaterial

LISTED_RATIOS = (50, 100, 150, 300, 500)
"""Ratios that have a published fit of their own."""

LOWEST_RATIO, HIGHEST_RATIO = 10.0, 2000.0


@cache
def _family() -> Mapping[str, Any]:
    path = files("server.physics.materials") / "data" / "families" / "copper-rrr.json"
    family: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return family


def entry(name: str, ratio: float) -> Mapping[str, Any]:
    """The data entry of copper with one residual resistance ratio.

    A ratio with a published fit uses that fit, with the general equation in its band; any other uses the
    general equation of Hust and Lankford, which agrees with the fits within 0.1 to 4 %.

    Parameters
    ----------
    name : str
        The name the entry shall carry.
    ratio : float
        Residual resistance ratio, 10 to 2000 [1].

    Raises
    ------
    UnknownMaterial
        When the ratio is outside what the equations were made for.
    """
    if not LOWEST_RATIO <= ratio <= HIGHEST_RATIO:
        raise UnknownMaterial(f"'{name}': the ratio of copper must be {LOWEST_RATIO:g} to {HIGHEST_RATIO:g}.")
    family = _family()
    return {
        "name": name,
        "describes": f"oxygen-free copper, residual resistance ratio {ratio:g}",
        "kind": family["kind"],
        "conductivity": _conductivity(family, ratio),
        "resistivity": _with_ratio(family["resistivity"], ratio),
        "specific_heat": family["specific_heat"],
        "contraction": family["contraction"],
    }


def _conductivity(family: Mapping[str, Any], ratio: float) -> Mapping[str, Any]:
    general = _with_ratio(family["conductivity_any_ratio"], ratio)
    if ratio not in LISTED_RATIOS:
        return general
    fit = family["conductivity_fits"]
    piece = {**fit["piece"], "coefficients": fit["coefficients"][f"{ratio:g}"]}
    return {**fit, "pieces": [piece], "alternatives": general["pieces"]}


def _with_ratio(curve: Mapping[str, Any], ratio: float) -> Mapping[str, Any]:
    lists = {key: curve[key] for key in ("pieces", "alternatives") if key in curve}
    return {**curve, **{key: [{**piece, "ratio": ratio} for piece in lists[key]] for key in lists}}
