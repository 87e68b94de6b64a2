"""Rules of a change: pure, so tried without a database."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.cryostats import rules
from server.cryostats.rules import Change, Put

NOW = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
LOOM = Put("loom", "wire", {"material": "phosphor-bronze", "count": 24})
LID = Put("lid", "lid", {"state": "on"}, house=True)
PRESENT = {"loom": LOOM, "lid": LID}

keys = st.sampled_from(["a", "b", "c", "d"])
puts = st.builds(
    Put, key=keys, kind=st.sampled_from(["wire", "lid"]), data=st.dictionaries(keys, st.integers(0, 2))
)
configurations = st.lists(puts, unique_by=lambda put: put.key).map(
    lambda rows: {put.key: put for put in rows}
)


def fields(change: Change) -> set[str]:
    return set(rules.faults(change, PRESENT, NOW))


def test_a_change_needs_a_reason_and_something_to_do() -> None:
    assert fields(Change(" ", 1)) == {"reason", "put"}
    assert fields(Change("Second loom", 1, (Put("loom-2", "wire"),))) == set()


def test_a_key_both_put_and_removed_or_unknown_in_remove_is_named() -> None:
    assert fields(Change("r", 1, (LOOM,), ("loom",))) == {"put.0.key"}
    assert fields(Change("r", 1, (), ("nothing",))) == {"remove.0"}
    assert fields(Change("r", 1, (LOOM, LOOM))) == {"put.1.key"}
    assert fields(Change("r", 1, (), ("loom", "loom"))) == {"remove.1"}


@pytest.mark.parametrize("key", ["", "Loom", "-a", "a-", "a b", "a" * 41, "é", "a\n"])
def test_a_key_that_cannot_stand_in_an_address_is_refused(key: str) -> None:
    assert fields(Change("r", 1, (Put(key, "wire"),))) == {"put.0.key"}


def test_a_change_cannot_have_been_made_tomorrow() -> None:
    assert fields(Change("r", 1, (LOOM,), done_at=NOW + timedelta(days=1))) == {"done_at"}


def test_more_than_two_thousand_elements_are_refused() -> None:
    many = tuple(Put(f"w{number}", "wire") for number in range(1999))
    assert "put" in fields(Change("r", 1, many))
    assert fields(Change("r", 1, many[:1998])) == set()


def test_a_difference_names_the_fields_that_moved() -> None:
    after = PRESENT | {"loom": Put("loom", "wire", {"material": "manganin", "count": 24})}
    diff = rules.difference(PRESENT, after)
    assert diff.words == "1 altered"
    assert diff.altered[0].fields == {"material": ("phosphor-bronze", "manganin")}


@given(configurations, configurations)
def test_a_restore_makes_the_one_configuration_into_the_other(
    present: dict[str, Put], wanted: dict[str, Put]
) -> None:
    change = rules.restoring(present, wanted, "back", 3)
    assert rules.applied(present, change) == wanted
    assert rules.difference(wanted, wanted).empty


@given(configurations, configurations)
def test_what_one_direction_adds_the_other_takes(before: dict[str, Put], after: dict[str, Put]) -> None:
    there, back = rules.difference(before, after), rules.difference(after, before)
    assert [put.key for put in there.added] == [put.key for put in back.taken]


@pytest.mark.parametrize(
    ("change", "grade"),
    [
        (Change("lid off", 1, (Put("lid", "lid", {"state": "off"}, house=True),)), rules.OPEN),
        (
            Change(
                "other lid", 1, (Put("lid", "lid", {"state": "on", "opening_diameter_m": 0.1}, house=True),)
            ),
            rules.STEWARD,
        ),
        (Change("lid gone", 1, (), ("lid",)), rules.STEWARD),
        (Change("rewire", 1, (Put("loom", "wire", {"count": 12}),)), rules.REWIRE),
        (Change("loom out", 1, (), ("loom",)), rules.REWIRE),
        (Change("grease", 1, (Put("mount", "joint", {"filler": "greased"}),)), rules.OPEN),
        (Change("house loom", 1, (Put("x", "wire", house=True),)), rules.STEWARD),
        (Change("make it ours", 1, (Put("lid", "lid", {"state": "on"}),)), rules.STEWARD),
    ],
)
def test_the_grade_follows_what_the_hand_does(change: Change, grade: int) -> None:
    """Grades as in the house's words; which kinds need which is common practice, no source."""
    assert rules.needed_grade(change, PRESENT) == grade


def test_every_cryostat_gets_an_address_of_its_own() -> None:
    assert rules.slug_of("Bench A", []) == "bench-a"
    assert rules.slug_of("Bench A", ["bench-a", "bench-a-2"]) == "bench-a-3"
    assert rules.slug_of("—", []) == "cryostat"


def test_no_cryostat_stands_at_the_address_of_another_page() -> None:
    assert rules.slug_of("New", []) == "new-2"


@pytest.mark.parametrize("text", ["a\x00b", "a\x07", "\ud800", "x" * 3000])
def test_words_that_no_book_holds_are_refused_where_they_stand(text: str) -> None:
    """A NUL is refused by PostgreSQL, half a surrogate pair by every encoding; both would be a 500."""
    assert fields(Change(text, 1, (Put("x", "wire", note=text),))) == {"reason", "put.0.note"}
    assert fields(Change("r", 1, (Put("x", "wire", label=text),))) == {"put.0.label"}
    assert fields(Change("two\nlines\tof it", 1, (Put("x", "wire", note="é\n–"),))) == set()


def test_a_change_cannot_be_older_than_any_book() -> None:
    long_ago = datetime(1, 1, 1, tzinfo=UTC)
    assert fields(Change("r", 1, (LOOM,), done_at=long_ago)) == {"done_at"}
