"""What the list of the stock room, its loans and its orders show, as typed views."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from server.people.models import Person
from server.stock import board, guards, items, lending, posting
from server.stock.board import Line
from server.stock.models import NOTHING, Item, Loan, Order
from server.stock.outlook import day_in
from server.stock.rules import shown
from server.stock.starter import is_empty

FILTERS = {"": "All", "short": "Below the floor", "order": "To order", "again": "To count again"}
LATER = "more than ten years"


def written_day(day: date | None) -> str:
    """A day as a page has it: `3 Mar 2026`."""
    return f"{day.day} {day:%b %Y}" if day else ""


def status(line: Line) -> tuple[str, str]:
    """How an item stands in two or three words, and the kind of tag."""
    if line.outlook.short and line.item.stops_work:
        return "Stops work", "bad"
    if line.standing.recount_why:
        return "Count again", "warn"
    if line.outlook.short:
        return "Below the floor", "warn"
    if line.outlook.why:
        return "Order", "warn"
    return ("Enough", "good") if line.standing.usable > NOTHING else ("None here", "plain")


def lasts(line: Line, today: date) -> str:
    """Until when it lasts, with the range in brackets; empty where nothing tells how fast it goes."""
    left = line.outlook.days_left
    if left is None:
        return ""
    if line.standing.usable <= NOTHING:
        return "gone"
    best, low, high = (day_in(today, days) for days in (left.best, left.low, left.high))
    if best is None:
        return LATER
    return f"{written_day(best)} ({written_day(low)} – {written_day(high) or 'later'})"


@dataclass(frozen=True)
class Row:
    """One item of the list."""

    item: Item
    on_hand: str
    free: str
    status: tuple[str, str]
    lasts: str
    ends: str
    past: bool


@dataclass(frozen=True)
class IndexView:
    """The list of the stock room."""

    rows: Sequence[Row]
    total: int
    q: str
    show: str
    filters: Sequence[tuple[str, str, int]]
    may_move: bool
    steward: bool
    empty: bool
    overdue: int


def index(session: Session, person: Person, now: datetime, q: str = "", show: str = "") -> IndexView:
    """All items in use, or those that a word or a filter leaves."""
    today = posting.today(session, now)
    lines = board.lines(session, now)
    chosen = [line for line in lines if _passes(line, show) and _matches(line.item, q)]
    loans = lending.open_loans(session)
    return IndexView(
        rows=[_row(line, today) for line in chosen],
        total=len(lines),
        q=q,
        show=show if show in FILTERS else "",
        filters=[(key, words, sum(_passes(line, key) for line in lines)) for key, words in FILTERS.items()],
        may_move=guards.may_move(session, person),
        steward=person.steward,
        empty=is_empty(session),
        overdue=sum(loan.due_on < today for loan in loans),
    )


def _passes(line: Line, show: str) -> bool:
    return {
        "short": bool(line.outlook.short),
        "order": bool(line.outlook.why),
        "again": bool(line.standing.recount_why),
    }.get(show, True)


def _matches(item: Item, q: str) -> bool:
    text = f"{item.name} {item.key} {item.specification} {item.bin_code} {item.place}".lower()
    return all(word in text for word in q.lower().split())


def _row(line: Line, today: date) -> Row:
    ends, unit = line.standing.ends_on, line.item.unit
    return Row(
        item=line.item,
        on_hand=shown(line.standing.on_hand, unit),
        free=shown(line.standing.free, unit),
        status=status(line),
        lasts=lasts(line, today),
        ends=written_day(ends),
        past=ends is not None and ends < today,
    )


@dataclass(frozen=True)
class LoanRow:
    """One thing that is out."""

    loan: Loan
    item: Item
    amount: str
    due: str
    overdue: bool


@dataclass(frozen=True)
class LoansView:
    """Everything that is out."""

    rows: Sequence[LoanRow]


def loan_rows(loans: Sequence[Loan], named: dict[int, Item], today: date) -> list[LoanRow]:
    """Loans with their items."""
    return [
        LoanRow(
            loan,
            named[loan.item_id],
            shown(loan.outstanding, named[loan.item_id].unit),
            written_day(loan.due_on),
            loan.due_on < today,
        )
        for loan in loans
    ]


def loans(session: Session, now: datetime) -> LoansView:
    """Everything that is out, the earliest due first."""
    out = lending.open_loans(session)
    return LoansView(
        loan_rows(out, _named(session, [loan.item_id for loan in out]), posting.today(session, now))
    )


def _named(session: Session, keys: Sequence[int]) -> dict[int, Item]:
    rows = session.exec(select(Item).where(col(Item.id).in_(set(keys)))).all()
    return {row.id: row for row in rows if row.id is not None}


@dataclass(frozen=True)
class OrderRow:
    """One item to order: how much, why, and what it costs by the last price."""

    item: Item
    amount: str
    raw: str
    why: Sequence[str]
    lead: str
    cost: str


@dataclass(frozen=True)
class ComingRow:
    """One order that has not come."""

    order: Order
    item: Item
    amount: str
    expected: str
    late: bool


@dataclass(frozen=True)
class OrdersView:
    """What to order, and what is ordered."""

    rows: Sequence[OrderRow]
    coming: Sequence[ComingRow]
    may_move: bool


def orders(session: Session, person: Person, now: datetime) -> OrdersView:
    """What to order now by the book, and what is on its way."""
    today = posting.today(session, now)
    rows = [_order_row(line) for line in board.lines(session, now) if line.outlook.why]
    out = items.open_orders(session)
    named = _named(session, [order.item_id for order in out])
    coming = [
        ComingRow(
            order,
            named[order.item_id],
            shown(order.left, named[order.item_id].unit),
            written_day(order.expected_on),
            order.expected_on is not None and order.expected_on < today,
        )
        for order in out
    ]
    return OrdersView(rows, coming, guards.may_move(session, person))


def _order_row(line: Line) -> OrderRow:
    item, amount = line.item, line.outlook.order
    cost = f"{amount * item.price:.2f} {item.currency}".strip() if item.price is not None else ""
    return OrderRow(
        item=item,
        amount=shown(amount, item.unit),
        raw=shown(amount),
        why=line.outlook.why,
        lead=f"{item.lead_days} days" if item.lead_days is not None else "",
        cost=cost,
    )
