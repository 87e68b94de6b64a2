"""Amounts as people type them, dates of lots, and which lot a hand goes to."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.stock.models import NOTHING, Item, Lot
from server.stock.rules import (
    BadAmount,
    Standing,
    apart,
    below_floor,
    exact,
    good_until,
    in_order,
    is_good,
    is_sealed,
    read_amount,
    read_count,
    shares,
    shown,
    standing_of,
    whole,
)
from tests.stock.factories import AT, item_of

DAY = AT.date()


def lot(key: int, on_hand: str = "1", **fields: Any) -> Lot:
    return Lot(id=key, item_id=1, on_hand=Decimal(on_hand), **{"received_on": DAY, **fields})


@pytest.mark.parametrize(
    ("text", "amount"),
    [("0.4", "0.4"), ("0,4", "0.4"), ("12 g", "12"), (" 3g ", "3"), (".5", "0.5"), ("1.250", "1.25")],
)
def test_an_amount_is_read_as_people_write_it(text: str, amount: str) -> None:
    assert read_amount(text, "g") == Decimal(amount)


@pytest.mark.parametrize(
    "text",
    ["", "-1", "1,250", "0.0004", "3 m", "1e3", "nan", "inf", "9999999999", "1 000", "?", "½", "=1+1", "٣"],
)
def test_what_is_no_amount_is_refused(text: str) -> None:
    with pytest.raises(BadAmount):
        read_amount(text, "g")


@pytest.mark.parametrize("amount", [float("nan"), float("inf"), -0.001, 1e7])
def test_a_number_that_is_no_amount_is_refused(amount: float) -> None:
    with pytest.raises(BadAmount):
        exact(amount)


def test_pieces_are_counted_whole_and_what_is_weighed_is_not() -> None:
    assert read_count("3", "pc") == 3
    assert read_count("0.4", "g") == Decimal("0.4")
    for unit in ("pc", "pair", "set", "sheet"):
        with pytest.raises(BadAmount, match="whole pieces"):
            read_count("1.5", unit)


def test_of_pieces_the_next_whole_number_must_be_there() -> None:
    assert (whole(Decimal("0.3"), "pc"), whole(Decimal("0.3"), "g")) == (Decimal(1), Decimal("0.3"))


@given(st.decimals(0, 10_000, places=3))
@settings(max_examples=60)
def test_what_is_shown_reads_back(amount: Decimal) -> None:
    assert read_amount(shown(amount)) == amount


def test_an_amount_below_nothing_has_a_true_minus_sign() -> None:
    assert shown(Decimal("-0.200"), "g") == "−0.2 g"


def test_the_earliest_of_its_dates_ends_a_lot() -> None:
    item = item_of(shelf_days=100, open_days=10)
    assert good_until(item, lot(1)) == DAY + timedelta(days=100)
    assert good_until(item, lot(1, cured_on=DAY - timedelta(days=40))) == DAY + timedelta(days=60)
    assert good_until(item, lot(1, opened_on=DAY)) == DAY + timedelta(days=10)
    assert good_until(item, lot(1, expires_on=DAY, opened_on=DAY)) == DAY
    assert good_until(item_of(), lot(1)) is None


def test_a_date_beyond_all_calendars_is_the_last_day_there_is() -> None:
    assert good_until(item_of(shelf_days=36_500), lot(1, received_on=date(9990, 1, 1))) == date.max


def test_a_lot_is_good_on_its_last_day_and_not_the_day_after() -> None:
    row = lot(1, expires_on=DAY)
    assert is_good(item_of(), row, DAY)
    assert not is_good(item_of(), row, DAY + timedelta(days=1))


def test_a_hand_goes_to_what_is_open_then_to_the_oldest_and_last_to_what_is_past() -> None:
    rows = [
        lot(1, expires_on=DAY - timedelta(days=1)),
        lot(2, sealed=True, expires_on=DAY + timedelta(days=5)),
        lot(3, expires_on=DAY + timedelta(days=9)),
        lot(4, sealed=True, expires_on=DAY + timedelta(days=3)),
        lot(5, sealed=True, opened_on=DAY, expires_on=DAY + timedelta(days=20)),
    ]
    assert [row.id for row in in_order(item_of(), rows, DAY)] == [3, 5, 4, 2, 1]


@given(st.lists(st.decimals(-5, 20, places=3), min_size=1, max_size=5), st.decimals("0.001", 60, places=3))
@settings(max_examples=80)
def test_what_is_taken_is_taken_from_lots_in_turn_and_nothing_is_lost(
    amounts: list[Decimal], wanted: Decimal
) -> None:
    lots = [lot(number, str(amount)) for number, amount in enumerate(amounts)]
    parts = shares(lots, wanted)
    assert sum((part for _, part in parts), NOTHING) == wanted
    assert all(part > NOTHING for _, part in parts)
    have = sum((max(amount, NOTHING) for amount in amounts), NOTHING)
    if wanted <= have:
        assert all(part <= row.on_hand for row, part in parts)


@pytest.mark.parametrize(
    ("book", "found", "share"), [("50", "20", 0.6), ("20", "50", 0.6), ("0", "0", 0.0), ("-1", "1", 2.0)]
)
def test_how_far_book_and_count_are_apart(book: str, found: str, share: float) -> None:
    assert apart(Decimal(book), Decimal(found)) == pytest.approx(share)


def grease(**fields: Any) -> Item:
    return item_of(floor=Decimal(50), floor_sealed=1, stops_work=True, **fields)


def test_the_floor_counts_the_sealed_spare() -> None:
    """Never fewer than one sealed tube and the open one: common practice, no source."""
    opened, sealed = lot(1, "60", sealed=True, opened_on=DAY), lot(2, "50", sealed=True)
    assert below_floor(grease(), standing_of(grease(), [opened, sealed], DAY)) == ""
    assert "0 sealed" in below_floor(grease(), standing_of(grease(), [opened], DAY))
    assert below_floor(grease(), Standing(usable=Decimal(49), sealed=1)).startswith("49 g usable")


def test_what_is_past_its_date_is_here_but_not_usable() -> None:
    row = lot(1, "60", sealed=True, expires_on=DAY - timedelta(days=1))
    stands = standing_of(grease(), [row], DAY, reserved=Decimal(2))
    assert [stands.on_hand, stands.usable, stands.sealed, stands.free] == [60, 0, 0, -2]
    assert stands.ends_on == DAY - timedelta(days=1)


def test_an_empty_container_is_no_spare() -> None:
    assert not is_sealed(lot(1, "0", sealed=True))
