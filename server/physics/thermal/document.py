"""The document ``{"cryostat": …, "elements": […]}``: JSON to dataclasses and back, nothing lost."""

from collections.abc import Mapping, Sequence
from typing import Any

from server.physics.errors import Unphysical
from server.physics.materials import Material
from server.physics.thermal import cooler, fields, results, writing
from server.physics.thermal.elements import Element
from server.physics.thermal.kinds import KINDS, KindInfo
from server.physics.thermal.reading import (
    BOOK_FIELDS,
    LONGEST_KEY,
    MOST_ELEMENTS,
    BadDocument,
    Faults,
    read_fields,
    read_row,
    unknown_names,
    with_own,
)
from server.physics.thermal.schema import schema
from server.physics.thermal.writing import COOLERS, write_budget, write_cryostat, write_element

Own = Mapping[str, Material]
"""A laboratory's own materials by name; they count before those every program knows."""

__all__ = [
    "MOST_ELEMENTS",
    "BadDocument",
    "Own",
    "read",
    "read_budget",
    "read_cryostat",
    "read_element",
    "read_elements",
    "schema",
    "write",
    "write_budget",
    "write_cryostat",
    "write_element",
]


def read(document: Any, own: Own | None = None) -> tuple[cooler.Cryostat, tuple[Element, ...]]:
    """A cryostat and its elements.

    Parameters
    ----------
    document : mapping
        ``{"cryostat": …, "elements": […]}`` as JSON gives it.
    own : mapping of str to Material, optional
        Materials it may name besides those every program knows.

    Returns
    -------
    (Cryostat, tuple of elements)

    Raises
    ------
    BadDocument
        With the path and a sentence for every field that cannot be read.
    """
    if not isinstance(document, dict):
        raise BadDocument({"": "A document is an object with a cryostat and a list of elements."})
    faults = unknown_names(document, {"cryostat", "elements"}, "")
    cryostat, wrong = _cryostat(document.get("cryostat"), "cryostat", own)
    elements, also = _elements(document.get("elements", []), "elements", own)
    faults |= wrong | also
    if faults or cryostat is None:
        raise BadDocument(faults)
    return cryostat, elements


def read_cryostat(entry: Any, path: str = "cryostat", own: Own | None = None) -> cooler.Cryostat:
    """A cryostat from its entry; its bare reference may name materials of `own`.

    Raises
    ------
    BadDocument
        With the path and a sentence for every field that cannot be read.
    """
    cryostat, faults = _cryostat(entry, path, own)
    if faults or cryostat is None:
        raise BadDocument(faults)
    return cryostat


def read_element(entry: Any, path: str = "", own: Own | None = None) -> Element:
    """One element from its entry; an absent field is the default of its kind. It may name materials of `own`.

    Raises
    ------
    BadDocument
        With the path and a sentence for every field that cannot be read.
    """
    element, faults = _element(entry, path, own)
    if faults or element is None:
        raise BadDocument(faults)
    return element


def read_elements(entries: Any, path: str = "elements", own: Own | None = None) -> tuple[Element, ...]:
    """All elements of a configuration, no key twice. They may name materials of `own`.

    Raises
    ------
    BadDocument
        With the path and a sentence for every field that cannot be read.
    """
    elements, faults = _elements(entries, path, own)
    if faults:
        raise BadDocument(faults)
    return elements


def write(cryostat: cooler.Cryostat, elements: Sequence[Element]) -> dict[str, Any]:
    """The document of a cryostat and its elements. What is at its default is left out."""
    return {"cryostat": write_cryostat(cryostat), "elements": [write_element(one) for one in elements]}


def read_budget(entry: Mapping[str, Any]) -> results.Budget:
    """A budget as `write_budget` wrote it.

    Raises
    ------
    BadDocument
        When it is something else.
    """
    try:
        return writing.read_budget(entry)
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise BadDocument({"": f"This is no stored budget ({problem})."}) from problem


def _elements(entries: Any, path: str, own: Own | None) -> tuple[tuple[Element, ...], Faults]:
    if not isinstance(entries, list):
        return (), {path: "Elements are written as a list."}
    if len(entries) > MOST_ELEMENTS:
        return (), {path: f"At most {MOST_ELEMENTS} elements, not {len(entries)}."}
    found: list[Element] = []
    keys: set[str] = set()
    faults: Faults = {}
    for number, entry in enumerate(entries):
        here = f"{path}[{number}]"
        element, wrong = _element(entry, here, own)
        faults |= wrong
        if element is None:
            continue
        if element.key in keys:
            faults[f"{here}.key"] = f"The key '{element.key}' is there twice."
        keys.add(element.key)
        found.append(element)
    return tuple(found), faults


def _element(entry: Any, path: str, own: Own | None) -> tuple[Element | None, Faults]:
    dot = f"{path}." if path else ""
    if not isinstance(entry, dict):
        return None, {path: "An element is an object with key and kind."}
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        return None, {f"{dot}kind": f"Kind must be one of {', '.join(KINDS)}."}
    info = KINDS[kind]
    about = {name: info.about(name) for name in fields.described(info.dataclass)}
    found, faults = read_fields(entry, with_own(about, own or {}), path)
    faults |= unknown_names(entry, {"key", "kind", *BOOK_FIELDS, *about}, path)
    key = entry.get("key")
    if not isinstance(key, str) or not key.strip() or len(key) > LONGEST_KEY or not key.isprintable():
        faults[f"{dot}key"] = f"Give the element a key of 1 to {LONGEST_KEY} characters."
    return (None, faults) if faults else (_made(info, str(key), found), {})


def _made(info: KindInfo, key: str, found: Mapping[str, Any]) -> Element:
    kind = (
        {"kind": info.kind} if len([i for i in KINDS.values() if i.dataclass is info.dataclass]) > 1 else {}
    )
    element: Element = info.dataclass(key=key, **kind, **found)
    return element


def _cryostat(entry: Any, path: str, own: Own | None) -> tuple[cooler.Cryostat | None, Faults]:
    if not isinstance(entry, dict):
        return None, {path: "A cryostat is an object with stages and a cooler."}
    about = fields.described(cooler.Cryostat)
    found, faults = read_fields(entry, about, path)
    faults |= unknown_names(entry, {"stages", "cooler", "bare", *about}, path)
    machine, wrong = _cooler(entry.get("cooler"), f"{path}.cooler")
    bare, also = _bare(entry.get("bare", {}), f"{path}.bare", own)
    faults |= wrong | also
    stages = entry.get("stages", list(fields.STAGES))
    if not isinstance(stages, list) or not all(isinstance(stage, str) for stage in stages):
        faults[f"{path}.stages"] = "Stages are written as a list of names."
    if faults:
        return None, faults
    try:
        return cooler.Cryostat(stages=tuple(stages), cooler=machine, bare=bare, **found), {}
    except Unphysical as problem:
        return None, {f"{path}.stages": str(problem)}


def _cooler(entry: Any, path: str) -> tuple[Any, Faults]:
    kind = entry.get("kind") if isinstance(entry, dict) else None
    if not isinstance(kind, str) or kind not in COOLERS:
        return None, {f"{path}.kind": f"A cooler is one of {', '.join(COOLERS)}."}
    machine, faults = read_row(COOLERS[kind], entry, path, tag="kind")
    if machine is not None:
        faults |= {f"{path}.{name}": fault for name, fault in cooler.faults(machine).items()}
    return machine, faults


def _bare(entry: Any, path: str, own: Own | None) -> tuple[Any, Faults]:
    if not isinstance(entry, dict):
        return None, {path: "A bare reference has elements and temperatures."}
    about = fields.described(cooler.Bare)
    found, faults = read_fields(entry, about, path)
    faults |= unknown_names(entry, {"elements", *about}, path)
    elements, wrong = _elements(entry.get("elements", []), f"{path}.elements", own)
    faults |= wrong
    return (None if faults else cooler.Bare(elements=elements, **found)), faults
