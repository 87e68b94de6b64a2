"""What work asks of the stock room: amounts, promises, taking."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from sqlmodel import Session, select

from server.errors import NotFound, Refused
from server.people.models import Person
from server.stock import board, moving, service
from server.stock.models import NOTHING, Lot, Reservation
from server.stock.service import Amount, Taking
from tests.factories import somebody
from tests.stock.factories import AT, a_lot, an_item, key_of

SOON = AT + timedelta(days=2)


@pytest.fixture
def person(session: Session) -> Person:
    return somebody(session)


def test_what_is_promised_is_not_free_until_it_is_taken_or_released(session: Session, person: Person) -> None:
    item = an_item(session)
    a_lot(session, item, "50")
    first = service.reserve(session, person, key_of(item), Decimal("1.5"), SOON, "opening", AT)
    assert service.amounts(session) == {item.id: Amount(Decimal(50), Decimal("1.5"), Decimal("48.5"))}
    service.use(session, person, key_of(item), Decimal("0.4"), "opening 3", AT, reservation_id=first.id)
    assert service.amounts(session)[key_of(item)] == Amount(Decimal("49.6"), Decimal("1.1"), Decimal("48.5"))
    assert first.id is not None
    service.release(session, person, first.id, AT)
    assert service.amounts(session)[key_of(item)].free == Decimal("49.6")
    service.release(session, person, first.id, SOON)
    assert first.ended_at == AT


def test_a_promise_that_is_taken_whole_has_ended(session: Session, person: Person) -> None:
    item = an_item(session)
    a_lot(session, item, "50")
    row = service.reserve(session, person, key_of(item), 1, SOON, "opening", AT)
    service.use(session, person, key_of(item), 2, "opening", AT, reservation_id=row.id)
    assert (row.left, row.ended_at) == (NOTHING, AT)


def test_a_promise_holds_until_its_moment_has_passed(session: Session, person: Person) -> None:
    item = an_item(session)
    a_lot(session, item, "50")
    service.reserve(session, person, key_of(item), 5, SOON, "opening", AT)
    later = SOON + timedelta(seconds=1)
    assert service.amounts(session, SOON)[key_of(item)].reserved == 5
    assert service.amounts(session, later)[key_of(item)].reserved == 0


@pytest.mark.parametrize(
    ("amount", "until", "what_for", "field"),
    [
        (0, SOON, "opening", "amount"),
        (float("nan"), SOON, "opening", "amount"),
        (1, AT, "opening", "until"),
        (1, SOON, "  ", "what_for"),
    ],
)
def test_a_promise_of_nothing_to_nobody_or_for_yesterday_is_refused(
    session: Session, person: Person, amount: float, until: datetime, what_for: str, field: str
) -> None:
    item = an_item(session)
    with pytest.raises(Refused) as refused:
        service.reserve(session, person, key_of(item), amount, until, what_for, AT)
    assert field in refused.value.fields


def test_work_takes_from_the_open_tube_and_opens_the_next(session: Session, person: Person) -> None:
    item = an_item(session)
    opened = a_lot(session, item, "0.3", sealed=True, opened_on=AT.date())
    sealed = a_lot(session, item, "50", sealed=True)
    rows = service.use(session, person, key_of(item), Decimal("0.5"), "opening", AT)
    assert [(row.lot_id, row.change) for row in rows] == [
        (opened.id, Decimal("-0.3")),
        (sealed.id, Decimal("-0.2")),
    ]
    assert sealed.opened_on == AT.date()


def test_the_book_never_falls_below_nothing_without_asking_for_a_count(
    session: Session, person: Person
) -> None:
    item = an_item(session)
    lot = a_lot(session, item, "0.3")
    service.use(session, person, key_of(item), Decimal("0.5"), "opening", AT)
    assert lot.on_hand == Decimal("-0.2")
    assert lot.recount_since == AT
    assert "−0.2" in board.line(session, item, AT).standing.recount_why
    moving.count(session, person, key_of(lot), Decimal(0), SOON)
    assert lot.on_hand == 0


def test_a_person_says_first_that_the_book_is_wrong(session: Session, person: Person) -> None:
    item = an_item(session)
    a_lot(session, item, "0.3")
    with pytest.raises(Refused, match="Nothing was stored"):
        service.take(session, person, Taking(key_of(item), Decimal("0.5"), "opening", beyond=False), AT)


def test_what_was_never_received_can_be_used_and_is_to_be_counted(session: Session, person: Person) -> None:
    item = an_item(session)
    (row,) = service.use(session, person, key_of(item), 1, "opening", AT)
    lot = session.get(Lot, row.lot_id)
    assert lot is not None
    assert (lot.on_hand, lot.recount_since) == (Decimal(-1), AT)


def test_what_would_be_short_is_told_before_the_work(session: Session, person: Person) -> None:
    grease = an_item(session, floor=Decimal(50), stops_work=True)
    gloves = an_item(session, "gloves", unit="pair")
    wipes = an_item(session, "wipes", unit="sheet")
    for item, amount in ((grease, "50.2"), (gloves, "3"), (wipes, "500")):
        a_lot(session, item, amount)
    service.reserve(session, person, key_of(gloves), 2, SOON, "another opening", AT)
    short = service.short_for(
        session, [(key_of(grease), Decimal("0.4")), (key_of(gloves), 4), (key_of(wipes), 12)], AT
    )
    assert {row.item.key: row.missing for row in short} == {"vacuum-grease": NOTHING, "gloves": Decimal(3)}
    assert "floor is 50 g" in short[0].why
    assert short[1].why == "1 pair free, 4 pair wanted"


def test_three_openings_draw_what_three_openings_take(session: Session, person: Person) -> None:
    """Three times 0.4 g, 4 pairs and 2 springs of the first set; arithmetic."""
    items = {
        key: an_item(session, key, unit=unit)
        for key, unit in (("vacuum-grease", "g"), ("gloves", "pair"), ("disc-spring", "pc"))
    }
    for item in items.values():
        a_lot(session, item, "100")
    for _ in range(3):
        for key, amount in (("vacuum-grease", 0.4), ("gloves", 4), ("disc-spring", 2)):
            service.use(session, person, key_of(items[key]), amount, "opening", AT)
    have = {key: service.amounts(session)[key_of(item)].on_hand for key, item in items.items()}
    assert have == {"vacuum-grease": Decimal("98.8"), "gloves": 88, "disc-spring": 94}


def test_what_belongs_to_another_item_is_not_found(session: Session, person: Person) -> None:
    grease, gloves = an_item(session), an_item(session, "gloves")
    lot = a_lot(session, gloves, "5")
    promise = service.reserve(session, person, key_of(gloves), 1, SOON, "opening", AT)
    with pytest.raises(NotFound):
        service.use(session, person, key_of(grease), 1, "", AT, lot_id=lot.id)
    with pytest.raises(NotFound):
        service.use(session, person, key_of(grease), 1, "", AT, reservation_id=promise.id)
    with pytest.raises(NotFound):
        service.use(session, person, 999, 1, "", AT)
    with pytest.raises(NotFound):
        service.short_for(session, [(999, 1)])


def test_a_promise_is_kept_apart_from_what_lies_there(session: Session, person: Person) -> None:
    """More may be promised than lies here: it is then to be ordered."""
    item = an_item(session)
    service.reserve(session, person, key_of(item), 5, SOON, "opening", AT)
    line = board.line(session, item, AT)
    assert line.standing.free == -5
    assert any("promised" in why for why in line.outlook.why)
    assert session.exec(select(Reservation)).one().left == 5
