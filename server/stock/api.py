"""The JSON face of the stock room. Amounts are in the unit of their item, to the thousandth."""

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field
from sqlmodel import Session, col, select

from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.people.guards import ApiPerson
from server.people.models import Person
from server.stock import board, correcting, guards, items, lending, moving, service, spec
from server.stock.board import Line
from server.stock.lending import Lending
from server.stock.models import Item, Movement, Reservation
from server.stock.moving import Receipt
from server.stock.service import Taking
from server.web.forms import NO_TEXT

router = APIRouter(prefix="/stock", tags=["stock"])
Key = Annotated[int, Field(ge=1, le=2**31 - 1)]
Quantity = Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=3, allow_inf_nan=False)]


def _text(value: str) -> str:
    """Text that every database can hold."""
    if NO_TEXT.search(value):
        raise ValueError("there is a sign in it that is no text")
    return value


Words = Annotated[str, AfterValidator(_text)]
Text = Annotated[Words, Field(max_length=500)]
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Limit = Annotated[int, Query(ge=1, le=500)]


class Stand(BaseModel):
    """What may stand in for an item, or must not: an item's key or plain words."""

    model_config = ConfigDict(extra="forbid")

    what: Text
    note: Text = ""


class ItemIn(BaseModel):
    """What is said of an item."""

    model_config = ConfigDict(extra="forbid")

    key: Text
    name: Text
    unit: Text
    specification: Text = ""
    bin_code: Text = ""
    place: Text = ""
    storage: Annotated[Words, Field(max_length=2000)] = ""
    cautions: Annotated[list[Text], Field(max_length=20)] = []
    hazard: Annotated[Words, Field(max_length=2000)] = ""
    allowed: Annotated[list[Stand], Field(max_length=12)] = []
    forbidden: Annotated[list[Stand], Field(max_length=12)] = []
    elsewhere: Text = ""
    stops_work: bool = False
    floor: Quantity = Decimal(0)
    floor_sealed: int = 0
    full: Quantity | None = None
    per_opening: Quantity | None = None
    drawn_by: Text = ""
    expected_yearly: Quantity | None = None
    lead_days: int | None = None
    price: Quantity | None = None
    currency: Text = ""
    shelf_days: int | None = None
    open_days: int | None = None
    take_grade: int = 1
    recount_share: float = 0.3
    service_level: float = 0.95
    retired: bool = False


class AlteredIn(ItemIn):
    """What is said of an item from now on; `version` is the one it was made from."""

    version: Key


class LotOut(BaseModel):
    """One lot that holds something or waits for a count."""

    id: int
    code: str
    place: str
    on_hand: Decimal
    received_on: date
    opened_on: date | None
    expires_on: date | None
    cured_on: date | None
    sealed: bool
    recount: str


class AmountOut(BaseModel):
    """How an item stands. `short` says why it is below its floor, `order_why` why to order."""

    key: str
    unit: str
    on_hand: Decimal
    usable: Decimal
    reserved: Decimal
    free: Decimal
    lent: Decimal
    ordered: Decimal
    sealed: int
    stops_work: bool
    short: str
    recount: str
    reorder_at: Decimal
    order: Decimal
    order_why: list[str]
    days_left: list[float | None] | None
    """Low, best, high of the central 95 %; null where nothing tells."""


class ItemOut(ItemIn):
    """One item, its lots, and how it stands."""

    id: int
    version: int
    amount: AmountOut
    lots: list[LotOut]


class ItemsOut(BaseModel):
    """Every item in use."""

    items: list[ItemOut]


class AmountsOut(BaseModel):
    """How every item in use stands."""

    amounts: list[AmountOut]


class MovementOut(BaseModel):
    """One movement; `change` is what it adds to its lot."""

    id: int
    item: str
    lot: int
    kind: str
    change: Decimal
    found: Decimal | None
    corrects: int | None
    because: str
    at: AwareDatetime
    by: str


class MovementsOut(BaseModel):
    """Movements, newest first; ask on with `before`."""

    movements: list[MovementOut]


class MovementIn(BaseModel):
    """Something done with an item. What a kind does not need is left out.

    `counted` needs a `lot` where there are several. A use of more than the book has is refused unless
    `beyond` says that it was taken all the same; a count is then asked for.
    """

    model_config = ConfigDict(extra="forbid")

    item: Text
    kind: Literal["received", "used", "counted", "lent", "discarded"]
    amount: Quantity
    lot: Key | None = None
    because: Text = ""
    reservation: Key | None = None
    beyond: bool = False
    containers: Annotated[int, Field(ge=1, le=50)] = 1
    sealed: bool = False
    code: Annotated[Words, Field(max_length=60)] = ""
    place: Annotated[Words, Field(max_length=60)] = ""
    expires_on: date | None = None
    cured_on: date | None = None
    price: Quantity | None = None
    borrower: Text = ""
    due_on: date | None = None
    once: Annotated[Words, Field(min_length=8, max_length=64)] | None = None
    """Any text of yours, the same when you send again: it is then written once."""


class CorrectionIn(BaseModel):
    """What a movement should have said."""

    model_config = ConfigDict(extra="forbid")

    amount: Quantity
    because: Text


class ReservationIn(BaseModel):
    """An amount promised to some work until a moment."""

    model_config = ConfigDict(extra="forbid")

    item: Text
    amount: Quantity
    until: AwareDatetime
    what_for: Annotated[Words, Field(max_length=120)]


class ReservationOut(BaseModel):
    """A promise as it stands."""

    id: int
    item: str
    amount: Decimal
    left: Decimal
    until: AwareDatetime
    what_for: str
    by: str
    ended_at: AwareDatetime | None


@router.get("/items", responses=REFUSALS)
def index(_person: ApiPerson, session: ReadSession) -> ItemsOut:
    """Every item in use, with its lots and how it stands."""
    return ItemsOut(items=[_item(line) for line in board.lines(session, now())])


@router.post("/items", status_code=201, responses=REFUSALS)
def add(sent: ItemIn, person: ApiPerson, session: WriteSession) -> ItemOut:
    """Enter an item."""
    guards.need_steward(person)
    at = now()
    return _item(board.line(session, items.add(session, person, _spec(sent), at), at))


@router.get("/items/{key}", responses=REFUSALS)
def show(key: str, _person: ApiPerson, session: ReadSession) -> ItemOut:
    """One item."""
    return _item(board.line(session, board.find(session, key), now()))


@router.put("/items/{key}", responses=REFUSALS)
def alter(key: str, sent: AlteredIn, person: ApiPerson, session: WriteSession) -> ItemOut:
    """Alter what is said of an item."""
    guards.need_steward(person)
    at = now()
    return _item(board.line(session, items.alter(session, person, key, _spec(sent), sent.version, at), at))


@router.get("/amounts", responses=REFUSALS)
def amounts(_person: ApiPerson, session: ReadSession) -> AmountsOut:
    """How every item in use stands."""
    return AmountsOut(amounts=[_amount(line) for line in board.lines(session, now())])


@router.get("/movements", responses=REFUSALS)
def movements(
    _person: ApiPerson,
    session: ReadSession,
    item: Annotated[str | None, Query(max_length=60)] = None,
    before: Before = None,
    limit: Limit = 100,
) -> MovementsOut:
    """Movements, newest first: of one item, or of all."""
    query = select(Movement, Item.key).join(Item, col(Item.id) == col(Movement.item_id))
    if item is not None:
        query = query.where(Movement.item_id == board.find(session, item).id)
    if before is not None:
        query = query.where(col(Movement.id) < before)
    rows = session.exec(query.order_by(col(Movement.id).desc()).limit(limit)).all()
    return MovementsOut(movements=[_movement(row, key) for row, key in rows])


@router.post("/movements", status_code=201, responses=REFUSALS)
def move(sent: MovementIn, person: ApiPerson, session: WriteSession) -> MovementsOut:
    """Do one thing with an item. The movements it made; sent again with the same `once`, the first."""
    item = board.find(session, sent.item)
    guards.need_to_move(session, person, item)
    assert item.id is not None
    first = _sent_before(session, sent.once)
    if first is not None:
        return MovementsOut(movements=[_movement(first, item.key)])
    last = select(Movement.id).order_by(col(Movement.id).desc()).limit(1)
    newest = session.exec(last).first() or 0
    _do(session, person, item, sent)
    query = select(Movement).where(Movement.item_id == item.id, col(Movement.id) > newest)
    rows = session.exec(query.order_by(col(Movement.id))).all()
    return MovementsOut(movements=[_movement(row, item.key) for row in rows])


def _sent_before(session: Session, once: str | None) -> Movement | None:
    return session.exec(select(Movement).where(Movement.once == once)).first() if once else None


def _do(session: Session, person: Person, item: Item, sent: MovementIn) -> None:
    assert item.id is not None
    at = now()
    if sent.kind == "received":
        same = (
            "amount",
            "containers",
            "sealed",
            "code",
            "place",
            "expires_on",
            "cured_on",
            "price",
            "because",
        )
        told: dict[str, Any] = {name: getattr(sent, name) for name in same}
        moving.receive(session, person, Receipt(item.id, once=sent.once, **told), at)
    elif sent.kind == "lent":
        lending.lend(
            session,
            person,
            Lending(item.id, sent.amount, sent.borrower, sent.due_on, sent.lot, sent.because, sent.once),
            at,
        )
    elif sent.kind == "counted":
        moving.count(session, person, _lot_to_count(session, item, sent), sent.amount, at, sent.once)
    else:
        taking = Taking(
            item.id, sent.amount, sent.because, sent.lot, sent.reservation, sent.beyond, sent.once
        )
        (service.take if sent.kind == "used" else moving.discard)(session, person, taking, at)


def _lot_to_count(session: Session, item: Item, sent: MovementIn) -> int:
    assert item.id is not None
    line = board.line(session, item, now())
    if sent.lot is not None:
        return service.lots_for(session, item, sent.lot, now())[0].id or 0
    if len(line.lots) > 1:
        names = ", ".join(str(lot.id) for lot in line.lots)
        raise Refused(service.NOT_STORED, {"lot": f"Say which lot was counted: {names}"})
    lot = line.lots[0] if line.lots else moving.first_lot(session, item.id, now())
    return lot.id or 0


@router.post("/movements/{number}/correction", status_code=201, responses=REFUSALS)
def correct(number: int, sent: CorrectionIn, person: ApiPerson, session: WriteSession) -> MovementOut:
    """Say what a movement should have been; the first stays."""
    row = session.get(Movement, number)
    item = session.get(Item, row.item_id) if row else None
    if item is None:
        raise NotFound("There is no such movement.")
    guards.need_to_move(session, person, item)
    made = correcting.correct(session, person, number, sent.amount, sent.because, now())
    return _movement(made, item.key)


@router.get("/reservations", responses=REFUSALS)
def reservations(_person: ApiPerson, session: ReadSession) -> list[ReservationOut]:
    """Every promise that has not ended, the earliest first."""
    query = select(Reservation, Item.key).join(Item, col(Item.id) == col(Reservation.item_id))
    query = query.where(col(Reservation.ended_at).is_(None)).order_by(col(Reservation.until))
    return [_reservation(row, key) for row, key in session.exec(query).all()]


@router.post("/reservations", status_code=201, responses=REFUSALS)
def reserve(sent: ReservationIn, person: ApiPerson, session: WriteSession) -> ReservationOut:
    """Promise an amount to some work."""
    item = board.find(session, sent.item)
    guards.need_to_move(session, person, item)
    assert item.id is not None
    row = service.reserve(session, person, item.id, sent.amount, sent.until, sent.what_for, now())
    return _reservation(row, item.key)


@router.post("/reservations/{number}/release", responses=REFUSALS)
def release(number: int, person: ApiPerson, session: WriteSession) -> ReservationOut:
    """End a promise."""
    row = session.get(Reservation, number)
    item = session.get(Item, row.item_id) if row else None
    if item is None:
        raise NotFound("There is no such reservation.")
    guards.need_to_move(session, person, item)
    return _reservation(service.release(session, person, number, now()), item.key)


def _spec(sent: ItemIn) -> spec.Spec:
    told = sent.model_dump(exclude={"version"})
    for name in ("cautions", "allowed", "forbidden"):
        told[name] = tuple(told[name])
    return spec.Spec(**told)


def _item(line: Line) -> ItemOut:
    item = line.item
    told = spec.stored(spec.of(item)) | {"id": item.id, "version": item.version}
    lots = [
        LotOut(**lot.model_dump(include=set(LotOut.model_fields)), recount=lot.recount_why)
        for lot in line.lots
    ]
    return ItemOut(**told, amount=_amount(line), lots=lots)


def _amount(line: Line) -> AmountOut:
    stands, ahead, left = line.standing, line.outlook, line.outlook.days_left
    return AmountOut(
        key=line.item.key,
        unit=line.item.unit,
        on_hand=stands.on_hand,
        usable=stands.usable,
        reserved=stands.reserved,
        free=stands.free,
        lent=stands.lent,
        ordered=stands.ordered,
        sealed=stands.sealed,
        stops_work=line.item.stops_work,
        short=ahead.short,
        recount=stands.recount_why,
        reorder_at=ahead.reorder_at,
        order=ahead.order,
        order_why=list(ahead.why),
        days_left=[left.low, left.best, left.high] if left else None,
    )


def _movement(row: Movement, key: str) -> MovementOut:
    told = row.model_dump(include=set(MovementOut.model_fields))
    return MovementOut(**told, item=key, lot=row.lot_id, by=row.by_name)


def _reservation(row: Reservation, key: str) -> ReservationOut:
    return ReservationOut(
        **row.model_dump(include=set(ReservationOut.model_fields)), item=key, by=row.by_name
    )
