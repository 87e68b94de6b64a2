"""Readings: stored once however they come, asked for in SI, and silent where there is none."""

import shutil
import sqlite3
import threading
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server.cooldowns import blocks, channels, readings, readings_silence
from server.cooldowns.channels_rules import Wanted, converted
from server.cooldowns.readings_models import ReadingBlock, SupersededReadings
from server.cooldowns.readings_rules import clean
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.db import make_engine, writing
from server.errors import Forbidden, NotFound, Refused
from server.faults import service as faults
from server.people.models import Person
from server.people.service import CommandLine
from tests.cooldowns.bench import AFTER, NOON, PLATFORM, SHIELD, VACUUM, S, a_channel, some
from tests.factories import a_cryostat, somebody

Books = tuple[Session, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A session, a steward, and a cryostat with a channel of its platform."""
    ada, cryostat = somebody(session), a_cryostat(session)
    a_channel(session, ada, cryostat)
    return session, ada, cryostat


def stretch(books: Books, name: str = "Platform") -> tuple[list[float], list[float]]:
    session, _, cryostat = books
    assert cryostat.id is not None
    day = timedelta(days=1)
    times, values = readings.series(session, cryostat.id, name, NOON - day, NOON + day)
    return (times - S).tolist(), values.tolist()


def test_readings_come_back_as_they_were(books: Books) -> None:
    assert some(*books, [3.2, 3.3, 3.4], step_s=1800.5).new == 3
    assert stretch(books) == ([0.0, 1800.5, 3601.0], [3.2, 3.3, 3.4])
    assert len(books[0].exec(select(ReadingBlock)).all()) == 2


def test_the_same_again_changes_nothing(books: Books) -> None:
    some(*books, [3.2, 3.3, 3.4])
    again = some(*books, [3.2, 3.3, 3.4])
    assert (again.new, again.already) == (0, 3)
    assert stretch(books)[1] == [3.2, 3.3, 3.4]


def test_another_value_at_the_same_moment_is_refused_and_nothing_of_it_is_stored(books: Books) -> None:
    session, ada, cryostat = books
    a_channel(session, ada, cryostat, SHIELD)
    some(*books, [3.2, 3.3])
    session.commit()
    sent = {"Shield": ([S], [30.0]), "Platform": ([S, S + 60, S + 120], [3.2, 9.9, 3.4])}
    with pytest.raises(Refused) as caught:
        readings.store(session, ada, cryostat, sent, AFTER)
    assert "3.3 stands, 9.9 was sent" in caught.value.fields["Platform"]
    assert stretch(books)[1] == [3.2, 3.3]
    assert stretch(books, "Shield")[1] == []


def test_a_newer_value_takes_the_place_only_with_a_reason_and_the_old_is_kept(books: Books) -> None:
    session, ada, cryostat = books
    some(*books, [3.2, 3.3])
    session.commit()
    sent = {"Platform": ([S + 60, S + 120], [9.9, 3.4])}
    told = readings.store(session, ada, cryostat, sent, AFTER, "wrong curve was loaded")
    assert (told.new, told.superseded) == (1, 1)
    assert stretch(books)[1] == [3.2, 9.9, 3.4]
    kept = session.exec(select(SupersededReadings)).one()
    assert blocks.unpack(kept.content, kept.hour)[1].tolist() == [3.3]
    assert (kept.reason, kept.by_name) == ("wrong curve was loaded", "Ada")


READING = st.tuples(st.integers(0, 40), st.integers(1, 5))
BATCHES = st.lists(st.lists(READING, min_size=1, max_size=12), min_size=1, max_size=5)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=BATCHES, order=st.randoms(use_true_random=False))
def test_any_order_and_overlap_of_the_same_readings_ends_alike(
    books: Books, batches: list[list[tuple[int, int]]], order: object
) -> None:
    """What a moment holds is one value, whatever batch brings it; batches come in two orders, and again."""
    session, ada, cryostat = books
    ended = []
    for turn in range(2):
        name = f"Channel {len(channels.of(session, cryostat.id or 0))}"
        a_channel(session, ada, cryostat, Wanted(name, "temperature", "K"))
        mixed = [*batches, *batches[:1]]
        if turn:
            order.shuffle(mixed)  # type: ignore[attr-defined]
        for batch in mixed:
            times = [S + 300.0 * moment for moment, _ in batch]
            values = [3.0 + 0.01 * moment for moment, _ in batch]
            readings.store(session, ada, cryostat, {name: (times, values)}, AFTER)
        ended.append(stretch(books, name))
    assert ended[0] == ended[1]
    assert len(ended[0][0]) == len({moment for batch in batches for moment, _ in batch})


def test_gaps_are_no_readings(books: Books) -> None:
    told = some(*books, [3.2, float("nan"), float("inf"), 3.4])
    assert (told.new, told.gaps) == (2, 2)
    assert stretch(books)[0] == [0.0, 180.0]


def test_a_batch_of_gaps_alone_stores_nothing(books: Books) -> None:
    told = some(*books, [float("nan")] * 3)
    assert (told.new, told.gaps) == (0, 3)


@pytest.mark.parametrize(
    ("times", "values", "words"),
    [
        ([S, S], [1.0, 2.0], "Two different values"),
        ([S], [1.0, 2.0], "as many times"),
        ([float("nan")], [1.0], "no moment"),
        ([1e18], [1.0], "no moment"),
        ([86400.0], [1.0], "too long ago"),
        ([S + 86400.0], [1.0], "lies ahead"),
        ([S], [1e200], "too large"),
    ],
)
def test_what_can_be_no_reading_is_said(times: list[float], values: list[float], words: str) -> None:
    assert words in clean(times, values, AFTER).fault


def test_a_channel_nobody_made_is_refused_by_its_name(books: Books) -> None:
    with pytest.raises(Refused) as caught:
        some(*books, [3.2], name="Ghost")
    assert set(caught.value.fields) == {"Ghost"}


def test_a_channel_is_found_without_regard_to_case(books: Books) -> None:
    assert some(*books, [3.2], name=" pLATFORM ").new == 1


def test_whoever_may_operate_stores(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    with pytest.raises(Forbidden, match="grade 1"):
        some(session, ben, cryostat, [3.2])
    instruments.give_grade(session, ada, cryostat, ben, 1, NOON)
    assert some(session, ben, cryostat, [3.2]).new == 1


def test_what_was_stored_in_mbar_is_asked_for_in_pascal(books: Books) -> None:
    session, ada, cryostat = books
    a_channel(session, ada, cryostat, VACUUM)
    some(*books, [1013.0, 1.2e-6], name="Vacuum")
    assert stretch(books, "Vacuum")[1] == pytest.approx([101300.0, 1.2e-4])
    assert converted(np.array([20.0]), "°C", "K").tolist() == [293.15]


def test_extremes_come_from_the_columns_and_the_cut_blocks_at_the_ends(books: Books) -> None:
    values = [3.0 + 0.001 * abs(n - 150) for n in range(300)]
    some(*books, values)
    session, _, cryostat = books
    begin, end = NOON + timedelta(minutes=30), NOON + timedelta(minutes=200)
    found = readings.extremes(session, cryostat.id or 0, "Platform", begin, end)
    assert found is not None
    assert (found.count, found.low, found.high) == (170, 3.0, 3.0 + 0.001 * 120)
    assert (found.first.at, found.last.at) == (begin, end - timedelta(minutes=1))
    assert readings.extremes(session, cryostat.id or 0, "Platform", AFTER, AFTER + timedelta(1)) is None


def test_a_moment_is_told_by_the_last_reading_that_is_not_too_old(books: Books) -> None:
    session, _, cryostat = books
    some(*books, [3.2, 3.3])
    channel = channels.of(session, cryostat.id or 0)[0]
    found = readings.at(session, channel, NOON + timedelta(seconds=90))
    assert found is not None
    assert (found.value, found.at) == (3.3, NOON + timedelta(seconds=60))
    assert readings.at(session, channel, NOON + timedelta(seconds=660)) == found
    assert readings.at(session, channel, NOON + timedelta(seconds=661)) is None
    assert readings.at(session, channel, NOON - timedelta(seconds=1)) is None


def test_an_old_value_is_never_shown_as_present(books: Books) -> None:
    session, _, cryostat = books
    some(*books, [3.2, 3.3])
    [soon] = readings.latest(session, cryostat.id or 0, NOON + timedelta(seconds=120))
    assert (soon.value, soon.silent) == (3.3, False)
    [late] = readings.latest(session, cryostat.id or 0, NOON + timedelta(seconds=700))
    assert (late.value, late.silent, late.last_at) == (None, True, NOON + timedelta(seconds=60))


def test_silence_is_reported_by_the_schedule_without_anybody_looking_and_once(books: Books) -> None:
    session, _, cryostat = books
    some(*books, [3.2, 3.3])
    late = NOON + timedelta(seconds=700)
    assert readings_silence.report_all(session, CommandLine(), NOON + timedelta(seconds=120)) == 0
    assert readings_silence.report_all(session, CommandLine(), late) == 1
    assert readings_silence.report_all(session, CommandLine(), late + timedelta(hours=1)) == 0
    [fault] = faults.open_faults(session, cryostat.id or 0)
    assert (fault.by_name, fault.by_id) == ("command line", None)
    assert "No reading of" in fault.what_seen


def test_a_channel_that_may_be_silent_or_has_ended_is_no_fault_but_its_old_value_is_not_present(
    books: Books,
) -> None:
    session, ada, cryostat = books
    vacuum = a_channel(session, ada, cryostat, VACUUM)
    some(*books, [1e-6], name="Vacuum")
    some(*books, [3.2])
    channels.end(session, ada, cryostat, channels.of(session, cryostat.id or 0)[0].id or 0, AFTER)
    found = {row.channel.name: row for row in readings.latest(session, cryostat.id or 0, AFTER)}
    assert [(row.value, row.silent) for row in found.values()] == [(None, False), (None, False)]
    assert found["Vacuum"].channel.id == vacuum.id


def test_a_channel_that_never_spoke_is_silent_since_it_was_made(books: Books) -> None:
    [row] = readings.latest(books[0], books[2].id or 0, NOON)
    assert (row.silent, row.last_at, row.value) == (True, None, None)


def test_few_points_of_many_readings_lose_no_extreme(books: Books) -> None:
    values = [3.2] * 2000
    values[777], values[1234] = 9.9, 1.1
    some(*books, values, step_s=5.0)
    session, _, cryostat = books
    found = readings.thin(session, cryostat.id or 0, "Platform", NOON, AFTER, 50)
    assert found.count == 2000
    assert 20 <= len(found.times_s) <= 101
    assert (found.low.min(), found.high.max()) == (1.1, 9.9)


def test_a_long_stretch_is_drawn_from_the_extremes_of_its_hours(books: Books) -> None:
    session, ada, cryostat = books
    times = S - 3600.0 * np.arange(200)
    readings.store(session, ada, cryostat, {"Platform": (times, 3.0 + 0.01 * np.arange(200))}, AFTER)
    found = readings.thin(session, cryostat.id or 0, "Platform", NOON - timedelta(days=9), AFTER, 40)
    assert found.count == 200
    assert (found.low.min(), found.high.max()) == (3.0, 4.99)


def test_a_channel_that_is_not_there_is_not_found(books: Books) -> None:
    with pytest.raises(NotFound):
        readings.series(books[0], books[2].id or 0, "Ghost", NOON, AFTER)


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Wanted(" ", "temperature", "K"), "name"),
        (Wanted("PLATFORM", "temperature", "K"), "name"),
        (Wanted("x" * 61, "temperature", "K"), "name"),
        (Wanted("New", "colour", "K"), "quantity"),
        (Wanted("New", "temperature", "mbar"), "unit"),
        (Wanted("New", "temperature", "K", "attic"), "stage"),
        (Wanted("New", "temperature", "K", silent_after_s=0.0), "silent_after"),
        (Wanted("New", "temperature", "K", silent_after_s=float("nan")), "silent_after"),
    ],
)
def test_what_can_be_no_channel_is_refused_at_its_field(books: Books, wanted: Wanted, field: str) -> None:
    with pytest.raises(Refused) as caught:
        channels.make(*books, wanted, NOON)
    assert set(caught.value.fields) == {field}


def test_the_unit_of_a_channel_stays_once_it_has_readings(books: Books) -> None:
    session, ada, cryostat = books
    row = channels.of(session, cryostat.id or 0)[0]
    in_mK = Wanted("Platform", "temperature", "mK", "platform")
    assert channels.alter(session, ada, cryostat, row.id or 0, in_mK, NOON).unit == "mK"
    some(*books, [3200.0])
    with pytest.raises(Refused, match="not stored"):
        channels.alter(session, ada, cryostat, row.id or 0, PLATFORM, NOON)


@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM reading_block", "UPDATE reading_block SET hour = 1", "DELETE FROM superseded_readings"],
)
def test_the_database_itself_refuses_to_lose_readings(books: Books, statement: str) -> None:
    session, ada, cryostat = books
    some(*books, [3.2])
    readings.store(session, ada, cryostat, {"Platform": ([S], [3.3])}, AFTER, "because")
    session.flush()
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        session.execute(sa.text(statement))


def test_two_who_store_in_one_hour_at_once_lose_nothing(engine: Engine) -> None:
    """The second waits for the first, and lays its readings over what the first left."""
    with writing(engine) as session:
        ada, cryostat = somebody(session), a_cryostat(session)
        a_channel(session, ada, cryostat)
        some(session, ada, cryostat, [3.0])
        session.commit()
        person_id, cryostat_id = ada.id, cryostat.id

    def one(start_s: float, wait_s: float) -> None:
        with writing(engine) as own:
            who, where = own.get(Person, person_id), own.get(Cryostat, cryostat_id)
            assert who is not None
            assert where is not None
            some(own, who, where, [3.0] * 20, start_s=start_s, step_s=2.0)
            stored.set()
            time.sleep(wait_s)
            own.commit()

    stored = threading.Event()
    first = threading.Thread(target=one, args=(S + 60.0, 0.3))
    first.start()
    assert stored.wait(20)
    one(S + 61.0, 0.0)
    first.join()
    with writing(engine) as session:
        times, _ = readings.series(session, cryostat_id or 0, "Platform", NOON, AFTER)
        assert len(times) == 41


def test_a_hundred_channels_take_little_more_than_their_blocks(sqlite_template: Path, tmp_path: Path) -> None:
    """Within two bytes a reading of the block format's own size, rows, keys and pages included."""
    at = tmp_path / "books.db"
    shutil.copy(sqlite_template, at)
    engine = make_engine(f"sqlite:///{at}")
    with writing(engine) as session:
        ada, cryostat = somebody(session), a_cryostat(session)
        for number in range(100):
            a_channel(session, ada, cryostat, Wanted(f"Channel {number}", "temperature", "K"))
        session.commit()
        with sqlite3.connect(at) as raw:
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        empty = at.stat().st_size
        random = np.random.default_rng(2)
        times = S + 60.0 * np.arange(240)
        sent = {
            f"Channel {number}": (times, np.round(3.0 + 0.01 * random.standard_normal(240), 4))
            for number in range(100)
        }
        told = readings.store(session, ada, cryostat, sent, AFTER)
        session.commit()
        packed = sum(len(row.content) for row in session.exec(select(ReadingBlock)).all())
    engine.dispose()
    with sqlite3.connect(at) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert (at.stat().st_size - empty - packed) / told.new < 2.0
