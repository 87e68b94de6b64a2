"""A list as a steward types it, read once."""

import re
from collections.abc import Mapping

from server.checklists.lines import NUMBER, TORQUE, Line
from server.cryostats.rules import KEY
from server.units import BadNumber, parse_quantity, show, unit_named
from server.web.forms import Form

CODES = re.compile(r"S[0-9]{2}")
MOST_TYPED = 100
PLAIN = ("text", "why", "record", "unit", "thread", "each")


def read(form: Form) -> tuple[list[Line], dict[str, str]]:
    """The lines in the order of their places, and what cannot be read, `lines.3.low` → what to do.

    A line whose text was emptied is taken off. The faults count the lines as they stand in the answer.
    """
    rows = []
    for number in range(MOST_TYPED):
        fields = form.under(f"lines.{number}.")
        if fields.get("text", "").strip():
            rows.append((_place(fields, number), number, fields, form.all(f"lines.{number}.cautions")))
    rows.sort(key=lambda row: row[:2])
    faults: dict[str, str] = {}
    keys = {row[2].get("key", "") for row in rows}
    lines = [_line(place, fields, codes, keys, faults) for place, (_, _, fields, codes) in enumerate(rows)]
    return lines, faults


def _place(fields: Mapping[str, str], number: int) -> float:
    typed = fields.get("place", "")
    return float(typed) if re.fullmatch(r"[0-9]{1,3}(\.[0-9])?", typed) else number + 1.0


def _line(
    place: int, fields: Mapping[str, str], codes: list[str], keys: set[str], faults: dict[str, str]
) -> Line:
    here = f"lines.{place}."
    record = fields.get("record", "")
    unit = fields.get("unit", "") if record == NUMBER else ""
    torque = record == TORQUE
    return Line(
        key=fields.get("key") or _fresh(keys),
        text=fields["text"],
        why=fields.get("why", ""),
        record=record,
        unit=unit,
        low=_number(fields, "low", unit, faults, here) if record == NUMBER else None,
        high=_number(fields, "high", unit, faults, here) if record == NUMBER else None,
        of=_whole(fields, faults, here) if record in ("count", "springs") else None,
        thread=fields.get("thread", "") if torque else "",
        stated_N_m=_number(fields, "stated", None, faults, here) if torque else None,
        second="second" in fields,
        gate="gate" in fields,
        cautions=tuple(sorted({code for code in codes if CODES.fullmatch(code)})),
        each=fields.get("each", ""),
    )


def _fresh(keys: set[str]) -> str:
    """A key no line of this list has."""
    number = next(number for number in range(1, 1000) if f"own-{number}" not in keys)
    keys.add(f"own-{number}")
    return f"own-{number}"


def _number(
    fields: Mapping[str, str], name: str, unit: str | None, faults: dict[str, str], here: str
) -> float | None:
    """A number in the line's unit; a torque, which has none of its own, with the unit it was typed in."""
    text = fields.get(name, "").strip()
    if not text:
        return None
    try:
        suffix = "N_m" if unit is None else unit_named(unit).suffix
        value = parse_quantity(text, suffix, unit)
    except BadNumber as problem:
        faults[f"{here}{name}"] = str(problem)
        return None
    if not isinstance(value, float):
        faults[f"{here}{name}"] = "Enter one number, or leave it empty"
        return None
    return value


def _whole(fields: Mapping[str, str], faults: dict[str, str], here: str) -> int | None:
    text = fields.get("of", "").strip()
    if text and not re.fullmatch(r"[0-9]{1,4}", text):
        faults[f"{here}of"] = "Enter a whole number such as 8, or leave it empty"
        return None
    return int(text) if text else None


def typed(line: Line, place: int) -> dict[str, str]:
    """The line as its fields hold it."""
    fields = {name: str(getattr(line, name)) for name in PLAIN}
    fields |= {"key": line.key if KEY.fullmatch(line.key) else "", "place": str(place)}
    fields["low"] = show(line.low, line.unit) if line.low is not None else ""
    fields["high"] = show(line.high, line.unit) if line.high is not None else ""
    fields["of"] = str(line.of) if line.of is not None else ""
    fields["stated"] = show(line.stated_N_m, "N·m") if line.stated_N_m is not None else ""
    return fields
