"""Every public part of the physics says what it takes and gives, in which unit, and where it comes from.

Public functions are the names on the faces of `materials`, `mechanics`, `statistics` and `thermal`. Names of
fields, arguments and results are checked in every module behind them.
"""

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest

import server.physics
from server.physics.thermal.docstrings import described, sections
from server.units import SUFFIXES

FACES = ("materials", "mechanics", "statistics", "thermal", "vibration")
NUMBERS = re.compile(r"\b(float|Value|Array|Band|Quantity)\b")

# Names of numbers that have no unit: ratios, shares, exponents, factors, counts.
DIMENSIONLESS = {
    "fastest",
    "readings",
    "limit",
    "left",
    "above_floor",
    "above_floor_dB",
    "absorbed",
    "accommodation",
    "ageing",
    "attenuation_dB",
    "averages",
    "best",
    "by",
    "capacity_uncertainty",
    "centre_ratio",
    "change_dB",
    "chi_squared",
    "cold_accommodation",
    "cold_emissivity",
    "confidence",
    "contraction",
    "count",
    "dielectric_ratio",
    "duty",
    "edge_friction",
    "emissivity",
    "exchange_factor",
    "exponent",
    "factor",
    "force_exponent",
    "heat_capacity_ratio",
    "high",
    "hot_accommodation",
    "hot_emissivity",
    "layer_friction",
    "layers",
    "limit_sigmas",
    "log_weight",
    "low",
    "nut_factor",
    "poisson",
    "probability",
    "relative_uncertainty",
    "safety_factor",
    "sample_share",
    "seams",
    "share",
    "shield_emissivity",
    "shields",
    "sign",
    "slack_sigmas",
    "slope",
    "slope_probability",
    "slope_uncertainty",
    "temperature_exponent",
    "tolerance",
    "transmission",
    "view",
    "weight",
    "width",
    "worst_ratio",
}
# Functions whose answer is a number without a unit.
DIMENSIONLESS_RESULTS = {
    "accommodation",
    "blackbody_fraction",
    "carnot_share",
    "combined_accommodation",
    "degrees_of_freedom",
    "disc_view_factor",
    "emissivity",
    "fraction_not_taken",
    "grey_exchange_factor",
    "knudsen_number",
    "nut_factor",
    "shield_exchange_factor",
    "weight_for_gap",
}
# Numbers in the unit of what they are given, or in the one that stands beside them.
UNIT_AS_GIVEN = {
    "above",
    "average",
    "below",
    "computed",
    "density",
    "event",
    "limit",
    "lower",
    "published",
    "rms",
    "rms_between",
    "scale",
    "sigma",
    "size",
    "target",
    "together",
    "upper",
    "value",
    "values",
}


def suffix_in(name: str) -> str:
    """The unit at the end of a name; empty when it has none."""
    return next((suffix for suffix in SUFFIXES if name.endswith(f"_{suffix}") or name == suffix), "")


def is_number(annotation: object) -> bool:
    """Whether an annotation is of a number or an array of numbers, and nothing that holds them by name."""
    text = annotation if isinstance(annotation, str) else str(annotation).replace("server.physics", "")
    return bool(NUMBERS.search(text)) and not re.search(
        r"Mapping|dict|Sequence|Callable|tuple|Iterable", text
    )


def faults_of_function(name: str, function: Callable[..., Any]) -> list[str]:
    """What is missing or wrong in the docstring of one public function."""
    found = sections(function.__doc__ or "")
    signature = inspect.signature(function)
    numbers = {p.name for p in signature.parameters.values() if is_number(p.annotation)}
    faults = [] if (found[""] or [""])[0].endswith(".") else ["its first line is no sentence"]
    parameters = {told.name: told for told in described(found.get("Parameters", []))}
    if sorted(parameters) != sorted(signature.parameters):
        faults.append(f"Parameters {list(parameters)} are not {list(signature.parameters)}")
    for name_of_number in numbers & set(parameters):
        told = parameters[name_of_number]
        if not told.is_number or told.suffix != suffix_in(name_of_number):
            faults.append(f"{name_of_number} is described with the unit '{told.suffix}'")
    if is_number(signature.return_annotation) and name not in UNIT_AS_GIVEN:
        returned = described(found.get("Returns", []))
        if not any(told.is_number and told.suffix == suffix_in(name) for told in returned):
            faults.append(f"Returns has the units {[told.suffix for told in returned]}")
    measured = bool(numbers) or is_number(signature.return_annotation)
    needed = ["Returns", "Examples"]
    needed += ["Raises"] if any(p.default is p.empty for p in signature.parameters.values()) else []
    needed += ["References"] if measured else []
    faults += [f"there is no section {section}" for section in needed if section not in found]
    if ">>>" not in "\n".join(found.get("Examples", [])):
        faults.append("Examples holds no example")
    return faults


def faults_of_names(owner: str, names: dict[str, object], result: tuple[str, object] | None) -> list[str]:
    """Numbers whose name ends in no unit and is on no list."""
    faults = [
        f"{owner}: {name}"
        for name, annotation in names.items()
        if is_number(annotation) and not suffix_in(name) and name not in DIMENSIONLESS | UNIT_AS_GIVEN
    ]
    unitless = DIMENSIONLESS_RESULTS | UNIT_AS_GIVEN
    if result and is_number(result[1]) and not suffix_in(result[0]) and result[0] not in unitless:
        faults.append(f"{owner}: the result of {result[0]}")
    return faults


def modules() -> Iterator[ModuleType]:
    for info in pkgutil.walk_packages(server.physics.__path__, "server.physics."):
        yield importlib.import_module(info.name)


def public_functions() -> dict[str, Callable[..., Any]]:
    found: dict[str, Callable[..., Any]] = {}
    for face in FACES:
        module = importlib.import_module(f"server.physics.{face}")
        for name in module.__all__:
            value = getattr(module, name)
            if inspect.isfunction(value):
                found[name] = value
    return found


FUNCTIONS = public_functions()


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_a_public_function_says_what_it_takes_gives_and_refuses(name: str) -> None:
    assert faults_of_function(name, FUNCTIONS[name]) == []


def test_every_number_has_its_unit_in_its_name() -> None:
    faults = []
    for module in modules():
        for name, value in vars(module).items():
            if name.startswith("_") or getattr(value, "__module__", None) != module.__name__:
                continue
            if dataclasses.is_dataclass(value) and isinstance(value, type):
                fields = {field.name: field.type for field in dataclasses.fields(value)}
                faults += faults_of_names(f"{module.__name__}.{name}", dict(fields), None)
            elif inspect.isfunction(value) and name in FUNCTIONS:
                signature = inspect.signature(value)
                parameters = {p.name: p.annotation for p in signature.parameters.values()}
                result = (name, signature.return_annotation)
                faults += faults_of_names(f"{module.__name__}.{name}", parameters, result)
    assert faults == []


def test_every_entry_of_the_lists_is_used() -> None:
    text = "\n".join(inspect.getsource(module) for module in modules())
    unused = [n for n in DIMENSIONLESS | DIMENSIONLESS_RESULTS if not re.search(rf"\b{n}\b", text)]
    assert unused == []


# ------------------------------------------------------------------ the check itself, seen to find each fault


def _sound_W(length_m: float, share: float) -> float:
    """Say what it is.

    Parameters
    ----------
    length_m : float
        A length [m].
    share : float
        A share [1].

    Returns
    -------
    float
        A power [W].

    Raises
    ------
    Unphysical
        Never.

    Examples
    --------
    >>> 1 + 1
    2

    References
    ----------
    None.
    """
    return length_m * share


def test_the_check_passes_what_is_sound() -> None:
    assert faults_of_function("_sound_W", _sound_W) == []


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("Say what it is.", "Say what it is", "no sentence"),
        ("A length [m]", "A length [mm]", "length_m is described"),
        ("A length [m]", "A length", "length_m is described"),
        ("A share [1]", "A share [K]", "share is described"),
        ("share : float", "portion : float", "are not"),
        ("A power [W]", "A power [K]", "Returns has the units"),
        ("Raises\n    ------", "Rises\n    -----", "no section Raises"),
        ("References\n    ----------", "Sources\n    -------", "no section References"),
        (">>> 1 + 1", "1 + 1", "holds no example"),
    ],
)
def test_the_check_finds_each_fault(old: str, new: str, fault: str) -> None:
    def broken_W(length_m: float, share: float) -> float:
        return length_m * share

    assert _sound_W.__doc__ is not None
    assert old in _sound_W.__doc__
    broken_W.__doc__ = _sound_W.__doc__.replace(old, new)
    assert any(fault in found for found in faults_of_function("broken_W", broken_W))


def test_the_check_finds_a_number_without_a_unit() -> None:
    assert faults_of_names("here", {"length": "float"}, None) == ["here: length"]
    assert faults_of_names("here", {"length_m": "float", "share": "Band"}, ("heat_W", "float")) == []
    assert faults_of_names("here", {}, ("heat", "Band")) == ["here: the result of heat"]
