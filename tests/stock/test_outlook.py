"""How fast an item goes, when to order and how much, until when it lasts."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from server.stock.models import Item
from server.stock.outlook import YEAR_DAYS, Outlook, Taken, day_in, days_seen, outlook, speed
from server.stock.rules import Standing
from tests.stock.factories import AT, item_of

SPRINGS = Taken(amount=24.0, recorded=24.0, squares=24.0, takings=24, days=YEAR_DAYS)
"""Two a month, one by one."""


def springs(**fields: Any) -> Item:
    return item_of("disc-spring", unit="pc", **{"lead_days": 30, **fields})


def stands(amount: str, reserved: str = "0", ordered: str = "0") -> Standing:
    here = Decimal(amount)
    return Standing(on_hand=here, usable=here, reserved=Decimal(reserved), ordered=Decimal(ordered))


def test_a_slow_mover_is_ordered_by_poisson() -> None:
    """30 days of 24 a year is a mean of 1.97: at 95 % five (Abramowitz and Stegun, 26.7, mean 2: .9834)."""
    ahead = outlook(springs(), stands("6"), SPRINGS)
    assert ahead.reorder_at == 5
    assert ahead.why == ()
    assert outlook(springs(), stands("5"), SPRINGS).why == ("at or below 5 pc, the reorder point",)


def test_a_fast_mover_is_ordered_by_the_normal_law() -> None:
    """3650.25 sheets a year singly: 300 in 30.02 days; 300 + 1.645·√300 = 328.5 (Stevenson's formula)."""
    sheets = Taken(3652.5, 3652.5, 3652.5, 3652, YEAR_DAYS)
    assert outlook(item_of("wipes", unit="sheet", lead_days=30), stands("900"), sheets).reorder_at == 329


def test_the_floor_lies_below_what_the_lead_time_takes() -> None:
    assert outlook(springs(floor=Decimal(20)), stands("30"), SPRINGS).reorder_at == 25


def test_promises_bring_the_order_forward_and_what_is_on_its_way_puts_it_off() -> None:
    assert outlook(springs(), stands("6", reserved="1"), SPRINGS).why
    assert not outlook(springs(), stands("2", ordered="10"), SPRINGS).why


def test_an_order_fills_the_shelf_whatever_was_promised() -> None:
    ahead = outlook(springs(full=Decimal(100)), stands("5", reserved="3"), SPRINGS)
    assert ahead.order == 98


def test_nobody_orders_a_part_of_a_piece() -> None:
    """A promise may be of a tenth of a ring, on the average of many openings; what is ordered is not."""
    assert outlook(springs(full=Decimal(6)), stands("5", reserved="0.1"), SPRINGS).order == 2


def test_the_grease_of_the_example_is_ordered_for_its_missing_spare_not_for_its_amount() -> None:
    """45 openings of 0.4 g are 18 g a year; one sealed and the open tube are the rule (common practice)."""
    grease = item_of(
        floor_sealed=1,
        stops_work=True,
        lead_days=7,
        full=Decimal(100),
        expected_yearly=Decimal(18),
        per_opening=Decimal("0.4"),
    )
    ahead = outlook(grease, stands("40"), Taken())
    assert ahead.yearly == pytest.approx(18.0)
    assert ahead.expected
    assert ahead.why == ("0 sealed, the floor is 1",)
    assert ahead.order == 60
    assert ahead.short == "0 sealed, the floor is 1"


def test_without_a_lead_time_only_the_floor_tells_when_to_order() -> None:
    ahead = outlook(springs(lead_days=None, floor=Decimal(4)), stands("4"), SPRINGS)
    assert ahead.reorder_at == 4
    assert not ahead.why
    assert outlook(springs(lead_days=None, floor=Decimal(4)), stands("3"), SPRINGS).why


def test_what_nobody_takes_needs_no_order_and_has_no_day() -> None:
    ahead = outlook(springs(), stands("0"), Taken())
    assert not ahead.why
    assert ahead.days_left is None
    assert ahead.order == 0


def test_the_book_is_believed_from_four_takings_in_two_months_on() -> None:
    item = springs(expected_yearly=Decimal(100))
    assert speed(item, Taken(3.0, 3.0, 3.0, 3, 100.0))[1]
    assert speed(item, Taken(4.0, 4.0, 4.0, 4, 59.0))[1]
    assert speed(item, Taken(4.0, 4.0, 4.0, 4, 60.0)) == (Taken(4.0, 4.0, 4.0, 4, 60.0), False)


def test_what_a_count_found_missing_went_in_steps_like_the_others() -> None:
    """Half was written down in steps of one: the other half is thought to have gone in such steps too."""
    written, half = SPRINGS, Taken(24.0, 12.0, 12.0, 12, YEAR_DAYS)
    lines: list[Outlook] = [outlook(springs(), stands("9"), taken) for taken in (written, half)]
    assert lines[0].reorder_at == lines[1].reorder_at


def test_it_lasts_about_as_long_as_it_is_taken_with_a_band() -> None:
    left = outlook(springs(), stands("12"), SPRINGS).days_left
    assert left is not None
    assert left.best == pytest.approx(YEAR_DAYS / 2)
    assert left.low is not None
    assert left.high is not None
    assert left.low < YEAR_DAYS / 2 < left.high


def test_an_item_is_looked_back_on_for_as_long_as_it_is_in_the_book() -> None:
    today = AT.date() + timedelta(days=30)
    assert days_seen(item_of(), today) == 30.0
    assert days_seen(item_of(), AT.date()) == 1.0
    assert days_seen(item_of(), date(2030, 3, 14)) == (date(2030, 3, 14) - date(2029, 3, 1)).days


def test_a_day_ten_years_ahead_is_not_told() -> None:
    assert day_in(AT.date(), 10.7) == AT.date() + timedelta(days=10)
    assert day_in(AT.date(), 4000.0) is None
    assert day_in(AT.date(), None) is None
