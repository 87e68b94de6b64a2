"""What a steward says of an item: its fields, as typed, as a CSV cell, and as they are kept. Pure."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from server.cautions.cards import CARDS
from server.cryostats.rules import GRADES
from server.stock.models import NOTHING, Item
from server.stock.rules import LARGEST, UNITS, BadAmount, read_amount, shown

KEY = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
LONGEST_KEY, LONGEST_LINE, LONGEST_TEXT, MOST_ENTRIES = 40, 120, 1000, 12
RESERVED = frozenset({"new"})
CODES = frozenset(card.code for card in CARDS)
CURRENCY = re.compile(r"[A-Z]{3}")
MOST_DAYS, MOST_SEALED = 36_500, 1000
Entry = dict[str, str]


@dataclass(frozen=True)
class Spec:
    """An item as the steward describes it; the meaning of each field stands at `models.Item`."""

    key: str
    name: str
    unit: str
    specification: str = ""
    bin_code: str = ""
    place: str = ""
    storage: str = ""
    cautions: tuple[str, ...] = ()
    hazard: str = ""
    allowed: tuple[Entry, ...] = ()
    forbidden: tuple[Entry, ...] = ()
    elsewhere: str = ""
    stops_work: bool = False
    floor: Decimal = NOTHING
    floor_sealed: int = 0
    full: Decimal | None = None
    per_opening: Decimal | None = None
    drawn_by: str = ""
    expected_yearly: Decimal | None = None
    lead_days: int | None = None
    price: Decimal | None = None
    currency: str = ""
    shelf_days: int | None = None
    open_days: int | None = None
    take_grade: int = 1
    recount_share: float = 0.3
    service_level: float = 0.95
    retired: bool = False


NAMES = tuple(row.name for row in fields(Spec))


def of(item: Item) -> Spec:
    """An item as it is kept."""
    kept = {name: getattr(item, name) for name in NAMES}
    return Spec(**kept | {name: tuple(kept[name]) for name in ("cautions", "allowed", "forbidden")})


def stored(spec: Spec) -> dict[str, Any]:
    """The columns of an item."""
    return vars(spec) | {name: list(getattr(spec, name)) for name in ("cautions", "allowed", "forbidden")}


class Unread(ValueError):
    """A text that cannot be read. The message is a sentence that says what to do."""


def _amount(text: str) -> Decimal:
    try:
        return read_amount(text)
    except BadAmount as bad:
        raise Unread(str(bad)) from None


def _whole(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text):
        raise Unread("Enter a whole number such as 14")
    return int(text)


def _percent(text: str) -> float:
    bare = text.removesuffix("%").strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,2})?", bare):
        raise Unread("Enter a share such as 30 %")
    return round(float(bare) / 100.0, 6)


def _yes(text: str) -> bool:
    if text.lower() not in ("yes", "no", "1", "0", "true", "false"):
        raise Unread("Enter yes or no")
    return text.lower() in ("yes", "1", "true")


def _codes(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(code.upper() for code in re.split(r"[\s,;]+", text) if code))


def _entries(text: str) -> tuple[Entry, ...]:
    """`what: note`, each on a line or between semicolons."""
    made = []
    for part in re.split(r"[;\n]+", text):
        what, _, note = (piece.strip() for piece in part.partition(":"))
        if what:
            made.append({"what": what, "note": note})
    return tuple(made)


READ: Mapping[str, Callable[[str], Any]] = {
    **dict.fromkeys(("floor", "full", "per_opening", "expected_yearly", "price"), _amount),
    **dict.fromkeys(("floor_sealed", "lead_days", "shelf_days", "open_days", "take_grade"), _whole),
    **dict.fromkeys(("recount_share", "service_level"), _percent),
    **dict.fromkeys(("stops_work", "retired"), _yes),
    **dict.fromkeys(("allowed", "forbidden"), _entries),
    "cautions": _codes,
}


def read(texts: Mapping[str, str]) -> tuple[Spec, dict[str, str]]:
    """The item these texts describe, and field → what to do about it. An empty text is the default."""
    made: dict[str, Any] = {"key": "", "name": "", "unit": ""}
    wrong = {}
    for name in NAMES:
        text = texts.get(name, "").strip()
        if not text:
            continue
        try:
            made[name] = READ[name](text) if name in READ else text
        except Unread as unread:
            wrong[name] = str(unread)
    spec = Spec(**made)
    return spec, faults(spec) | wrong


def written(spec: Spec) -> dict[str, str]:
    """The texts that `read` reads back; what is not set is empty."""
    return {name: _text(name, getattr(spec, name)) for name in NAMES}


def _text(name: str, value: Any) -> str:
    if value is None:
        return ""
    if name in ("recount_share", "service_level"):
        return f"{round(100.0 * value, 4):g}"
    if isinstance(value, tuple):
        return "; ".join(_entry(row) for row in value) if name != "cautions" else ", ".join(value)
    if isinstance(value, Decimal):
        return shown(value)
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _entry(row: Entry) -> str:
    return f"{row['what']}: {row['note']}" if row["note"] else row["what"]


def faults(spec: Spec) -> dict[str, str]:
    """Field → what to do about it; empty when all is well."""
    return _of_names(spec) | _of_texts(spec) | _of_lists(spec) | _of_numbers(spec)


def _of_names(spec: Spec) -> dict[str, str]:
    found = {}
    if not KEY.fullmatch(spec.key) or len(spec.key) > LONGEST_KEY or spec.key in RESERVED:
        found["key"] = (
            f"Enter a key of at most {LONGEST_KEY} small letters, digits and single hyphens, "
            "beginning with a letter, such as vacuum-grease"
        )
    if not spec.name:
        found["name"] = "Enter the generic name, such as Vacuum grease"
    if spec.unit not in UNITS:
        found["unit"] = f"Choose a unit: {', '.join(UNITS)}"
    if spec.currency and not CURRENCY.fullmatch(spec.currency):
        found["currency"] = "Enter three capital letters, such as EUR"
    return found


def _of_texts(spec: Spec) -> dict[str, str]:
    found = {}
    for name in ("name", "specification", "bin_code", "place", "elsewhere", "drawn_by"):
        if len(getattr(spec, name)) > LONGEST_LINE:
            found[name] = f"Write at most {LONGEST_LINE} letters"
    for name in ("storage", "hazard"):
        if len(getattr(spec, name)) > LONGEST_TEXT:
            found[name] = f"Write at most {LONGEST_TEXT} letters"
    return found


def _of_lists(spec: Spec) -> dict[str, str]:
    found = {}
    unknown = [code for code in spec.cautions if code not in CODES]
    if unknown:
        found["cautions"] = f"There is no card {unknown[0][:10]}: enter codes such as S11, S12"
    for name in ("allowed", "forbidden"):
        rows = getattr(spec, name)
        if len(rows) > MOST_ENTRIES or any(len(row["what"]) + len(row["note"]) > 200 for row in rows):
            found[name] = f"Write at most {MOST_ENTRIES} lines, each within 200 letters"
        elif any(row["what"] == spec.key for row in rows):
            found[name] = "It does not stand in for itself"
    both = {row["what"] for row in spec.allowed} & {row["what"] for row in spec.forbidden}
    if both:
        found["forbidden"] = f"“{min(both)}” is allowed above: choose one"
    return found


BOUNDS: Mapping[str, tuple[float, float, str]] = {
    **dict.fromkeys(
        ("floor", "full", "per_opening", "expected_yearly", "price"),
        (0, float(LARGEST), f"Enter an amount between 0 and {LARGEST}"),
    ),
    **dict.fromkeys(
        ("lead_days", "shelf_days", "open_days"), (0, MOST_DAYS, f"Enter days between 0 and {MOST_DAYS}")
    ),
    "floor_sealed": (0, MOST_SEALED, f"Enter a number between 0 and {MOST_SEALED}"),
    "take_grade": (1, max(GRADES), f"Enter a grade between 1 and {max(GRADES)}"),
    "recount_share": (0.01, 1.0, "Enter a share between 1 % and 100 %"),
    "service_level": (0.5, 0.9999, "Enter a share between 50 % and 99.99 %"),
}


def _of_numbers(spec: Spec) -> dict[str, str]:
    found = {}
    for name, (least, most, words) in BOUNDS.items():
        value = getattr(spec, name)
        if value is not None and not least <= value <= most:
            found[name] = words
    if spec.full is not None and spec.full < spec.floor:
        found["full"] = "A full shelf holds at least the floor"
    return found
