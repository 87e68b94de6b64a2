"""Screw threads: their sizes, what area carries tension, what area shears when they strip."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.arguments import check_positive
from server.physics.errors import UnknownMaterial, Unphysical

INCH_m = 0.0254

ISO_STRESS = 0.9382
UNIFIED_STRESS = 0.9743
"""What is taken off the diameter for the tensile stress area, in pitches."""


@dataclass(frozen=True)
class Thread:
    """A thread by its basic profile.

    Attributes
    ----------
    name : str
        One of `threads()`, such as ``"M3"`` or ``"#4-40"``.
    diameter_m : float
        Nominal diameter [m].
    pitch_m : float
        Distance from thread to thread [m].
    unified : bool
        Whether it is a unified inch thread; else ISO metric.
    """

    name: str
    diameter_m: float
    pitch_m: float
    unified: bool

    @property
    def stress_area_m2(self) -> float:
        """Area that carries tension [m²], as `stress_area_m2`."""
        return stress_area_m2(self.diameter_m, self.pitch_m, unified=self.unified)


def threads() -> tuple[str, ...]:
    """The threads this module knows by name.

    Returns
    -------
    tuple of str
        ISO coarse threads, then unified ones.

    Examples
    --------
    >>> threads()[3]
    'M3'
    """
    return (*screw_data()["threads"], *screw_data()["unified_threads"])


def thread(name: str) -> Thread:
    """A thread by its name.

    Parameters
    ----------
    name : str
        One of `threads()`.

    Returns
    -------
    Thread
        Diameter, pitch and standard.

    Raises
    ------
    UnknownMaterial
        When there is no thread of that name here.

    Examples
    --------
    >>> thread("M3").pitch_m
    0.0005

    References
    ----------
    ISO 261, coarse series; ASME B1.1.
    """
    data = screw_data()
    if name in data["threads"]:
        diameter_mm, pitch_mm = data["threads"][name]
        return Thread(name, diameter_mm * 1e-3, pitch_mm * 1e-3, unified=False)
    if name in data["unified_threads"]:
        diameter_in, per_inch = data["unified_threads"][name]
        return Thread(name, diameter_in * INCH_m, INCH_m / per_inch, unified=True)
    raise UnknownMaterial(f"There is no thread called '{name}' here.")


def stress_area_m2(diameter_m: float, pitch_m: float, *, unified: bool = False) -> float:
    r"""Area that carries the tension of a screw.

    .. math:: A_s = \frac{\pi}{4} (d - 0.9382\,P)^2

    with 0.9743 for unified threads.

    Parameters
    ----------
    diameter_m : float
        Nominal diameter [m].
    pitch_m : float
        Pitch, less than the diameter [m].
    unified : bool, optional
        Whether it is a unified inch thread.

    Returns
    -------
    float
        Tensile stress area [m²].

    Raises
    ------
    Unphysical
        When a length is not above zero or the pitch not below the diameter.

    Examples
    --------
    >>> stress_area_m2(3e-3, 0.5e-3) * 1e6
    5.03

    References
    ----------
    ISO 898-1, nominal stress area; ASME B1.1.
    """
    _check_thread(diameter_m, pitch_m)
    less = UNIFIED_STRESS if unified else ISO_STRESS
    return math.pi / 4.0 * (diameter_m - less * pitch_m) ** 2


def strip_load_N(diameter_m: float, pitch_m: float, engaged_m: float, shear_Pa: float) -> float:
    r"""Load that strips the thread a screw is turned into.

    .. math:: F = \tau\,\pi \frac{L_e}{P} d \left[ \frac{P}{2} + 0.57735\,(d - d_2) \right],
              \quad d_2 = d - 0.6495\,P

    Parameters
    ----------
    diameter_m, pitch_m : float
        Nominal diameter and pitch, the pitch below the diameter [m].
    engaged_m : float
        Length over which the threads engage, above zero [m].
    shear_Pa : float
        Shear strength of the metal the thread is cut in, above zero [Pa].

    Returns
    -------
    float
        Load at which the inner thread shears [N].

    Raises
    ------
    Unphysical
        When a number is not above zero or the pitch not below the diameter.

    Notes
    -----
    Basic profile, no tolerance: a worn or loose thread holds less.

    Examples
    --------
    >>> strip_load_N(3e-3, 0.5e-3, 4.5e-3, 165e6)
    6123.

    References
    ----------
    FED-STD-H28, shear area of internal threads.
    """
    _check_thread(diameter_m, pitch_m)
    check_positive(engaged_m=engaged_m, shear_Pa=shear_Pa)
    flank = pitch_m / 2.0 + 0.57735 * 0.6495 * pitch_m
    return math.pi * engaged_m / pitch_m * diameter_m * flank * shear_Pa


def _check_thread(diameter_m: float, pitch_m: float) -> None:
    check_positive(diameter_m=diameter_m, pitch_m=pitch_m)
    if pitch_m >= diameter_m:
        raise Unphysical("pitch_m must be below diameter_m.")


@cache
def screw_data() -> Mapping[str, Any]:
    """The data file of screws: threads, strengths, moduli, nut factors, with their sources."""
    path = files("server.physics.mechanics") / "data" / "screws.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
