"""Where materials are found by name, and made from data."""

import json
import re
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.materials import copper
from server.physics.materials.curve import read_curve
from server.physics.materials.solid import PROPERTIES, Material

_DATA = files("server.physics.materials") / "data"
_COPPER_NAME = re.compile(r"copper-rrr-([1-9]\d{1,3})")


def material(name_or_object: str | Material) -> Material:
    """The material of that name; an object is given back as it is.

    Parameters
    ----------
    name_or_object : str or Material
        One of `materials()`, ``copper-rrr-N`` with N from 10 to 2000, or a material.

    Returns
    -------
    Material
        The same object every time for the same name.

    Raises
    ------
    UnknownMaterial
        When there is none of that name.

    Examples
    --------
    >>> round(material("stainless-304").conductivity_integral_W_m(4.0, 300.0))
    3031
    >>> round(material("stainless-304").conductivity_integral_W_m(300.0, 4.0))
    -3031
    """
    if isinstance(name_or_object, Material):
        return name_or_object
    return _by_name(name_or_object)


@lru_cache(maxsize=256)
def _by_name(name: str) -> Material:
    return read_material(read_entry(name))


def read_entry(name: str) -> Mapping[str, Any]:
    """The data entry of a material, as it stands in its file; raises `UnknownMaterial`."""
    if match := _COPPER_NAME.fullmatch(name):
        return copper.entry(name, float(match[1]))
    if name not in _file_names():
        raise UnknownMaterial(f"There is no material called '{name}'.")
    found: dict[str, Any] = json.loads((_DATA / f"{name}.json").read_text("utf-8"))
    return found


@cache
def _file_names() -> tuple[str, ...]:
    found = (path.name for path in _DATA.iterdir() if path.name.endswith(".json"))
    return tuple(sorted(name.removesuffix(".json") for name in found if name != "sources.json"))


def materials(property_name: str | None = None) -> tuple[str, ...]:
    """The names `material` knows, in order.

    Copper is listed at the residual resistance ratios that have a fit of their own, and answers at any
    from 10 to 2000.

    Parameters
    ----------
    property_name : str, optional
        Only those that have data for this property: ``"conductivity"``, ``"resistivity"``,
        ``"specific_heat"`` or ``"contraction"``.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> "phosphor-bronze" in materials("resistivity")
    True
    """
    coppers = (f"copper-rrr-{ratio}" for ratio in copper.LISTED_RATIOS)
    names = sorted([*_file_names(), *coppers])
    return tuple(name for name in names if property_name is None or property_name in material(name).curves)


@cache
def sources() -> Mapping[str, str]:
    """Short names of publications, as data entries use them, to their full reference."""
    found: dict[str, str] = json.loads((_DATA / "sources.json").read_text("utf-8"))
    return found


def read_material(entry: Mapping[str, Any]) -> Material:
    """Make a material from one data entry (its keys are told in the package's docstring).

    Parameters
    ----------
    entry : mapping
        Name, description, kind, and an entry for each property there is.

    Returns
    -------
    Material
        With a curve for each property.

    Raises
    ------
    KeyError
        When the entry lacks a key its kind of curve needs.

    Examples
    --------
    >>> read_material(read_entry("brass")).name
    'brass'
    """
    curves = {name: read_curve(entry[name], sources()) for name in PROPERTIES if name in entry}
    return Material(entry["name"], entry["describes"], entry["kind"], curves)


def constant_material(conductivity_W_m_K: float, resistivity_ohm_m: float | None = None) -> Material:
    """A material whose properties do not depend on temperature, for hand calculations and tests.

    Parameters
    ----------
    conductivity_W_m_K : float
        Thermal conductivity [W/(m K)], more than zero.
    resistivity_ohm_m : float, optional
        Electrical resistivity [Ω m], more than zero.

    Returns
    -------
    Material
        Covers every temperature from 1 mK to 10 000 K.

    Raises
    ------
    Unphysical
        When a value is not a number above zero.

    Examples
    --------
    >>> constant_material(400.0).conductivity_integral_W_m(4.0, 300.0)
    118400.0

    References
    ----------
    None: the values are as given.
    """
    given = {"conductivity": conductivity_W_m_K, "resistivity": resistivity_ohm_m}
    entry: dict[str, Any] = {"name": "constant", "describes": "constant properties", "kind": "constant"}
    for name, value in given.items():
        if value is not None:
            entry[name] = _constant_curve(name, value)
    return read_material(entry)


def _constant_curve(name: str, value: float) -> Mapping[str, Any]:
    if not 0.0 < value < float("inf"):
        raise Unphysical(f"A constant {name} must be a number above zero.")
    span_K = [1e-3, 1e4]
    piece = {"form": "linear-table", "T_K": span_K, "values": [value, value]}
    return {
        "source": ["as given"],
        "confidence": "exact",
        "range_K": span_K,
        "uncertainty": 0.0,
        "pieces": [piece],
    }


def table_material(
    name: str,
    T_K: Sequence[float],
    conductivity_W_m_K: Sequence[float],
    *,
    source: str,
    relative_uncertainty: float,
    resistivity_ohm_m: Sequence[float] | None = None,
    specific_heat_J_kg_K: Sequence[float] | None = None,
    note: str = "",
) -> Material:
    """A laboratory's own material, from a table of measured values.

    Straight lines in log-log between the points; nothing outside them.

    Parameters
    ----------
    name : str
        What the laboratory calls it.
    T_K, conductivity_W_m_K : sequences of float
        At least two points, temperatures rising [K], conductivities above zero [W/(m K)].
    source : str
        Who measured it, how, and when: not empty.
    relative_uncertainty : float
        Central 95 %, as a fraction, from 0 to 10 [1].
    resistivity_ohm_m, specific_heat_J_kg_K : sequences of float, optional
        Resistivity [Ω m] and specific heat [J/(kg K)] at the same temperatures.
    note : str, optional
        What a user should know.

    Returns
    -------
    Material

    Raises
    ------
    Unphysical
        With a sentence saying which of these does not hold.

    Examples
    --------
    >>> own = table_material("resin", [2, 8], [0.02, 0.08], source="our book", relative_uncertainty=0.2)
    >>> own.conductivity_W_m_K(4.0)
    0.04

    References
    ----------
    As given in `source`.
    """
    if not source.strip():
        raise Unphysical("Give the source of the table: who measured it, how and when.")
    if not 0.0 <= relative_uncertainty <= 10.0:
        raise Unphysical("The relative uncertainty must be a fraction between 0 and 10.")
    columns = {
        "conductivity": conductivity_W_m_K,
        "resistivity": resistivity_ohm_m,
        "specific_heat": specific_heat_J_kg_K,
    }
    entry: dict[str, Any] = {"name": name, "describes": name, "kind": "own"}
    for property_name, values in columns.items():
        if values is not None:
            _check_table(T_K, values)
            entry[property_name] = {
                "source": [source],
                "confidence": "own",
                "range_K": [T_K[0], T_K[-1]],
                "uncertainty": relative_uncertainty,
                "note": note,
                "pieces": [{"form": "table", "T_K": list(T_K), "values": list(values)}],
            }
    return read_material(entry)


def _check_table(T_K: Sequence[float], values: Sequence[float]) -> None:
    if len(T_K) != len(values) or len(T_K) < 2:
        raise Unphysical("Give at least two temperatures and one value for each.")
    if not all(0.0 < number < float("inf") for number in [*T_K, *values]):
        raise Unphysical("Temperatures and values of a table must be numbers above zero.")
    if any(later <= earlier for earlier, later in pairwise(T_K)):
        raise Unphysical("The temperatures of a table must rise from line to line.")
