"""What a steward may write on a card."""

from datetime import date

import pytest

from server.cautions.forms import Local, read
from server.cautions.rules import overdue
from server.errors import Refused
from server.web.forms import Form


def typed(**fields: str) -> Form:
    return Form(list(fields.items()))


@pytest.mark.parametrize("written", ["2027-03-01", "1 Mar 2027", "1 March 2027", " 2027-3-1 "])
def test_a_day_is_read_as_people_write_it(written: str) -> None:
    local = read(typed(local_text="Call 12.", owner="The steward", review_on=written))
    assert local == Local("Call 12.", "The steward", date(2027, 3, 1))


def test_a_card_may_be_left_without_local_words() -> None:
    assert read(typed()) == Local("", "", None)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"owner": "The steward", "review_on": "soon"}, "review_on"),
        ({"owner": "The steward", "review_on": "2027-02-30"}, "review_on"),
        ({"owner": "The steward"}, "review_on"),
        ({"review_on": "2027-03-01"}, "owner"),
        ({"owner": "x" * 81, "review_on": "2027-03-01"}, "owner"),
        ({"local_text": "x" * 2001}, "local_text"),
    ],
)
def test_what_is_to_mend_is_told_at_its_field(fields: dict[str, str], field: str) -> None:
    with pytest.raises(Refused) as refused:
        read(typed(**fields))
    assert set(refused.value.fields) == {field}


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        read(typed(local_text="x" * 2001, owner="two\nlines", review_on="soon"))
    assert set(refused.value.fields) == {"local_text", "owner", "review_on"}


def test_a_review_is_overdue_the_day_after_its_day() -> None:
    day = date(2027, 3, 1)
    assert not overdue(day, date(2027, 3, 1))
    assert overdue(day, date(2027, 3, 2))
    assert not overdue(None, date(2027, 3, 2))
