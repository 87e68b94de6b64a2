"""Receiving, counting, throwing away, lending, and corrections that never erase."""

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlmodel import Session, select

from server.errors import Conflict, NotFound, Refused
from server.people.service import CommandLine
from server.stock import correcting, items, lending, moving, posting, service
from server.stock.lending import Lending
from server.stock.models import NOTHING, Demand, Item, Movement
from server.stock.moving import Receipt
from server.stock.service import Taking
from tests.stock.factories import AT, a_lot, an_item, key_of, summed

WHO = CommandLine()
DAY = AT.date()
LATER = AT + timedelta(days=3)


@pytest.fixture
def item(session: Session) -> Item:
    return an_item(session)


def test_each_sealed_tube_is_a_lot_of_its_own(session: Session, item: Item) -> None:
    receipt = Receipt(key_of(item), Decimal(50), 2, sealed=True, code="K7", expires_on=DAY)
    lots = moving.receive(session, WHO, receipt, AT)
    assert [(lot.code, lot.on_hand, lot.sealed, lot.expires_on) for lot in lots] == [
        ("K7 1/2", Decimal(50), True, DAY),
        ("K7 2/2", Decimal(50), True, DAY),
    ]


def test_what_has_no_marks_goes_into_the_open_drawer(session: Session, item: Item) -> None:
    (first,) = moving.receive(session, WHO, Receipt(key_of(item), Decimal(20)), AT)
    again = moving.receive(session, WHO, Receipt(key_of(item), Decimal(5), 2, price=Decimal("1.25")), AT)
    assert {lot.id for lot in again} == {first.id}
    assert first.on_hand == 30
    assert item.price == Decimal("1.25")


def test_what_comes_is_no_longer_on_order_the_oldest_first(session: Session, item: Item) -> None:
    old = items.order(session, WHO, key_of(item), Decimal(30), None, "", AT)
    new = items.order(session, WHO, key_of(item), Decimal(30), DAY, "", AT)
    moving.receive(session, WHO, Receipt(key_of(item), Decimal(40)), LATER)
    assert [old.left, new.left] == [0, 20]
    assert (old.ended_at, new.ended_at) == (LATER, None)
    assert new.id is not None
    items.withdraw(session, WHO, new.id, LATER)
    assert items.open_orders(session) == []


def test_a_count_far_from_the_book_asks_for_another_and_one_that_agrees_ends_it(
    session: Session, item: Item
) -> None:
    """The share is set for each item; 30 % in the standing order of the trade's example."""
    lot = a_lot(session, item, "50")
    first = moving.count(session, WHO, key_of(lot), Decimal(20), AT)
    assert first.again
    assert lot.recount_why == "The book said 50 g, 20 was counted"
    second = moving.count(session, WHO, key_of(lot), Decimal(19), LATER)
    assert not second.again
    assert lot.on_hand == 19
    assert (lot.recount_since, lot.counted_at) == (None, LATER)


@pytest.mark.parametrize(("found", "again"), [("35", False), ("34.9", True), ("71.4", False), ("72", True)])
def test_the_share_decides(session: Session, item: Item, found: str, again: bool) -> None:
    lot = a_lot(session, item, "50")
    assert moving.count(session, WHO, key_of(lot), Decimal(found), AT).again is again


def test_the_first_count_of_what_was_never_moved_is_a_beginning(session: Session, item: Item) -> None:
    lot = moving.first_lot(session, key_of(item), AT)
    assert not moving.count(session, WHO, key_of(lot), Decimal(40), AT).again
    assert lot.on_hand == 40


def test_a_count_never_erases_the_difference_is_the_leak(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50")
    moving.count(session, WHO, key_of(lot), Decimal(20), AT)
    kinds = [(row.kind, row.change, row.found) for row in session.exec(select(Movement)).all()]
    assert kinds == [("received", Decimal(50), None), ("counted", Decimal(-30), Decimal(20))]
    month = session.exec(select(Demand)).one()
    assert [month.taken, month.recorded, month.takings] == [30, 0, 0]


def test_what_is_past_its_date_is_thrown_away_first_and_never_more_than_there_is(
    session: Session, item: Item
) -> None:
    good = a_lot(session, item, "5")
    past = a_lot(session, item, "2", expires_on=DAY - timedelta(days=1))
    moving.discard(session, WHO, Taking(key_of(item), 3, "old"), AT)
    assert [good.on_hand, past.on_hand] == [4, 0]
    with pytest.raises(Refused) as refused:
        moving.discard(session, WHO, Taking(key_of(item), 9, "old"), AT)
    assert refused.value.fields == {"amount": "The book has 4 g. Count it first"}
    with pytest.raises(Refused) as refused:
        moving.discard(session, WHO, Taking(key_of(item), 1, " "), AT)
    assert set(refused.value.fields) == {"because"}


def test_a_container_was_opened_between_its_receipt_and_today(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50", sealed=True)
    for wrong in (DAY - timedelta(days=1), DAY + timedelta(days=1)):
        with pytest.raises(Refused):
            moving.open_lot(session, WHO, key_of(lot), wrong, AT)
    assert moving.open_lot(session, WHO, key_of(lot), DAY, AT).opened_on == DAY


def test_what_is_lent_comes_back_in_parts_or_not_at_all(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50")
    loan = lending.lend(session, WHO, Lending(key_of(item), Decimal(20), "room 12", DAY), AT)
    assert loan.id is not None
    assert [lot.on_hand, loan.outstanding] == [30, 20]
    lending.give_back(session, WHO, loan.id, Decimal(5), AT)
    lending.give_back(session, WHO, loan.id, Decimal(3), LATER, rest_is_gone=True)
    assert [lot.on_hand, loan.outstanding] == [38, 0]
    assert loan.ended_at == LATER
    assert summed(session, lot) == 38
    assert session.exec(select(Demand)).one().taken == 12
    with pytest.raises(Refused):
        lending.give_back(session, WHO, loan.id, Decimal(1), LATER)


@pytest.mark.parametrize(
    ("lending_", "field"),
    [
        (Lending(0, Decimal(1), " ", DAY), "borrower"),
        (Lending(0, Decimal(1), "room 12", None), "due_on"),
        (Lending(0, Decimal(1), "room 12", DAY - timedelta(days=1)), "due_on"),
        (Lending(0, Decimal(51), "room 12", DAY), "amount"),
        (Lending(0, Decimal(0), "room 12", DAY), "amount"),
    ],
)
def test_nothing_is_lent_to_nobody_for_ever_or_beyond_what_there_is(
    session: Session, item: Item, lending_: Lending, field: str
) -> None:
    a_lot(session, item, "50")
    wanted = Lending(key_of(item), lending_.amount, lending_.borrower, lending_.due_on)
    with pytest.raises(Refused) as refused:
        lending.lend(session, WHO, wanted, AT)
    assert field in refused.value.fields


def test_a_correction_is_a_line_of_its_own_and_the_first_stays(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50")
    (used,) = service.use(session, WHO, key_of(item), Decimal("0.4"), "opening", AT)
    assert used.id is not None
    row = correcting.correct(session, WHO, used.id, Decimal("0.5"), "misread", AT)
    assert (used.change, row.change, row.corrects, row.kind) == (
        Decimal("-0.4"),
        Decimal("-0.1"),
        used.id,
        "used",
    )
    assert row.id is not None
    correcting.correct(session, WHO, row.id, NOTHING, "it was another tube", LATER)
    assert lot.on_hand == 50
    assert correcting.effective(session, used) == 0
    month = session.exec(select(Demand)).one()
    assert [month.taken, month.takings] == [0, 0]
    assert month.squares == pytest.approx(0.0, abs=1e-12)


def test_a_corrected_count_says_what_was_found(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50")
    moving.count(session, WHO, key_of(lot), Decimal(45), AT)
    service.use(session, WHO, key_of(item), 5, "opening", AT)
    count = session.exec(select(Movement).where(Movement.kind == "counted")).one()
    assert count.id is not None
    correcting.correct(session, WHO, count.id, Decimal(48), "misread", LATER)
    assert lot.on_hand == 43
    assert correcting.effective(session, count) == 48


def test_a_corrected_loan_is_as_large_as_its_movements_say(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "50")
    loan = lending.lend(session, WHO, Lending(key_of(item), Decimal(20), "room 12", DAY), AT)
    lent = session.exec(select(Movement).where(Movement.kind == "lent")).one()
    assert lent.id is not None
    assert loan.id is not None
    correcting.correct(session, WHO, lent.id, Decimal(12), "weighed again", AT)
    assert [loan.outstanding, lot.on_hand] == [12, 38]
    lending.give_back(session, WHO, loan.id, Decimal(12), AT)
    assert loan.ended_at == AT
    with pytest.raises(Refused, match="Nothing was stored"):
        correcting.correct(session, WHO, lent.id, Decimal(5), "wrong", AT)


def test_a_correction_needs_a_reason_and_a_difference(session: Session, item: Item) -> None:
    a_lot(session, item, "50")
    (used,) = service.use(session, WHO, key_of(item), 1, "opening", AT)
    assert used.id is not None
    with pytest.raises(Refused) as refused:
        correcting.correct(session, WHO, used.id, Decimal(1), " ", AT)
    assert set(refused.value.fields) == {"amount", "because"}
    with pytest.raises(NotFound):
        correcting.correct(session, WHO, 999, Decimal(1), "why", AT)


def test_a_correction_that_leaves_less_than_nothing_asks_for_a_count(session: Session, item: Item) -> None:
    lot = a_lot(session, item, "5")
    (used,) = service.use(session, WHO, key_of(item), 4, "opening", AT)
    assert used.id is not None
    correcting.correct(session, WHO, used.id, Decimal(7), "misread", AT)
    assert lot.on_hand == -2
    assert lot.recount_since == AT


def test_one_press_counts_once(session: Session, item: Item) -> None:
    """Two sheets of one number: the database refuses the second, whatever came between."""
    a_lot(session, item, "5")
    taking = Taking(key_of(item), 1, "opening", once="form-1")
    service.take(session, WHO, taking, AT)
    assert posting.sent_before(session, "form-1")
    with pytest.raises(Conflict, match="already"):
        service.take(session, WHO, taking, AT)
