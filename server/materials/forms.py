"""The form of an own material, read once."""

from dataclasses import dataclass

from server.errors import Refused
from server.files.uploads import Sent
from server.materials import columns
from server.materials.rules import Own, Points, name_fault, text_faults, uncertainty_fault
from server.units import BadNumber, parse_quantity
from server.web import tabular
from server.web.forms import Form

NOT_STORED = "The material was not stored."


@dataclass(frozen=True)
class Typed:
    """What somebody typed, as the page shows it again. A file's text takes the place of the pasted one."""

    name: str = ""
    table: str = ""
    source: str = ""
    relative_uncertainty: str = ""
    note: str = ""
    reason: str = ""
    unread: str = ""
    """What is wrong with the file, when it is no text at all."""


def typed(sent: Sent) -> Typed:
    """The texts of the form."""
    files = sent.under("file")
    form: Form = sent.form
    table, unread = form.text("table"), ""
    if files:
        try:
            table = tabular.decoded(files[0].content)
        except tabular.Unreadable as problem:
            unread = columns.told(problem)
    return Typed(
        name=form.text("name"),
        table=table,
        source=form.text("source"),
        relative_uncertainty=form.text("relative_uncertainty"),
        note=form.text("note"),
        reason=form.text("reason"),
        unread=unread,
    )


def read_new(texts: Typed) -> Own:
    """A new material; Refused with every field to mend."""
    fault = name_fault(texts.name)
    return _read(texts, texts.name, {"name": fault} if fault else {})


def read_correction(texts: Typed, name: str) -> Own:
    """The next version of a material; Refused with every field to mend."""
    why = {} if texts.reason else {"reason": "Enter the reason for the correction"}
    return _read(texts, name, why)


def _read(texts: Typed, name: str, faults: dict[str, str]) -> Own:
    faults = faults | text_faults(texts.source, texts.note, texts.reason)
    points = _points(texts, faults)
    relative = _uncertainty(texts.relative_uncertainty, faults)
    if faults or points is None:
        raise Refused(NOT_STORED, faults)
    return Own(name, points, texts.source, relative, texts.note)


def _points(texts: Typed, faults: dict[str, str]) -> Points | None:
    if texts.unread:
        faults["table"] = texts.unread
        return None
    try:
        return columns.read(texts.table)
    except columns.BadTable as bad:
        faults["table"] = str(bad)
        return None


def _uncertainty(text: str, faults: dict[str, str]) -> float:
    try:
        value = parse_quantity(text, "", "%")
    except BadNumber:
        value = None
    relative = value if isinstance(value, float) else 0.0
    fault = uncertainty_fault(relative)
    if fault:
        faults["relative_uncertainty"] = fault
    return relative
