"""How fast an item goes, when to order it and how much, and until when it lasts. Pure."""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal

from server.physics.statistics.bands import Band
from server.physics.statistics.demand import reorder_point, run_out
from server.stock.models import NOTHING, Item
from server.stock.rules import GRAIN, LARGEST, Standing, below_floor, shown

WHOLE = frozenset({"pc", "pair", "set", "box", "sheet", "bottle"})
YEAR_DAYS = 365.25
ENOUGH_TAKINGS, ENOUGH_DAYS = 4, 60.0
"""From when on the book's own year is believed more than what the steward expects. From memory."""
LONGEST_DAYS = 3650.0


@dataclass(frozen=True)
class Taken:
    """What was taken of an item in the time looked back on, and what of it was written down when it was."""

    amount: float = 0.0
    recorded: float = 0.0
    squares: float = 0.0
    """Of the takings written down."""
    takings: int = 0
    days: float = YEAR_DAYS


@dataclass(frozen=True)
class Outlook:
    """What follows for one item. `order` is what to order now and `why`; without a reason, nothing."""

    yearly: float
    expected: bool
    """Whether the speed is what the steward expects, not what the book saw."""
    reorder_at: Decimal
    position: Decimal
    """What is usable or ordered, and promised to nobody."""
    days_left: Band | None
    order: Decimal
    why: tuple[str, ...]
    short: str
    """Why it is below its floor; empty when it is not."""


def speed(item: Item, taken: Taken) -> tuple[Taken, bool]:
    """What to reckon with: the book's own year where it has enough, else what the steward expects."""
    known = taken.amount > 0.0 and taken.takings >= ENOUGH_TAKINGS and taken.days >= ENOUGH_DAYS
    if known or item.expected_yearly is None:
        return taken, False
    yearly = float(item.expected_yearly)
    return Taken(yearly, days=YEAR_DAYS), True


def squares_of(item: Item, taken: Taken) -> float:
    """The sum of the squares of all takings: those nobody wrote down are thought as large as the others."""
    if taken.amount <= 0.0:
        return 0.0
    if taken.recorded > 0.0:
        return taken.squares * taken.amount / taken.recorded
    step = float(item.per_opening) if item.per_opening else 1.0 if item.unit in WHOLE else taken.amount / 12.0
    return taken.amount * step


def outlook(item: Item, standing: Standing, seen: Taken) -> Outlook:
    """What to do about an item that stands like this and goes like that."""
    taken, expected = speed(item, seen)
    amount, squares = max(taken.amount, 0.0), squares_of(item, taken)
    at = item.floor + _in_lead_time(item, amount, squares, taken.days)
    position = standing.usable + standing.ordered - standing.reserved
    short = below_floor(item, standing)
    why = _why(item, standing, position, at)
    return Outlook(
        yearly=amount / taken.days * YEAR_DAYS,
        expected=expected,
        reorder_at=at,
        position=position,
        days_left=run_out(float(standing.usable), amount, squares, taken.days),
        order=_order(item, position, at) if why else NOTHING,
        why=why,
        short=short,
    )


def _in_lead_time(item: Item, amount: float, squares: float, days: float) -> Decimal:
    """What has to lie above the floor when ordering, so that it lasts until the delivery."""
    if not item.lead_days or not amount:
        return NOTHING
    share = item.lead_days / days
    point = reorder_point(amount * share, squares * share, item.service_level)
    return _up(point, item)


def _up(amount: float, item: Item) -> Decimal:
    """Rounded up: to whole things where there is no part of one, else to two digits."""
    # The last digits of a product are no reason for one piece more.
    least = Decimal(repr(max(0.0, min(amount, float(LARGEST)) - 1e-9)))
    if item.unit in WHOLE:
        return least.quantize(Decimal(1), ROUND_CEILING)
    return least.quantize(max(GRAIN, Decimal(1).scaleb(least.adjusted() - 1)), ROUND_CEILING)


def _why(item: Item, standing: Standing, position: Decimal, at: Decimal) -> tuple[str, ...]:
    why = []
    if standing.usable < item.floor and position < item.floor:
        why.append(f"{shown(standing.usable, item.unit)} usable, the floor is {shown(item.floor, item.unit)}")
    elif position < item.floor:
        why.append(f"{shown(position, item.unit)} when promises are kept, below the floor")
    elif at > item.floor and position <= at:
        why.append(f"at or below {shown(at, item.unit)}, the reorder point")
    if standing.sealed < item.floor_sealed and not standing.ordered:
        why.append(f"{standing.sealed} sealed, the floor is {item.floor_sealed}")
    if standing.reserved > standing.usable + standing.ordered:
        why.append(f"{shown(standing.reserved, item.unit)} promised")
    return tuple(why)


def _order(item: Item, position: Decimal, at: Decimal) -> Decimal:
    """Up to what the shelf holds when full; without that, to twice the point where to order."""
    full = item.full if item.full is not None else max(2 * at - item.floor, item.floor)
    least = max(full, at) - position
    if item.unit in WHOLE:
        least = least.quantize(Decimal(1), ROUND_CEILING)
    return least if least > NOTHING else item.floor or Decimal(1)


def months_back(today: date) -> date:
    """The first day of what is looked back on: twelve whole months and the one that runs."""
    return date(today.year - 1, today.month, 1)


def days_seen(item: Item, today: date) -> float:
    """For how many of them the item is in the book."""
    begun = max(months_back(today), item.made_at.date())
    return max(1.0, float((today - begun).days))


def day_in(today: date, days: float | None) -> date | None:
    """The day that many days from now; None where nobody needs to know it, ten years or more ahead."""
    if days is None or not math.isfinite(days) or days > LONGEST_DAYS:
        return None
    return today + timedelta(days=math.floor(days))
