"""The one table of element kinds: what forms, the document and its schema are made from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from server.physics.materials import awg_diameter_m
from server.physics.statistics import Band
from server.physics.thermal import elements, fields, runs


@dataclass(frozen=True)
class KindInfo:
    """One kind of element.

    Attributes
    ----------
    kind : str
        Its name in a document.
    label : str
        Its name on a page.
    dataclass : type
        What an entry becomes.
    fields : tuple of str
        The fields a form shows, in order; `key` and `kind` are not among them.
    entered_by : str
        ``"house"`` for what the steward enters once, ``"user"`` for what anybody may.
    describes : str
        One sentence on what belongs here.
    own : mapping
        Field → metadata in which this kind differs from the dataclass.
    """

    kind: str
    label: str
    dataclass: type
    fields: tuple[str, ...]
    entered_by: str
    describes: str
    own: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def about(self, name: str) -> Mapping[str, Any]:
        """Metadata of one field (see `fields`), as this kind has it."""
        return {**fields.described(self.dataclass)[name], **self.own.get(name, {})}

    def default(self, name: str) -> Any:
        """What stands in a field when nobody answers."""
        return self.about(name)["default"]


WIRE = ("material", "diameter_m", "count", "lengths_m", "lags", "ends_on", "current_A")
RIBBON = (
    "material",
    "width_m",
    "thickness_m",
    "traces",
    "ground_plane",
    "backing_width_m",
    "count",
    "lengths_m",
    "lags",
    "ends_on",
    "current_A",
    "backing",
    "backing_thickness_m",
)
COAX = (
    "diameter_m",
    "material",
    "centre_material",
    "count",
    "lengths_m",
    "lags",
    "ends_on",
    "attenuators",
    "rf_power_W",
    "current_A",
    "dielectric",
    "dielectric_ratio",
    "centre_ratio",
)


def _own(cls: type) -> tuple[str, ...]:
    """All fields of a dataclass that belongs to one kind alone."""
    return tuple(fields.described(cls))


_TABLE = (
    KindInfo("wire", "Wires", runs.Run, WIRE, "user", "Single wires, twisted pairs, looms."),
    KindInfo(
        "ribbon",
        "Flat ribbon",
        runs.Run,
        RIBBON,
        "user",
        "Flat flex with its traces, its ground plane and its backing.",
        own={"count": {"label": "How many ribbons"}, "current_A": {"label": "Current in each trace"}},
    ),
    KindInfo(
        "coax",
        "Coax",
        runs.Run,
        COAX,
        "user",
        "Coaxial lines: jacket, dielectric and centre, all three of which carry heat.",
        own={
            "diameter_m": {
                "label": "Outer diameter",
                "hint": "Over the jacket.",
                "typed_in": "mm",
                "default": 2.2e-3,
                "unknown": Band(0.8e-3, None, 3.6e-3),
            },
            "material": {"label": "Jacket metal"},
            "current_A": {"label": "Current in the centre"},
        },
    ),
    KindInfo(
        "heater-leads",
        "Heater leads",
        runs.Run,
        WIRE,
        "user",
        "Leads of a heater: copper here is the classic mistake.",
        own={"count": {"default": 2}, "diameter_m": {"default": awg_diameter_m(32)}},
    ),
    KindInfo(
        "thermometer-leads",
        "Thermometer leads",
        runs.Run,
        WIRE,
        "house",
        "Leads of a thermometer, four for each sensor.",
        own={"count": {"default": 4}},
    ),
    KindInfo(
        "support", "Support", elements.Support, _own(elements.Support), "house", "Posts, tubes and struts."
    ),
    KindInfo(
        "lid", "Shield lid", elements.Lid, _own(elements.Lid), "user", "The lid of the radiation shield."
    ),
    KindInfo(
        "window",
        "Shield window or blank",
        elements.Window,
        _own(elements.Window),
        "user",
        "One port of the shield, with its glass, its blank, or nothing in it.",
    ),
    KindInfo(
        "hole",
        "Open hole",
        elements.Hole,
        _own(elements.Hole),
        "user",
        "A hole, slot or wire port with nothing in it.",
    ),
    KindInfo(
        "surface",
        "Facing surfaces",
        elements.Surface,
        _own(elements.Surface),
        "house",
        "Two stages that radiate to each other all over.",
    ),
    KindInfo(
        "source", "Heat source", elements.Source, _own(elements.Source), "user", "Anything that makes heat."
    ),
    KindInfo(
        "joint",
        "Joint of the mount",
        elements.Joint,
        _own(elements.Joint),
        "user",
        "What carries the heat of the mount or the sample down to the next stage.",
    ),
    KindInfo(
        "mass",
        "Added mass",
        elements.Mass,
        _own(elements.Mass),
        "user",
        "Mass that has to be cooled as well.",
    ),
    KindInfo(
        "touch",
        "Suspected touch",
        elements.Touch,
        _own(elements.Touch),
        "user",
        "A contact that should not be there.",
    ),
    KindInfo("gas", "Residual gas", elements.Gas, _own(elements.Gas), "house", "Gas left in the vacuum."),
)

KINDS: Mapping[str, KindInfo] = {info.kind: info for info in _TABLE}
"""Every kind by its name, in the order of a menu."""
