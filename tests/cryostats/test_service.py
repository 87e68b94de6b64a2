"""Logging a change, on both engines: what is stored, what is refused whole, who is told of whom."""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.engine import Engine
from sqlmodel import Session, col, func, select

from server.cryostats import contents, guards, instruments, rules, service
from server.cryostats.models import BudgetRow, Cryostat, ElementRow, Revision
from server.cryostats.rules import Change, Put
from server.db import writing
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.history.models import Entry
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_cryostat, apart, change, lid, logged, put, somebody, wire

Books = tuple[Session, Person, Cryostat]
ON_POSTGRES = pytest.mark.parametrize(
    "database_url", [pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True
)


@pytest.fixture
def books(session: Session) -> Books:
    """A session, a steward and a cryostat with nothing in it."""
    return session, somebody(session), a_cryostat(session)


def inside(session: Session, cryostat: Cryostat, number: int | None = None) -> dict[str, Put]:
    return contents.elements(session, cryostat, cryostat.revision if number is None else number)


def count(session: Session, model: Any) -> int:
    return session.exec(select(func.count()).select_from(model)).one()


@contextmanager
def queries(engine: Engine) -> Iterator[list[str]]:
    """The statements sent while this is open."""
    sent: list[str] = []

    def note(*arguments: Any) -> None:
        sent.append(arguments[2])

    sa.event.listen(engine, "before_cursor_execute", note)
    yield sent
    sa.event.remove(engine, "before_cursor_execute", note)


def test_a_change_becomes_the_next_revision_with_who_when_and_why(books: Books) -> None:
    session, ada, bench = books
    wanted = change(0, wire(), lid(), reason=" The first loom ", done_at=AT - timedelta(hours=2))
    made = service.log_change(session, ada, bench.slug, wanted, AT)
    row = service.revision(session, bench, 1)
    assert (row.number, row.base, row.reason, row.by_name, row.by_id) == (
        1,
        0,
        "The first loom",
        "Ada",
        ada.id,
    )
    assert (row.done_at, row.recorded_at) == (AT - timedelta(hours=2), AT)
    assert (bench.revision, made.difference.words) == (1, "2 added")
    assert inside(session, bench) == {"loom": put(wire()), "lid": put(lid())}


def test_a_change_stores_a_budget_and_lands_in_the_history(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    stored = session.exec(select(BudgetRow)).all()
    assert [(row.revision, row.cooler_version) for row in stored] == [(1, 0)]
    newest = history.of(session, "cryostat/bench-a")[0]
    assert (newest.person_name, newest.what) == ("Ada", "Revision 1: 1 added. Because")


def test_an_altered_element_keeps_its_key_and_its_past(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    logged(session, ada, bench, wire(count=12))
    rows = session.exec(select(ElementRow).order_by(col(ElementRow.id))).all()
    assert [(row.key, row.from_revision, row.to_revision) for row in rows] == [
        ("loom", 1, 2),
        ("loom", 2, None),
    ]
    assert inside(session, bench, 1)["loom"].data["count"] == 24
    assert inside(session, bench, 2)["loom"].data["count"] == 12


def test_what_is_removed_is_gone_now_and_there_before(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire(), lid())
    logged(session, ada, bench, remove=["loom"])
    assert list(inside(session, bench)) == ["lid"]
    assert set(inside(session, bench, 1)) == {"loom", "lid"}


def test_putting_what_is_there_already_beside_something_new_writes_only_the_new(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    made = logged(session, ada, bench, wire(), lid())
    assert made.difference.words == "1 added"
    assert count(session, ElementRow) == 2


def test_a_change_that_changes_nothing_is_refused(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    with pytest.raises(Refused) as refused:
        logged(session, ada, bench, wire())
    assert refused.value.fields == {"put": "Nothing differs from what is inside now"}


def test_every_fault_is_told_at_once_and_nothing_is_stored(engine: Engine, session: Session) -> None:
    ada, bench = somebody(session), a_cryostat(session)
    session.commit()
    entries = count(session, Entry)
    bad = Change(
        " ",
        0,
        (
            Put("Bad key", "wire", {"count": -1, "material": "unobtainable"}),
            Put("lamp", "source", {"power_W": float("nan"), "stage": "attic"}),
            Put("x", "no-such-kind"),
        ),
        ("nothing",),
        AT + timedelta(days=1),
    )
    with pytest.raises(Refused) as refused:
        service.log_change(session, ada, bench.slug, bad, AT, {"put.2.label": "Enter a text"})
    assert set(refused.value.fields) == {
        "reason",
        "done_at",
        "put.0.key",
        "put.0.count",
        "put.0.material",
        "put.1.power_W",
        "put.1.stage",
        "put.2.kind",
        "put.2.label",
        "remove.0",
    }
    session.rollback()
    with writing(engine) as after:
        assert [count(after, model) for model in (Revision, ElementRow, BudgetRow)] == [0, 0, 0]
        assert count(after, Entry) == entries


@pytest.mark.parametrize(
    ("row", "field"),
    [
        (wire(ends_on="mount"), "put.0.ends_on"),
        (wire(lags=[{"stage": "mount", "state": "good"}]), "put.0.lags[0].stage"),
        (wire(lengths_m={"vessel-shield": 0.3, "shield-mount": 0.2}), "put.0.lengths_m.shield-mount"),
        (
            wire(kind="coax", attenuators=[{"stage": "sample", "attenuation_dB": 20}]),
            "put.0.attenuators[0].stage",
        ),
        ({"key": "s", "kind": "source", "stage": "sample"}, "put.0.stage"),
        ({"key": "j", "kind": "joint", "hot_stage": "mount", "cold_stage": "platform"}, "put.0.hot_stage"),
    ],
)
def test_an_element_names_only_stages_there_are(session: Session, row: dict[str, Any], field: str) -> None:
    ada, bench = somebody(session), a_cryostat(session, stages=("vessel", "shield", "platform"))
    with pytest.raises(Refused) as refused:
        logged(session, ada, bench, row)
    assert list(refused.value.fields) == [field]


def test_two_thousand_elements_may_be_altered_and_no_one_more_added(books: Books) -> None:
    session, _, bench = books
    many = {f"w{number}": Put(f"w{number}", "wire") for number in range(2000)}
    assert rules.faults(change(0, {"key": "w5", "kind": "wire", "count": 2}), many, AT) == {}
    assert "put" in rules.faults(change(0, wire("one-more")), many, AT)
    swap = change(0, wire("one-more"), remove=["w5"])
    assert rules.faults(swap, many, AT) == {}
    assert bench.revision == 0
    session.rollback()


def test_a_stale_base_is_answered_with_what_the_others_did(books: Books) -> None:
    session, ada, bench = books
    ben = somebody(session, "ben")
    logged(session, ada, bench, wire())
    logged(session, ben, bench, lid())
    with pytest.raises(Conflict) as conflict:
        service.log_change(session, ada, bench.slug, change(0, wire("mine")), AT)
    steps = conflict.value.current
    assert isinstance(steps, list)
    assert [(step.revision.by_name, step.difference.words) for step in steps] == [
        ("Ada", "1 added"),
        ("Ben", "1 added"),
    ]
    assert [put.key for put in steps[1].difference.added] == ["lid"]
    assert bench.revision == 2


def test_a_base_that_is_not_there_yet_is_refused(books: Books) -> None:
    session, ada, bench = books
    with pytest.raises(Refused) as refused:
        service.log_change(session, ada, bench.slug, change(7, wire()), AT)
    assert list(refused.value.fields) == ["base_revision"]


def at_a_barrier(monkeypatch: pytest.MonkeyPatch, writers: int) -> None:
    """Hold every writer between looking and writing until all are there, or half a second has passed."""
    barrier = threading.Barrier(writers)
    looked = service._refuse_stale

    def held(*arguments: Any) -> None:
        looked(*arguments)
        with suppress(threading.BrokenBarrierError):
            barrier.wait(0.5)

    monkeypatch.setattr(service, "_refuse_stale", held)


def together(*writers: Callable[[], str]) -> list[str]:
    """What each says, sorted; all begin at once."""
    said: list[str] = []
    threads = [threading.Thread(target=lambda write=write: said.append(write())) for write in writers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    return sorted(said)


def test_of_two_writers_on_one_base_one_wins_and_the_other_sees_it(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the lock of `guards.find` both pass the look and the second breaks on PostgreSQL."""
    with writing(engine) as session:
        people = [somebody(session, login) for login in ("ada", "ben")]
        slug = a_cryostat(session).slug
        session.commit()
        names = {person.login: apart(session, person) for person in people}
    at_a_barrier(monkeypatch, 2)

    def log(login: str) -> str:
        with writing(engine) as own:
            try:
                service.log_change(own, names[login], slug, change(0, wire(f"loom-{login}")), AT)
            except Conflict as conflict:
                return f"conflict: {conflict.message}"
            except sa.exc.DBAPIError as broken:
                return type(broken).__name__
            own.commit()
            return "logged"

    assert together(lambda: log("ada"), lambda: log("ben")) == [
        "conflict: Somebody changed Bench A since revision 0; it is at 1 now.",
        "logged",
    ]
    with writing(engine) as session:
        assert len(inside(session, guards.find(session, slug))) == 1


@ON_POSTGRES
def test_taking_the_lock_reads_the_cryostat_again(engine: Engine) -> None:
    """A page finds the cryostat before it locks it; what it held must not hide another's change."""
    with writing(engine) as session:
        ada, slug = somebody(session), a_cryostat(session).slug
        session.commit()
        ada = apart(session, ada)
    with writing(engine) as page, writing(engine) as other:
        held = guards.find(page, slug)
        assert held.revision == 0
        service.log_change(other, ada, slug, change(0, wire()), AT)
        other.commit()
        assert guards.find(page, slug, lock=True).revision == held.revision == 1


ACTS: list[tuple[str, Mapping[str, Any] | None, str | None, int]] = [
    ("a wire", wire("new"), None, rules.REWIRE),
    ("a coax", {"key": "new", "kind": "coax"}, None, rules.REWIRE),
    ("a ribbon", {"key": "new", "kind": "ribbon"}, None, rules.REWIRE),
    ("a support", {"key": "new", "kind": "support"}, None, rules.REWIRE),
    ("a joint", {"key": "new", "kind": "joint", "filler": "greased"}, None, rules.OPEN),
    ("a mass", {"key": "new", "kind": "mass"}, None, rules.OPEN),
    ("a touch", {"key": "new", "kind": "touch"}, None, rules.OPEN),
    ("a source", {"key": "new", "kind": "source"}, None, rules.OPEN),
    ("lid off", lid("off"), None, rules.OPEN),
    ("another lid", lid("on", opening_diameter_m=0.1), None, rules.STEWARD),
    ("a lid that is not of the house any more", {"key": "lid", "kind": "lid"}, None, rules.STEWARD),
    ("the loom altered", wire(count=12), None, rules.REWIRE),
    ("the loom out", None, "loom", rules.REWIRE),
    ("the leads of the house out", None, "house-leads", rules.STEWARD),
    ("a house wire", wire("new", house=True), None, rules.STEWARD),
]


@pytest.mark.parametrize(("what", "row", "remove", "needed"), ACTS, ids=[act[0] for act in ACTS])
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_each_grade_may_do_what_its_hand_has_learnt(
    books: Books, what: str, row: Mapping[str, Any] | None, remove: str | None, needed: int
) -> None:
    """Which act needs which grade: common practice, no source."""
    session, ada, bench = books
    logged(session, ada, bench, wire(), lid(), wire("house-leads", house=True))
    ben = somebody(session, "ben", steward=False)
    session.commit()
    wanted = change(1, *([row] if row else []), remove=[remove] if remove else [])
    for grade in rules.GRADES:
        instruments.give_grade(session, CommandLine(), bench, ben, grade, AT)
        session.commit()
        if grade < needed:
            with pytest.raises(Forbidden):
                service.log_change(session, ben, bench.slug, wanted, AT)
        else:
            assert service.log_change(session, ben, bench.slug, wanted, AT).revision.number == 2, what
        session.rollback()
    assert service.log_change(session, ada, bench.slug, wanted, AT).revision.number == 2


def test_a_grade_on_one_cryostat_says_nothing_of_another(books: Books) -> None:
    session, _, bench = books
    other = a_cryostat(session, "Bench B")
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, CommandLine(), other, ben, 4, AT)
    session.flush()
    with pytest.raises(Forbidden):
        logged(session, ben, bench, wire())
    assert logged(session, ben, other, wire()).revision.number == 1
    assert inside(session, bench) == {}


def test_a_restore_is_a_new_revision_that_says_what_it_brings_back(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire(), wire("third"))
    logged(session, ada, bench, wire(count=12), remove=["third"])
    logged(session, ada, bench, wire("second"))
    made = service.restore(session, ada, bench.slug, 1, 3, "It was better", AT)
    assert (made.revision.number, made.revision.restored, made.revision.reason) == (4, 1, "It was better")
    assert inside(session, bench) == inside(session, bench, 1)
    assert len(inside(session, bench, 3)) == 2, "the past stays"


def test_emptiness_can_be_brought_back(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    service.restore(session, ada, bench.slug, 0, 1, "Strip it", AT)
    assert inside(session, bench) == {}


def test_a_restore_is_held_to_the_same_rules_as_any_change(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire(), wire("third", house=True))
    logged(session, ada, bench, remove=["third", "loom"])
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, CommandLine(), bench, ben, 3, AT)
    session.commit()
    with pytest.raises(Forbidden):
        service.restore(session, ben, bench.slug, 1, 2, "The third is of the house", AT)
    with pytest.raises(Conflict):
        service.restore(session, ada, bench.slug, 1, 1, "Late", AT)
    with pytest.raises(Refused):
        service.restore(session, ada, bench.slug, 1, 2, " ", AT)
    with pytest.raises(Refused):
        service.restore(session, ada, bench.slug, 2, 2, "It is what is inside", AT)
    for number in (-1, 3, 10**12):
        with pytest.raises(NotFound):
            service.restore(session, ada, bench.slug, number, 2, "No such", AT)


def test_any_two_revisions_compare(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire(), wire("third"))
    logged(session, ada, bench, wire(count=12), wire("second"))
    logged(session, ada, bench, remove=["third"])
    there, back = service.compare(session, bench, 1, 3), service.compare(session, bench, 3, 1)
    assert there.words == "1 added, 1 taken out, 1 altered"
    assert there.altered[0].fields == {"count": (24, 12)}
    assert back.altered[0].fields == {"count": (12, 24)}
    assert service.compare(session, bench, 2, 2).empty
    assert service.compare(session, bench, 0, 1).words == "2 added"


@pytest.mark.parametrize("number", [-1, 0, 2, 2**31, 2**63, 10**30])
def test_a_revision_that_is_not_there_is_not_found(books: Books, number: int) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    with pytest.raises(NotFound):
        service.revision(session, bench, number)


keys = st.sampled_from(["a", "b", "c", "d"])
puts = st.builds(
    lambda key, kind, count, note: {"key": key, "kind": kind, "count": count, "note": note},
    keys,
    st.sampled_from(["wire", "support"]),
    st.integers(1, 3),
    st.sampled_from(["", "odd"]),
)
changes = st.tuples(
    st.just("change"), st.lists(puts, max_size=3, unique_by=lambda row: row["key"]), st.sets(keys)
)
restores = st.tuples(st.just("restore"), st.integers(0, 9), st.none())


def restored(told: list[dict[str, Put]], number: int, _: None) -> tuple[Change, dict[str, Put]]:
    wanted = told[number % len(told)]
    return rules.restoring(told[-1], wanted, "back", len(told) - 1), wanted


def altered(
    told: list[dict[str, Put]], rows: list[dict[str, Any]], gone: set[str]
) -> tuple[Change, dict[str, Put]]:
    """The change, and what it makes of the newest told, worked out without the rules."""
    gone = {key for key in gone & told[-1].keys() if key not in {row["key"] for row in rows}}
    wanted = {key: row for key, row in told[-1].items() if key not in gone}
    wanted |= {row["key"]: put(row) for row in rows}
    return change(len(told) - 1, *rows, remove=sorted(gone)), wanted


@given(acts=st.lists(changes | restores, min_size=1, max_size=9), number=st.integers(0, 10**9))
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_history_replays_to_the_present(acts: list[Any], number: int, engine: Engine) -> None:
    """Each example has a cryostat of its own, so the shared database does not matter."""
    with writing(engine) as session:
        ada = somebody(session)
        bench = a_cryostat(session, f"Bench {number}")
        told: list[dict[str, Put]] = [{}]
        for what, *how in acts:
            act, wanted = (restored if what == "restore" else altered)(told, *how)
            if wanted != told[-1]:
                service.log_change(session, ada, bench.slug, act, AT)
                told.append(wanted)
        replayed: dict[str, Put] = {}
        for revision, wanted in enumerate(told):
            assert inside(session, bench, revision) == wanted
            if revision:
                step = service.compare(session, bench, revision - 1, revision)
                removed = tuple(row.key for row in step.taken)
                replayed = rules.applied(replayed, rules.Change("", 0, rules.puts_of(step), removed))
            assert replayed == wanted
        session.rollback()


REWRITES = [
    "UPDATE element SET data = '{}'",
    "UPDATE element SET key = 'other'",
    "UPDATE element SET from_revision = 7",
    "DELETE FROM element",
    "UPDATE revision SET reason = 'a better one'",
    "UPDATE revision SET by_name = 'nobody'",
    "DELETE FROM revision",
    "UPDATE heat_budget SET model = 'other'",
    "DELETE FROM heat_budget",
    "UPDATE cooler_version SET note = 'other'",
    "DELETE FROM cooler_version",
    "UPDATE cryostat_state SET state = 'cold'",
    "DELETE FROM cryostat_state",
]


@pytest.mark.parametrize("statement", REWRITES)
def test_the_database_itself_refuses_to_rewrite_the_books(
    engine: Engine, session: Session, statement: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from server.cryostats import budget

    monkeypatch.setattr(budget, "cooler_faults", lambda *_: {})
    ada, bench = somebody(session), a_cryostat(session)
    logged(session, ada, bench, wire())
    session.execute(
        sa.text(
            "INSERT INTO cooler_version (cryostat_id, number, data, note, at, by_name)"
            " VALUES (1, 1, '{}', '', '2026-03-01 00:00:00', 'Ada')"
        )
    )
    instruments.enter_state(session, ada, bench, "open", AT, "", AT)
    session.commit()
    with engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.execute(sa.text(statement))


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_number_of_queries_does_not_grow_with_elements_or_age(engine: Engine, session: Session) -> None:
    ada, small, large = somebody(session), a_cryostat(session), a_cryostat(session, "Bench B")
    for number in range(12):
        logged(session, ada, large, *(wire(f"w{number}-{each}") for each in range(8)))
    session.commit()

    def sent(cryostat: Cryostat, base: int, rows: int) -> int:
        wanted = change(base, *(wire(f"new-{number}") for number in range(rows)))
        assert ada.steward, "what a commit expired is read again before counting"
        assert cryostat.revision == base
        with queries(engine) as found:
            service.log_change(session, ada, cryostat.slug, wanted, AT)
        return len(found)

    def sent_when_late(base: int) -> int:
        session.flush()
        with queries(engine) as found, pytest.raises(Conflict):
            service.log_change(session, ada, large.slug, change(base, wire("late")), AT)
        return len(found)

    assert sent(small, 0, 1) == sent(large, 12, 40)
    assert sent_when_late(0) == sent_when_late(12)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_lid_does_not_vanish_by_any_change_and_a_restore_may_go_back_before_it(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, wire())
    logged(session, ada, bench, lid())
    for wanted in (change(2, remove=["lid"]), change(2, wire("lid"))):
        with pytest.raises(Refused) as refused:
            service.log_change(session, ada, bench.slug, wanted, AT)
        assert "not taken out but altered" in " ".join(refused.value.fields.values())
    service.restore(session, ada, bench.slug, 1, 2, "As it was", AT)
    assert set(inside(session, bench)) == {"loom"}
