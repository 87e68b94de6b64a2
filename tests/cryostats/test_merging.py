"""Two people on one element: what one touched counts, what both touched is shown beside it."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from server.cryostats.merging import merge
from server.cryostats.rules import MISSING, Put

FIELDS = ("count", "material", "ends_on")
DATA = st.dictionaries(st.sampled_from(FIELDS), st.integers(1, 3))
PUTS = st.builds(
    lambda data, note: Put("loom", "wire", data, note=note), DATA, st.sampled_from(["", "a", "b"])
)


def loom(**data: Any) -> Put:
    return Put("loom", "wire", data)


def test_each_gets_the_field_they_touched() -> None:
    found = merge(
        loom(count=24, ends_on="mount"), loom(count=24, ends_on="sample"), loom(count=12, ends_on="mount")
    )
    assert (found.put.data, found.clashes) == ({"count": 12, "ends_on": "sample"}, {})


def test_a_field_both_touched_keeps_what_was_typed_and_is_shown() -> None:
    found = merge(loom(count=24), loom(count=20), loom(count=12))
    assert (found.put.data, found.clashes) == ({"count": 12}, {"count": (20, 12)})


def test_both_coming_to_the_same_is_no_clash() -> None:
    assert merge(loom(count=24), loom(count=12), loom(count=12)).clashes == {}


def test_a_field_taken_back_to_its_default_by_one_stays_taken_back() -> None:
    assert merge(loom(count=24, current_A=1), loom(count=20, current_A=1), loom(count=24)).put.data == {
        "count": 20
    }


def test_what_another_took_out_is_put_in_again_as_typed() -> None:
    assert merge(loom(count=24), None, loom(count=12)).put == loom(count=12)


def test_two_who_added_the_same_key_see_where_they_differ() -> None:
    found = merge(None, loom(count=20), loom(count=12, ends_on="mount"))
    assert found.put.data == {"count": 12, "ends_on": "mount"}
    assert found.clashes == {"count": (20, 12)}


@given(PUTS, PUTS)
def test_untouched_gives_what_is_inside_and_alone_gives_what_was_typed(base: Put, other: Put) -> None:
    assert merge(base, other, base).put == other
    assert merge(base, base, other).put == other


@given(PUTS, PUTS, PUTS)
def test_every_field_is_of_one_of_the_two_and_clashes_only_where_all_three_differ(
    base: Put, now: Put, typed: Put
) -> None:
    found = merge(base, now, typed)
    for name in FIELDS:
        three = [put.data.get(name, MISSING) for put in (base, now, typed)]
        assert found.put.data.get(name, MISSING) in three[1:]
        assert (name in found.clashes) == (len(set(three)) == 3)
