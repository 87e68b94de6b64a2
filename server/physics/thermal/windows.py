"""What a window passes, absorbs and emits, by band of the spectrum.

A window is no mere hole and no mere plate: below its cut-off wavelength it passes, beyond it absorbs and
radiates like a nearly black body at its own temperature. A cold crystal passes again in the far infrared.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.arguments import check_positive
from server.physics.errors import UnknownMaterial
from server.physics.statistics import Band
from server.physics.thermal.radiation import blackbody_fraction, emissive_power_W_m2

COLD_ENOUGH_K = 100.0
"""Below this a crystal counts as cold enough to pass the far infrared again: from memory."""


@dataclass(frozen=True)
class WindowMaterial:
    """A material of windows.

    Attributes
    ----------
    name : str
        One of `window_materials()`.
    describes : str
        Its name in the trade.
    cut_off_m : Band
        Wavelength up to which a plate a few millimetres thick passes [m].
    transmission : Band
        Share passed in the pass band, both faces counted [1].
    emissivity : Band
        Emissivity, and absorptivity, beyond the cut-off [1].
    reopens_m : (float, float or None) or None
        Earliest and likely wavelength from which the cold material passes again; None: never [m].
    rupture_Pa : float
        Modulus of rupture [Pa].
    """

    name: str
    describes: str
    cut_off_m: Band
    transmission: Band
    emissivity: Band
    reopens_m: tuple[float, float | None] | None
    rupture_Pa: float


@dataclass(frozen=True)
class WindowHeat:
    """What one window does to the radiation of a black body in front of it.

    Attributes
    ----------
    passed_W : Band
        Heat that goes through, into the half space behind; multiply by a view factor for one place [W].
    absorbed_W : Band
        Heat the window takes up, and hands to what holds it [W].
    emitted_W : Band
        Heat the window itself radiates from one face [W].
    """

    passed_W: Band
    absorbed_W: Band
    emitted_W: Band


def window_materials() -> tuple[str, ...]:
    """The materials `window_heat` knows, shortest cut-off first.

    Returns
    -------
    tuple of str
        Their names.

    Examples
    --------
    >>> window_materials()[:3]
    ('borosilicate-crown', 'fused-silica', 'sapphire')
    """
    return tuple(_data()["windows"])


def window_material(name: str) -> WindowMaterial:
    """What is known about a material of windows.

    Parameters
    ----------
    name : str
        One of `window_materials()`.

    Returns
    -------
    WindowMaterial
        Cut-off, transmission, emissivity, far infrared and strength.

    Raises
    ------
    UnknownMaterial
        When there is no window material of that name here.

    Examples
    --------
    >>> window_material("sapphire").cut_off_m.best
    5.5e-06

    References
    ----------
    Values from memory, as the data file says; strengths as published in design notes for vacuum windows.
    """
    entries: Mapping[str, Mapping[str, Any]] = _data()["windows"]
    if name not in entries:
        raise UnknownMaterial(f"There is no window material called '{name}' here.")
    entry = entries[name]
    cut_off_m, transmission, emissivity = (
        Band(*entry[key]) for key in ("cut_off_m", "transmission", "emissivity")
    )
    reopens_m = None if entry["reopens_m"] is None else (entry["reopens_m"][0], entry["reopens_m"][1])
    return WindowMaterial(
        name, entry["describes"], cut_off_m, transmission, emissivity, reopens_m, entry["rupture_Pa"]
    )


def window_heat(material: str, area_m2: float, source_K: float, window_K: float) -> WindowHeat:
    r"""What a window passes, absorbs and emits in front of a black body.

    .. math:: Q_{pass} = \tau F(\lambda_c, T_s)\,\sigma T_s^4 A, \quad
              Q_{abs} = e\,[1 - F(\lambda_c, T_s)]\,\sigma T_s^4 A, \quad
              Q_{em} = e\,[1 - F(\lambda_c, T_w)]\,\sigma T_w^4 A

    with the far infrared taken from the absorbed and given to the passed where a cold crystal opens again.

    Parameters
    ----------
    material : str
        One of `window_materials()`.
    area_m2 : float
        Clear area, above zero [m²].
    source_K : float
        Temperature of what the window sees in front of it, taken as black, above zero [K].
    window_K : float
        Temperature of the window, above zero [K].

    Returns
    -------
    WindowHeat
        Heat passed, absorbed and emitted, each with its band [W].

    Raises
    ------
    UnknownMaterial
        When there is no window material of that name here.
    Unphysical
        When an area or a temperature is not above zero.

    Notes
    -----
    A window between rooms of one temperature lets through all that a black body there radiates: what it
    passes and what it emits together. A cold crystal (sapphire, the fluorides, zinc selenide) passes beyond
    50 to 300 µm again; the band holds it. The window's own temperature is usually unknown: silica may sit at
    40 to 90 K, sapphire near the stage that holds it.

    Where silica cuts off depends on its thickness: about 4.7 µm at one millimetre, 4.2 µm at a few, 3.5 µm
    in a thick plate, less in grades with much water (from memory). The band holds all of it, a factor of
    eight in what passes of 300 K and little in what is absorbed; measure the plate where that matters.

    A window under vacuum can implode. This result is no approval to fit or pump one: the maker's rating,
    local rules and a competent person decide.

    Examples
    --------
    >>> heat = window_heat("fused-silica", 4.9087e-4, 300.0, 40.0)
    >>> heat.absorbed_W.best
    0.202
    >>> heat.emitted_W.best
    6.41e-05

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, chapter on windows and band fractions.
    """
    check_positive(area_m2=area_m2, source_K=source_K, window_K=window_K)
    window = window_material(material)
    passed, stopped = _shares(window, source_K, window_K)
    emitted = _shares(window, window_K, window_K)[1]
    incident_W = area_m2 * emissive_power_W_m2(source_K)
    own_W = area_m2 * emissive_power_W_m2(window_K)
    return WindowHeat(passed.scaled(incident_W), stopped.scaled(incident_W), emitted.scaled(own_W))


def _shares(window: WindowMaterial, spectrum_K: float, window_K: float) -> tuple[Band, Band]:
    """Shares of a black body's spectrum that the window passes, and that it absorbs."""
    short = [float(blackbody_fraction(cut, spectrum_K)) for cut in _parts(window.cut_off_m)]
    far = _far_shares(window, spectrum_K, window_K)
    passes, emissivity = _parts(window.transmission), _parts(window.emissivity)
    passed = [tau * (f + g) for tau, f, g in zip(passes, short, far, strict=True)]
    opaque = [1.0 - f - g for f, g in zip(reversed(short), reversed(far), strict=True)]
    return Band(*passed), Band(*(e * share for e, share in zip(emissivity, opaque, strict=True)))


def _far_shares(window: WindowMaterial, spectrum_K: float, window_K: float) -> list[float]:
    """Share of the spectrum in the far infrared that a cold crystal passes: at least, likely, at most."""
    if window.reopens_m is None or window_K > COLD_ENOUGH_K:
        return [0.0, 0.0, 0.0]
    earliest_m, likely_m = window.reopens_m
    likely = 0.0 if likely_m is None else 1.0 - blackbody_fraction(likely_m, spectrum_K)
    return [0.0, likely, 1.0 - blackbody_fraction(earliest_m, spectrum_K)]


def _parts(band: Band) -> tuple[float, float, float]:
    assert band.low is not None
    assert band.best is not None
    assert band.high is not None
    return band.low, band.best, band.high


def window_thickness_m(
    unsupported_diameter_m: float,
    pressure_Pa: float,
    rupture_Pa: float,
    *,
    clamped: bool,
    safety_factor: float = 4.0,
) -> float:
    r"""Thickness at which a round plate under pressure is stressed to a share of its strength.

    .. math:: t = R \sqrt{\frac{K\,p\,S}{M}}

    with K = 0.75 for a clamped edge and 1.25 for one that is only supported.

    Parameters
    ----------
    unsupported_diameter_m : float
        Diameter between the supports, 2 R, above zero [m].
    pressure_Pa : float
        Pressure difference across the plate, above zero [Pa].
    rupture_Pa : float
        Modulus of rupture M of the material, above zero [Pa].
    clamped : bool
        Whether the edge is held so that it cannot turn; an O-ring does not do that [1].
    safety_factor : float, optional
        S, above zero [1].

    Returns
    -------
    float
        Thickness [m].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Notes
    -----
    For judging whether a plate is plausible only. A window under vacuum can implode and throw splinters; a
    chip or a scratch takes its strength. This result is no approval to fit or pump a window: the maker's
    rating, local pressure rules and a competent person decide.

    Examples
    --------
    >>> window_thickness_m(0.0254, 101325.0, 4.826e7, clamped=True)
    0.00101
    >>> window_thickness_m(0.0254, 101325.0, 4.826e7, clamped=False)
    0.00130

    References
    ----------
    S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, uniformly loaded circular plates, with
    Poisson's ratio near 0.3.
    """
    lengths = {"unsupported_diameter_m": unsupported_diameter_m, "pressure_Pa": pressure_Pa}
    check_positive(**lengths, rupture_Pa=rupture_Pa, safety_factor=safety_factor)
    edge = 0.75 if clamped else 1.25
    return unsupported_diameter_m / 2.0 * math.sqrt(edge * pressure_Pa * safety_factor / rupture_Pa)


@cache
def _data() -> Mapping[str, Any]:
    path = files("server.physics.thermal") / "data" / "windows.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
