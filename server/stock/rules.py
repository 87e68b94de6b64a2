"""What an amount, a movement and an item may be, and which lot a hand goes to first. Pure."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal, InvalidOperation

from server.stock.models import NOTHING, Item, Lot

KINDS = {
    "received": "Received",
    "used": "Used",
    "counted": "Counted",
    "lent": "Lent",
    "returned": "Returned",
    "discarded": "Discarded",
}
UNITS = ("pc", "pair", "set", "box", "sheet", "g", "kg", "mL", "L", "cm", "m", "cm²", "bar", "bottle")
LARGEST = Decimal(1_000_000)
GRAIN = Decimal("0.001")
NUMBER = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{0,9})?|[.,][0-9]{1,9}")
THOUSANDS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")


class BadAmount(ValueError):
    """An amount that cannot be read. The message is a sentence that says what to do."""


def exact(amount: Decimal | float) -> Decimal:
    """An amount to the thousandth; BadAmount for what is no amount, below zero or too large."""
    try:
        made = Decimal(str(amount)).quantize(GRAIN, ROUND_HALF_EVEN)
    except InvalidOperation:
        raise BadAmount("Enter an amount such as 0.4") from None
    if not made.is_finite() or not NOTHING <= made <= LARGEST:
        raise BadAmount(f"Enter an amount between 0 and {LARGEST:,}".replace(",", " "))
    return made


COUNTED = frozenset({"pc", "pair", "set", "sheet"})
"""Units of what lies there in whole pieces."""


def whole(amount: Decimal, unit: str) -> Decimal:
    """What of it must be there: of pieces the next whole number up."""
    return amount.to_integral_value(ROUND_CEILING) if unit in COUNTED else amount


def read_count(text: str, unit: str) -> Decimal:
    """An amount as counted: whole pieces where it comes in pieces; BadAmount."""
    made = read_amount(text, unit)
    if made != whole(made, unit):
        raise BadAmount(f"Enter whole pieces ({unit}): a piece that is begun is not counted")
    return made


def read_amount(text: str, unit: str = "") -> Decimal:
    """An amount as typed, with or without its unit; BadAmount.

    A comma before three digits is refused where it could be read both ways.
    """
    bare = text.strip()
    if unit and bare.endswith(unit):
        bare = bare[: -len(unit)].strip()
    if not NUMBER.fullmatch(bare):
        raise BadAmount(f"Enter an amount in {unit} such as 0.4" if unit else "Enter an amount such as 0.4")
    if "," in bare and THOUSANDS.fullmatch(bare):
        raise BadAmount("Write 1000 or 1.000: a comma before three digits can be read both ways")
    number = Decimal(bare.replace(",", "."))
    made = exact(number)
    if made != number:
        raise BadAmount("Enter at most three digits after the point")
    return made


def shown(amount: Decimal, unit: str = "") -> str:
    """An amount as a page has it: `0.4 g`; a true minus sign, no trailing zeros."""
    number = f"{amount.normalize():f}" if amount else "0"
    return f"{number.replace('-', '−')} {unit}".strip()


def good_until(item: Item, lot: Lot) -> date | None:
    """The last good day of a lot: what stands on it, its age since cure, its time since it was opened."""
    ends = [lot.expires_on] if lot.expires_on else []
    if item.shelf_days and not lot.expires_on:
        ends.append(_after(lot.cured_on or lot.received_on, item.shelf_days))
    if item.open_days and lot.opened_on:
        ends.append(_after(lot.opened_on, item.open_days))
    return min(ends, default=None)


def _after(day: date, days: int) -> date:
    try:
        return day + timedelta(days=days)
    except OverflowError:
        return date.max


def is_good(item: Item, lot: Lot, today: date) -> bool:
    """Whether the lot is still within its dates."""
    end = good_until(item, lot)
    return end is None or end >= today


def is_sealed(lot: Lot) -> bool:
    """Whether it is an unopened container with something in it."""
    return lot.sealed and lot.opened_on is None and lot.on_hand > NOTHING


def in_order(item: Item, lots: Iterable[Lot], today: date) -> list[Lot]:
    """The lots a hand goes to in turn: good ones first, opened before sealed, the oldest date first."""

    def place(lot: Lot) -> tuple[bool, bool, date, int]:
        end = good_until(item, lot) or date.max
        return (not is_good(item, lot, today), is_sealed(lot), end, lot.id or 0)

    return sorted(lots, key=place)


def shares(lots: Sequence[Lot], amount: Decimal) -> list[tuple[Lot, Decimal]]:
    """How much comes out of each lot; what is beyond all of them is written to the last one taken from."""
    left, taken = amount, []
    for lot in lots:
        part = min(left, max(lot.on_hand, NOTHING))
        if part > NOTHING:
            taken.append((lot, part))
            left -= part
    if left > NOTHING:
        if not taken:
            return [(lots[0], left)]
        lot, part = taken[-1]
        taken[-1] = (lot, part + left)
    return taken


def apart(book: Decimal, found: Decimal) -> float:
    """By which share of the larger one book and count differ; 0 where both are nothing."""
    larger = max(abs(book), abs(found))
    return float(abs(found - book) / larger) if larger else 0.0


@dataclass(frozen=True)
class Standing:
    """How an item stands: what lies here, what of it is good, sealed and promised, and what is short."""

    on_hand: Decimal = NOTHING
    usable: Decimal = NOTHING
    sealed: int = 0
    reserved: Decimal = NOTHING
    lent: Decimal = NOTHING
    ordered: Decimal = NOTHING
    lots: int = 0
    ends_on: date | None = None
    recount_why: str = ""

    @property
    def free(self) -> Decimal:
        """What is good and promised to nobody."""
        return self.usable - self.reserved


def below_floor(item: Item, standing: Standing) -> str:
    """Why the item is below its floor, in words; empty when it is not."""
    if standing.usable < item.floor:
        return f"{shown(standing.usable, item.unit)} usable, the floor is {shown(item.floor, item.unit)}"
    if standing.sealed < item.floor_sealed:
        return f"{standing.sealed} sealed, the floor is {item.floor_sealed}"
    return ""


def standing_of(
    item: Item,
    lots: Iterable[Lot],
    today: date,
    reserved: Decimal = NOTHING,
    lent: Decimal = NOTHING,
    ordered: Decimal = NOTHING,
) -> Standing:
    """The standing of an item over those of its lots that hold something or wait for a count."""
    present = list(lots)
    good = [lot for lot in present if is_good(item, lot, today)]
    ends = [end for lot in present if lot.on_hand > NOTHING and (end := good_until(item, lot))]
    return Standing(
        on_hand=sum((lot.on_hand for lot in present), NOTHING),
        usable=sum((lot.on_hand for lot in good), NOTHING),
        sealed=sum(is_sealed(lot) for lot in good),
        reserved=reserved,
        lent=lent,
        ordered=ordered,
        lots=sum(lot.on_hand > NOTHING for lot in present),
        ends_on=min(ends, default=None),
        recount_why=next((lot.recount_why for lot in present if lot.recount_since), ""),
    )
