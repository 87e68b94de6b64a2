"""The change in hand: everything the change page holds between two requests, carried by the form itself.

Nothing is stored before the change is logged, so the page works without JavaScript, survives a stale base,
and two open tabs do not meet. The elements already put aside travel as JSON in one hidden field; the element
being edited travels as the fields of its kind, prefixed `e.`.
"""

import json
import re
from collections.abc import Container, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from server.cryostats import budget, forms, reading, rules
from server.cryostats.documents import put_of, written
from server.cryostats.merging import Merged, merge
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change, Put
from server.cryostats.typed import typed
from server.errors import Refused
from server.physics.thermal import document
from server.web.forms import WHOLE, Form

LONGEST_HELD = 1_500_000
ROW = re.compile(r"(lags|attenuators)\[(\d+)\]\.(\w+)")


@dataclass(frozen=True)
class Edited:
    """The element in the editor: what was typed, and what it reads as where it can be read."""

    kind: str
    key: str
    label: str = ""
    note: str = ""
    house: bool = False
    part: str = ""
    typed: dict[str, str] = field(default_factory=dict)
    was_key: str = ""
    """The key it had when it was opened, which stays; empty for a new one."""


@dataclass(frozen=True)
class InHand:
    """The whole state of the change page."""

    base_revision: int
    reason: str = ""
    done_at_text: str = ""
    done_at: datetime | None = None
    put: tuple[Put, ...] = ()
    remove: tuple[str, ...] = ()
    edited: Edited | None = None
    faults: dict[str, str] = field(default_factory=dict)
    typing: bool = False
    """True while the element in the editor is being typed; what it lacks is then not told yet."""

    @property
    def held(self) -> str:
        """What is put aside, for the hidden field."""
        return json.dumps({"put": [written(put) for put in self.put], "remove": list(self.remove)})


def read(form: Form, zone: str) -> InHand:
    """The change page as it was sent. What cannot be read is in `faults`, never lost."""
    faults: dict[str, str] = {}
    put, remove = _held(form.text("held"), faults)
    done_at = None
    try:
        done_at = form.moment("done_at", zone)
    except Refused as refused:
        faults |= refused.fields
    base = form.text("base_revision")
    if not WHOLE.fullmatch(base):
        faults["base_revision"] = "The page does not say on which revision it was begun; open it again"
    return InHand(
        base_revision=int(base) if WHOLE.fullmatch(base) else -1,
        reason=form.text("reason"),
        done_at_text=form.text("done_at"),
        done_at=done_at,
        put=put,
        remove=remove,
        edited=_edited(form),
        faults=faults,
    )


def _held(text: str, faults: dict[str, str]) -> tuple[tuple[Put, ...], tuple[str, ...]]:
    if not text:
        return (), ()
    try:
        held = json.loads(text[:LONGEST_HELD])
        json.dumps(held, ensure_ascii=False).encode()
        rows = [put_of(row, f"put.{number}") for number, row in enumerate(held["put"])]
        return tuple(put for put, _ in rows), tuple(str(key) for key in held["remove"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        faults["held"] = "What was put aside could not be read; begin the change again"
        return (), ()


def _edited(form: Form) -> Edited | None:
    kind = form.text("kind")
    if not forms.known(kind):
        return None
    label = form.text("label")
    return Edited(
        kind=kind,
        key=form.text("was_key") or form.text("key") or forms.key_from(label),
        label=label,
        note=form.text("note"),
        house=form.has("house"),
        part=form.text("part"),
        typed=dict(form.under("e.")),
        was_key=form.text("was_key"),
    )


def editing(in_hand: InHand, put: Put) -> InHand:
    """The page with `put` opened in the editor."""
    edited = Edited(
        kind=put.kind,
        key=put.key,
        label=put.label,
        note=put.note,
        house=put.house,
        part=put.part,
        typed=typed(put.kind, put.data) if forms.known(put.kind) else {},
        was_key=put.key,
    )
    return replace(in_hand, edited=edited)


def with_editor_put(
    in_hand: InHand, cryostat: Cryostat, present: Container[str]
) -> tuple[InHand, Put | None]:
    """Read the editor; the page with its element put aside, or with the faults of its fields.

    `present` are the keys inside now: a new element under one of them would quietly alter another.
    """
    edited = in_hand.edited
    if edited is None:
        return in_hand, None
    data, faults = reading.read(edited.kind, edited.typed, cryostat)
    put = Put(edited.key, edited.kind, data, edited.label, edited.note, edited.house, edited.part)
    rest = tuple(row for row in in_hand.put if row.key != put.key)
    named = {f"e.{name}": text for name, text in faults.items()}
    if not edited.key:
        named["label"] = "Enter what people call it"
    elif not edited.was_key and (edited.key in present or any(row.key == edited.key for row in in_hand.put)):
        named["key"] = f"There is “{edited.key}” already; choose another key, or alter that one"
    return replace(in_hand, put=(*rest, put), faults=in_hand.faults | named), put


def merged(
    in_hand: InHand, cryostat: Cryostat, base: Mapping[str, Put], present: Mapping[str, Put]
) -> tuple[InHand, tuple[Merged, ...]]:
    """The page on top of what others logged meanwhile: fields nobody touched here are as they are inside now.

    `base` is what the change was drawn on. An element in the editor that cannot be read yet stays as typed.
    """
    rows = {put.key: merge(base.get(put.key), present.get(put.key), put) for put in in_hand.put}
    after = replace(in_hand, put=tuple(row.put for row in rows.values()))
    full, edited = with_editor_put(in_hand, cryostat, present)
    if edited is not None and not full.faults:
        rows[edited.key] = merge(base.get(edited.key), present.get(edited.key), edited)
        if rows[edited.key].put != edited:
            after = editing(after, rows[edited.key].put)
    return after, tuple(rows.values())


def change_of(in_hand: InHand) -> Change:
    """The change as the service takes it."""
    return Change(in_hand.reason, in_hand.base_revision, in_hand.put, in_hand.remove, in_hand.done_at)


def field_of(path: str, in_hand: InHand, edited_put: Put | None) -> str:
    """The form field behind a fault's path: `put.2.count` is `e.count` when that element is in the editor."""
    parts = path.split(".", 2)
    if len(parts) < 2 or parts[0] != "put" or not parts[1].isdigit() or edited_put is None:
        return path
    number, rest = int(parts[1]), parts[2] if len(parts) > 2 else ""
    if number >= len(in_hand.put) or in_hand.put[number].key != edited_put.key:
        return path
    return rest if rest in ("key", "label", "note", "kind", "part") else f"e.{_cell(rest, edited_put)}"


def _cell(path: str, put: Put) -> str:
    """`lags[0].length_m` of the document is `lags.shield.length_m` in the form."""
    found = ROW.fullmatch(path)
    if found is None:
        return path
    name, number, rest = found[1], int(found[2]), found[3]
    group = put.data[name][number].get("stage") if name == "lags" else number
    return f"{name}.{group}.{rest}"


def faults_in_editor(put: Put, cryostat: Cryostat, own: document.Own | None) -> dict[str, str]:
    """What the rules and the document refuse of the element in the editor, at the fields of its form."""
    alone = InHand(0, put=(put,))
    found = budget.element_faults((put,), cryostat, own) | rules.book_faults(put, "put.0.")
    found |= rules.key_faults(change_of(alone), {})
    return {field_of(path, alone, put): text for path, text in found.items()}


def beginning(in_hand: InHand, kind: str, cryostat: Cryostat) -> InHand:
    """The page with an empty editor for a new element; a run starts with its first lag not recorded."""
    texts = {}
    if "lags" in forms.metas(kind):
        texts[f"lags.{cryostat.stages[1]}.state"] = "not-recorded"
    return replace(in_hand, edited=Edited(kind=kind, key="", typed=texts))


def stepped(
    do: str,
    what: str,
    in_hand: InHand,
    cryostat: Cryostat,
    present: Mapping[str, Put],
    own: document.Own | None = None,
) -> InHand:
    """The page after a button that stores nothing; `present` is what the change is drawn on.

    `own` are the laboratory's own materials, which the element in the editor may name.
    """
    if do == "close":
        return replace(in_hand, edited=None)
    if do == "drop":
        put = tuple(row for row in in_hand.put if row.key != what)
        return replace(in_hand, put=put, remove=tuple(key for key in in_hand.remove if key != what))
    after, made = with_editor_put(in_hand, cryostat, present)
    faults = after.faults | (faults_in_editor(made, cryostat, own) if made else {})
    if faults:
        return replace(in_hand, faults=faults)
    return _opened(do, what, replace(after, edited=None), cryostat, present)


def _opened(do: str, what: str, in_hand: InHand, cryostat: Cryostat, present: Mapping[str, Put]) -> InHand:
    """The page with the next thing in the editor, once the last is put aside."""
    if do == "kind" and forms.known(what):
        return beginning(in_hand, what, cryostat)
    if do == "take" and what in present and present[what].kind in rules.SHUTTERS:
        do = "alter"
    if do == "take" and what in present and what not in in_hand.remove:
        put = tuple(row for row in in_hand.put if row.key != what)
        return replace(in_hand, put=put, remove=(*in_hand.remove, what))
    held = {row.key: row for row in in_hand.put}
    opened = held.get(what) or (present.get(what) if do == "alter" else None)
    if do not in ("open", "alter") or opened is None:
        return in_hand
    return editing(replace(in_hand, remove=tuple(key for key in in_hand.remove if key != what)), opened)
