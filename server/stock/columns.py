"""Items and movements as spreadsheets exchange them, read with the line of whatever is wrong. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from server.stock import spec
from server.stock.models import Item, Movement
from server.stock.rules import BadAmount, read_amount
from server.stock.spec import NAMES, Spec
from server.web.tabular import STYLES, Figure, Sheet, Unreadable, read, written

ON_HAND = "on_hand"
HEAD = (*NAMES, ON_HAND)
FIGURES = frozenset({"floor", "full", "per_opening", "expected_yearly", "price", ON_HAND})
MOVEMENT_HEAD = (
    "number",
    "at",
    "item",
    "lot",
    "kind",
    "change",
    "unit",
    "found",
    "corrects",
    "because",
    "by",
)
ORDER_HEAD = ("key", "name", "specification", "amount", "unit", "lead_days", "price", "currency", "why")
MOST_FAULTS = 30


@dataclass(frozen=True)
class Row:
    """One line of a list of items: what it says of the item, and how much is there; None: it does not say."""

    line: int
    spec: Spec
    on_hand: Decimal | None


class Faulty(ValueError):
    """A list that cannot be taken. `faults` maps line and field to what to do about it."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("The list has lines to mend.")
        self.faults = dict(faults)


def figure(amount: Decimal | None) -> str:
    """A number as a spreadsheet takes it."""
    return Figure("" if amount is None else f"{amount.normalize():f}" if amount else "0")


def items(rows: Iterable[tuple[Spec, Decimal]], style: str = "comma") -> str:
    """The list of items, as `read_items` reads it back."""
    return written(HEAD, (_cells(wanted, on_hand) for wanted, on_hand in rows), STYLES[style])


def _cells(wanted: Spec, on_hand: Decimal) -> list[str]:
    texts = spec.written(wanted)
    cells = [Figure(texts[name]) if name in FIGURES else texts[name] for name in NAMES]
    return [*cells, figure(on_hand)]


def movements(rows: Iterable[tuple[Movement, str, str, str]], style: str = "comma") -> str:
    """Movements with key and unit of their item and the mark of their lot."""
    return written(MOVEMENT_HEAD, (_movement(*row) for row in rows), STYLES[style])


def _movement(row: Movement, key: str, unit: str, code: str) -> Sequence[str]:
    lot = f"{row.lot_id} {code}".strip()
    return (
        Figure(row.id),
        row.at.isoformat(timespec="seconds"),
        key,
        lot,
        row.kind,
        figure(row.change),
        unit,
        figure(row.found),
        Figure(row.corrects or ""),
        row.because,
        row.by_name,
    )


def orders(rows: Iterable[tuple[Item, str, Sequence[str]]], style: str = "comma") -> str:
    """What to order, how much and why."""
    return written(ORDER_HEAD, (_order(*row) for row in rows), STYLES[style])


def _order(item: Item, amount: str, why: Sequence[str]) -> Sequence[str]:
    lead = Figure("" if item.lead_days is None else item.lead_days)
    price = figure(item.price)
    return (
        item.key,
        item.name,
        item.specification,
        Figure(amount),
        item.unit,
        lead,
        price,
        item.currency,
        "; ".join(why),
    )


def read_items(text: str, known: Mapping[str, Spec]) -> list[Row]:
    """The lines of a list. A column left out keeps what `known` items have. Faulty, with every fault."""
    sheet, faults, rows = _sheet(text), {}, []
    seen: dict[str, int] = {}
    for line, cells in sheet.rows:
        texts = dict(zip((name.lower() for name in sheet.head), cells, strict=True))
        key = texts["key"].strip()
        if key in seen:
            faults[f"line {line}, key"] = f"“{key[:40]}” stands in line {seen[key]} already"
        seen[key] = line
        kept = spec.written(known[key]) if key in known else {}
        wanted, wrong = spec.read(kept | {name: cell for name, cell in texts.items() if name != ON_HAND})
        amount = _on_hand(texts.get(ON_HAND, ""), wrong)
        faults |= {f"line {line}, {name}": words for name, words in wrong.items()}
        rows.append(Row(line, wanted, amount))
    if faults:
        raise Faulty(dict(list(faults.items())[:MOST_FAULTS]))
    return rows


def _on_hand(text: str, wrong: dict[str, str]) -> Decimal | None:
    if not text.strip():
        return None
    try:
        return read_amount(text)
    except BadAmount as bad:
        wrong[ON_HAND] = str(bad)
        return None


def _sheet(text: str) -> Sheet:
    try:
        sheet = read(text)
    except Unreadable as unreadable:
        where = f"line {unreadable.line}" if unreadable.line else "the file"
        raise Faulty({where: str(unreadable)}) from None
    names = [name.lower() for name in sheet.head]
    faults = {
        f"line 1, {name[:30] or 'a column without a name'}": f"Known columns are {', '.join(HEAD)}"
        for name in names
        if name not in HEAD
    }
    if len(set(names)) != len(names):
        faults["line 1"] = "A column stands there twice"
    if "key" not in names:
        faults["line 1, key"] = "The column key is needed: it tells which item a line is about"
    if faults or not sheet.rows:
        raise Faulty(faults or {"the file": "There is no item below the head"})
    return sheet
