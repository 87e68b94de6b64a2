"""The form of one element, made from its dataclass: what a person sees, measures or reads off a reel.

What was typed is read into SI once, in `reading`; what is stored is shown in the trade's units by `typed` and
`facts`. An empty field is left out of the document and then means the default.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from server.cryostats.models import Cryostat
from server.physics import thermal
from server.physics.statistics import Quantity
from server.physics.thermal.fields import described
from server.units import CURVED, show, show_band, unit_named

Meta = Mapping[str, Any]
UNKNOWN = "unknown"
OFTEN = ("phosphor-bronze", "manganin", "constantan", "stainless-304", "cupro-nickel-70-30", "copper-rrr-100")
ATTENUATORS = 2
MOST_ATTENUATORS = 100
STAGES = frozenset(thermal.STAGES)
STATE_FIELDS = ("state", "covered")
AS_SHOWN = "as-shown."
"""Before the name of a field: the default that was chosen on its behalf when nobody had answered it yet."""

NO_CONDUCTORS = ("composite", "crystal", "foam", "glass", "polymer", "polymer fibre")
Choices = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class FieldView:
    """One question. `control` is quantity, text, select or segmented; `name` is the form's.

    `as_shown` is the default a choice stands at while nobody answered; sent back as it is, it stays absent.
    """

    name: str
    label: str
    control: str
    value: str = ""
    unit: str = ""
    hint: str = ""
    default: str | None = None
    choices: tuple[tuple[str, str], ...] = ()
    groups: tuple[tuple[str, Choices], ...] = ()
    as_shown: str = ""
    as_shown_name: str = ""


@dataclass(frozen=True)
class CrossingView:
    """One stretch of a run: its length, and the lag at its cold end."""

    words: str
    cells: tuple[FieldView | None, ...]


@dataclass(frozen=True)
class ElementForm:
    """All questions of one element."""

    states: tuple[FieldView, ...]
    plain: tuple[FieldView, ...]
    folded: tuple[FieldView, ...]
    crossings: tuple[CrossingView, ...]


def known(kind: str) -> bool:
    """True for a kind there is."""
    return kind in thermal.KINDS


def kinds(steward: bool) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """The kinds to choose from, those that deserve attention first, house kinds for the steward only."""
    rows = [(info.entered_by, kind, info.label) for kind, info in thermal.KINDS.items()]
    users = tuple((kind, label) for enters, kind, label in rows if enters == "user")
    house = tuple((kind, label) for enters, kind, label in rows if enters == "house")
    return (("Wires, joints, light, what touches", users), *((("Of the house", house),) if steward else ()))


def key_from(label: str) -> str:
    """A key made from what people call it."""
    return re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:40].rstrip("-")


def metas(kind: str) -> dict[str, Meta]:
    """The fields of a kind with what describes them, in the order of the form."""
    info = thermal.KINDS[kind]
    return {name: info.about(name) for name in info.fields}


def crossings(cryostat: Cryostat) -> list[tuple[str, str]]:
    """Neighbouring stages, from the vessel inwards."""
    return list(pairwise(cryostat.stages))


def long_crossings(typed_texts: Mapping[str, str], cryostat: Cryostat) -> list[tuple[str, str]]:
    """Other stretches a length is given for, such as one from the vessel to the platform in one piece."""
    names = [name.removeprefix("lengths_m.") for name, text in typed_texts.items() if text]
    pairs = [(hot, cold) for hot, _, cold in (name.partition("-") for name in names) if {hot, cold} <= STAGES]
    return [pair for pair in pairs if pair not in crossings(cryostat)]


def attenuator_numbers(typed_texts: Mapping[str, str]) -> range:
    """Lines for attenuators: those that are filled, and never fewer than two."""
    found = [name.split(".")[1] for name in typed_texts if name.startswith("attenuators.")]
    filled = [int(number) + 1 for number in found if number.isdecimal() and int(number) < MOST_ATTENUATORS]
    return range(max([ATTENUATORS, *filled]))


def fields(
    kind: str, typed_texts: Mapping[str, str], cryostat: Cryostat, own: Sequence[str] = ()
) -> ElementForm:
    """The questions of a kind, with what was typed so far; `own` are the laboratory's own materials."""
    shown = [
        (name, meta, _field(name, meta, typed_texts, cryostat, own))
        for name, meta in metas(kind).items()
        if meta["type"] not in ("lengths", "rows")
    ]
    runs = any(meta["type"] == "lengths" for meta in metas(kind).values())
    folded = [view for _, meta, view in shown if meta["advanced"]]
    if "attenuators" in metas(kind):
        folded += _attenuators(typed_texts, cryostat)
    return ElementForm(
        states=tuple(view for name, _, view in shown if name in STATE_FIELDS),
        plain=tuple(view for name, meta, view in shown if name not in STATE_FIELDS and not meta["advanced"]),
        folded=tuple(folded),
        crossings=_crossings(typed_texts, cryostat) if runs else (),
    )


def _field(
    name: str, meta: Meta, typed_texts: Mapping[str, str], cryostat: Cryostat, own: Sequence[str]
) -> FieldView:
    value, as_shown = typed_texts.get(name, ""), typed_texts.get(AS_SHOWN + name, "")
    control = _control(name, meta)
    groups = _materials(value, own) if meta["type"] == "material" else ()
    choices = ((UNKNOWN, "unknown"),) if groups else _choices(meta, cryostat)
    if control in ("select", "segmented") and not value:
        value = as_shown = UNKNOWN if meta["default"] is None else str(meta["default"])
    return FieldView(
        name=f"e.{name}",
        label=meta["label"],
        control=control,
        value=value,
        unit=_unit(meta),
        hint=meta["hint"],
        default=default_text(meta) if control == "quantity" else None,
        choices=choices,
        groups=groups,
        as_shown=as_shown,
        as_shown_name=f"e.{AS_SHOWN}{name}",
    )


def _control(name: str, meta: Meta) -> str:
    if meta["type"] in ("quantity", "count"):
        return "quantity"
    if name in STATE_FIELDS or (meta["type"] == "choice" and len(meta["choices"]) <= 3):
        return "segmented"
    return "select" if meta["type"] in ("choice", "stage", "material") else "text"


def _choices(meta: Meta, cryostat: Cryostat) -> Choices:
    if meta["type"] == "stage":
        return tuple((stage, stage) for stage in meta["choices"] if stage in cryostat.stages)
    if meta["type"] != "choice":
        return ()
    return tuple((word, word.replace("-", " ")) for word in meta["choices"])


def _materials(value: str, own: Sequence[str]) -> tuple[tuple[str, Choices], ...]:
    """What is asked for often, what the laboratory measured itself, other conductors, and the rest."""
    rest = sorted(set(thermal.materials()) - {*OFTEN, *own})
    conductors = [name for name in rest if thermal.material(name).kind not in NO_CONDUCTORS]
    others = [name for name in rest if name not in conductors]
    if value and value not in (*OFTEN, *own, *rest) and value != UNKNOWN:
        others.append(value)
    named = (
        ("Often in wires", OFTEN),
        ("Measured here", own),
        ("Other metals", conductors),
        ("No conductors, and others", others),
    )
    return tuple((words, tuple((name, name) for name in names)) for words, names in named if names)


def _unit(meta: Meta) -> str:
    if meta["type"] != "quantity" or meta["typed_in"] is None:
        return ""
    return unit_named(meta["typed_in"]).shown


def default_text(meta: Meta) -> str:
    """What an empty field means, in the unit of the form."""
    default = meta["default"]
    if default is None:
        return "unknown"
    if meta["type"] == "quantity":
        return quantity_text(default, meta)
    return str(default).replace("-", " ")


def quantity_text(value: Quantity, meta: Meta) -> str:
    """A stored quantity in the unit people type."""
    unit = meta["typed_in"] or ""
    if value is None:
        return "unknown"
    return show(value, unit) if unit in CURVED else show_band(value, unit)


def _crossings(typed_texts: Mapping[str, str], cryostat: Cryostat) -> tuple[CrossingView, ...]:
    neighbours = [_crossing(*pair, typed_texts) for pair in crossings(cryostat)]
    others = [_crossing(*pair, typed_texts) for pair in long_crossings(typed_texts, cryostat)]
    # The lag at the cold end is asked for in the row of the neighbours already.
    return (*neighbours, *(CrossingView(row.words, (row.cells[0], None, None, None)) for row in others))


def _crossing(hot: str, cold: str, typed_texts: Mapping[str, str]) -> CrossingView:
    about = described(thermal.Lag)

    def cell(name: str, label: str, choices: Iterable[tuple[str, str]] = (), unit: str = "") -> FieldView:
        value, offered = typed_texts.get(name, ""), tuple(choices)
        as_shown = typed_texts.get(AS_SHOWN + name, "")
        if offered and not value:
            as_shown = offered[0][0]
        return FieldView(
            f"e.{name}",
            label,
            "cell",
            value,
            unit,
            choices=offered,
            as_shown=as_shown,
            as_shown_name=f"e.{AS_SHOWN}{name}",
        )

    states = (("", "passes by"), *((word, word.replace("-", " ")) for word in about["state"]["choices"]))
    fillers = tuple((word, word.replace("-", " ")) for word in ("unknown", *about["filler"]["choices"]))
    sides = tuple((word, word.replace("-", " ")) for word in about["held"]["choices"])
    return CrossingView(
        words=f"{hot} to {cold}",
        cells=(
            cell(f"lengths_m.{hot}-{cold}", "Length", unit="mm"),
            cell(f"lags.{cold}.state", "Lag", states),
            cell(f"lags.{cold}.length_m", "Length under the clamp", unit="mm"),
            cell(f"lags.{cold}.filler", "Filler", dict.fromkeys(fillers)),
            cell(f"lags.{cold}.held", "Held from", sides),
        ),
    )


def _attenuators(typed_texts: Mapping[str, str], cryostat: Cryostat) -> list[FieldView]:
    stages = (("", "none"), *((stage, stage) for stage in cryostat.stages[1:]))
    views = []
    for number in attenuator_numbers(typed_texts):
        at, loss = f"attenuators.{number}.stage", f"attenuators.{number}.attenuation_dB"
        label = f"Attenuator or termination {number + 1}"
        views.append(
            FieldView(f"e.{at}", f"{label}: where", "select", typed_texts.get(at, ""), choices=stages)
        )
        views.append(
            FieldView(f"e.{loss}", f"{label}: attenuation in dB", "quantity", typed_texts.get(loss, ""))
        )
    return views
