"""What the page of one item shows, and the forms that move it, as typed views."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, func, select

from server.cautions import service as cautions
from server.cautions.cards import CARDS
from server.cautions.models import Card
from server.cryostats.rules import GRADES
from server.errors import NotFound
from server.history import service as history
from server.history.models import Entry
from server.people.models import Person
from server.stock import board, correcting, guards, items, lending, posting, spec
from server.stock.board import Line
from server.stock.models import NOTHING, Item, Lot, Movement, Order, Reservation
from server.stock.rules import KINDS, UNITS, good_until, is_good, is_sealed, shown
from server.stock.views import LoanRow, lasts, loan_rows, status, written_day

DOINGS = {
    "used": "Take",
    "received": "Receive",
    "lent": "Lend",
    "reserved": "Promise",
    "discarded": "Discard",
    "ordered": "Ordered",
}
AT_ONCE = 25


@dataclass(frozen=True)
class LotRow:
    """One lot, its dates and its state."""

    lot: Lot
    amount: str
    until: str
    past: bool
    sealed: bool

    @property
    def name(self) -> str:
        """What it is called where one is chosen."""
        marks = [self.lot.code or f"lot {self.lot.id}", self.lot.place, "sealed" if self.sealed else ""]
        return f"{', '.join(mark for mark in marks if mark)}: {self.amount}"


@dataclass(frozen=True)
class Stand:
    """What may stand in for an item, or what may not: an item of this room where it is one."""

    what: str
    note: str
    item: Item | None
    amount: str


@dataclass(frozen=True)
class MovementRow:
    """One movement as the page tells it."""

    movement: Movement
    words: str
    change: str
    lot: str
    corrected: bool


@dataclass(frozen=True)
class Asked:
    """What somebody typed into a form of the page and has to mend."""

    do: str = "used"
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ItemView:
    """One item: how it stands, what to mind, and the form of what is done with it."""

    line: Line
    status: tuple[str, str]
    on_hand: str
    facts: Sequence[tuple[str, str]]
    cards: Sequence[Card]
    allowed: Sequence[Stand]
    forbidden: Sequence[Stand]
    lots: Sequence[LotRow]
    loans: Sequence[LoanRow]
    promises: Sequence[tuple[Reservation, str, bool]]
    orders: Sequence[tuple[Order, str, str]]
    movements: Sequence[MovementRow]
    older: int | None
    asked: Asked
    doings: Mapping[str, str]
    may_move: bool
    needs: str
    steward: bool
    once: str
    record: Sequence[Entry]


def show(
    session: Session,
    person: Person,
    item: Item,
    now: datetime,
    once: str,
    asked: Asked | None = None,
    before: int | None = None,
) -> ItemView:
    """The page of an item; movements older than `before`, if given."""
    assert item.id is not None
    today, line = posting.today(session, now), board.line(session, item, now)
    rows = _movements(session, item, before)
    out = lending.open_loans(session, item.id)
    asked = asked or Asked()
    return ItemView(
        line=line,
        status=status(line),
        on_hand=shown(line.standing.on_hand, item.unit),
        facts=_facts(line, today),
        cards=cautions.for_codes(session, item.cautions),
        allowed=_stands(session, item.allowed),
        forbidden=_stands(session, item.forbidden),
        lots=[_lot(item, lot, today) for lot in line.lots],
        loans=loan_rows(out, {item.id: item}, today),
        promises=[(row, shown(row.left, item.unit), row.until < now) for row in _promises(session, item)],
        orders=[
            (row, shown(row.left, item.unit), written_day(row.expected_on))
            for row in items.open_orders(session, item.id)
        ],
        movements=rows,
        older=rows[-1].movement.id if len(rows) == AT_ONCE else None,
        asked=asked if asked.do in DOINGS else Asked(),
        doings=DOINGS,
        may_move=guards.may_move(session, person, item),
        needs=f"grade {item.take_grade} ({GRADES[item.take_grade]})",
        steward=person.steward,
        once=once,
        record=history.of(session, f"stock/{item.key}", limit=20) if before is None else (),
    )


def _facts(line: Line, today: date) -> list[tuple[str, str]]:
    item, stands, ahead = line.item, line.standing, line.outlook
    unit = item.unit
    rows = [
        ("Lies in", ", ".join(part for part in (item.place, item.bin_code) if part)),
        ("Usable", shown(stands.usable, unit) if stands.usable != stands.on_hand else ""),
        ("Promised", shown(stands.reserved, unit) if stands.reserved else ""),
        ("Free", shown(stands.free, unit)),
        ("Sealed", f"{stands.sealed}" if stands.sealed or item.floor_sealed else ""),
        ("Floor", _floor(item)),
        ("Lent", shown(stands.lent, unit) if stands.lent else ""),
        ("Ordered", shown(stands.ordered, unit) if stands.ordered else ""),
        ("Goes", _speed(line)),
        ("Lasts until", lasts(line, today)),
        ("Order at", shown(ahead.reorder_at, unit) if item.lead_days is not None else ""),
        ("Lead time", f"{item.lead_days} days" if item.lead_days is not None else "not recorded"),
        ("Last price", f"{item.price:.2f} {item.currency} a {unit}" if item.price is not None else ""),
        ("Keeps", _keeps(item)),
        ("Storage", item.storage),
        ("Drawn by", item.drawn_by),
        ("An opening takes", shown(item.per_opening, unit) if item.per_opening is not None else ""),
        ("Others who have it", item.elsewhere),
    ]
    return [(name, value) for name, value in rows if value]


def _floor(item: Item) -> str:
    sealed = f", {item.floor_sealed} of it sealed" if item.floor_sealed else ""
    words = f"{shown(item.floor, item.unit)}{sealed}" if item.floor or sealed else ""
    return f"{words}; below it no opening is planned" if words and item.stops_work else words


def _speed(line: Line) -> str:
    if not line.outlook.yearly:
        return ""
    yearly = shown(Decimal(f"{line.outlook.yearly:.3g}"), line.item.unit)
    return f"{yearly} a year, {'as expected' if line.outlook.expected else 'by the book'}"


def _keeps(item: Item) -> str:
    parts = [
        f"{item.shelf_days} days unopened" if item.shelf_days else "",
        f"{item.open_days} days opened" if item.open_days else "",
    ]
    return ", ".join(part for part in parts if part)


def _stands(session: Session, rows: Sequence[dict[str, str]]) -> list[Stand]:
    keys = [row["what"] for row in rows if spec.KEY.fullmatch(row["what"])]
    found = {row.key: row for row in session.exec(select(Item).where(col(Item.key).in_(keys))).all()}
    query = select(Lot.item_id, func.sum(Lot.on_hand)).where(
        col(Lot.item_id).in_([row.id for row in found.values()])
    )
    here: dict[int, Decimal] = dict(session.exec(query.group_by(col(Lot.item_id))).all())
    made = []
    for row in rows:
        item = found.get(row["what"])
        amount = shown(here.get(item.id or 0, NOTHING), item.unit) if item else ""
        made.append(Stand(item.name if item else row["what"], row["note"], item, amount))
    return made


def _lot(item: Item, lot: Lot, today: date) -> LotRow:
    until = written_day(good_until(item, lot))
    return LotRow(lot, shown(lot.on_hand, item.unit), until, not is_good(item, lot, today), is_sealed(lot))


def _promises(session: Session, item: Item) -> Sequence[Reservation]:
    query = select(Reservation).where(Reservation.item_id == item.id, col(Reservation.ended_at).is_(None))
    return session.exec(query.order_by(col(Reservation.until), col(Reservation.id))).all()


def _movements(session: Session, item: Item, before: int | None) -> list[MovementRow]:
    query = select(Movement, Lot.code).join(Lot, col(Lot.id) == col(Movement.lot_id))
    query = query.where(Movement.item_id == item.id)
    if before is not None:
        query = query.where(col(Movement.id) < before)
    rows = session.exec(query.order_by(col(Movement.id).desc()).limit(AT_ONCE)).all()
    keys = [row.id for row, _ in rows]
    corrected = set(session.exec(select(Movement.corrects).where(col(Movement.corrects).in_(keys))).all())
    return [_told(row, code, item, row.id in corrected) for row, code in rows]


def _told(row: Movement, code: str, item: Item, corrected: bool) -> MovementRow:
    words = KINDS[row.kind]
    if row.found is not None:
        words = f"{words}: {shown(row.found, item.unit)}"
    if row.corrects is not None:
        words = f"Correction of {row.corrects}: {words.lower()}"
    sign = "+" if row.change > NOTHING else ""
    return MovementRow(
        row, words, f"{sign}{shown(row.change, item.unit)}", code or str(row.lot_id), corrected
    )


@dataclass(frozen=True)
class CorrectionView:
    """One movement and the form that corrects it."""

    item: Item
    movement: Movement
    words: str
    says: str
    typed: Mapping[str, str]
    faults: Mapping[str, str]


def correction(
    session: Session,
    movement_id: int,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> CorrectionView:
    """The form of a correction; NotFound."""
    row = session.get(Movement, movement_id)
    item = session.get(Item, row.item_id) if row else None
    if row is None or item is None:
        raise NotFound("There is no such movement.")
    says = correcting.effective(session, row)
    kept = typed or {"amount": shown(says)}
    return CorrectionView(item, row, KINDS[row.kind], shown(says, item.unit), kept, faults or {})


@dataclass(frozen=True)
class FormView:
    """The form of an item."""

    item: Item | None
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    cautions: Sequence[tuple[str, str]]
    ticked: Sequence[str]
    units: Sequence[tuple[str, str]]
    grades: Sequence[tuple[int, str]]


def form(
    item: Item | None = None,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> FormView:
    """The empty form, that of an item, or what somebody typed and has to mend."""
    kept = dict(typed) if typed is not None else _written(item)
    return FormView(
        item=item,
        typed=kept,
        faults=faults or {},
        cautions=[(card.code, f"{card.code} {card.title}") for card in CARDS],
        ticked=kept.get("cautions", "").replace(",", " ").split(),
        units=[("", "Choose one"), *((unit, unit) for unit in UNITS)],
        grades=[(grade, f"{grade} {words}") for grade, words in GRADES.items() if grade],
    )


def _written(item: Item | None) -> dict[str, str]:
    if item is None:
        return {"recount_share": "30", "service_level": "95", "take_grade": "1"}
    texts = spec.written(spec.of(item))
    return texts | {name: texts[name].replace("; ", "\n") for name in ("allowed", "forbidden")}
