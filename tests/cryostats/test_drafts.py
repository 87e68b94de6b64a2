"""Drafts on both engines: drawn, agreed to by everybody who must, frozen, built; and two at once."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.engine import Engine
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session, func, select

from server.cryostats import budget, contents, draft_steps, drafts, instruments, service
from server.cryostats.draft_models import Draft, DraftBudget, DraftVersion
from server.cryostats.draft_rules import Clash
from server.cryostats.draft_steps import Ask
from server.cryostats.drafts import Drawn, Sheet
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change, Put
from server.cryostats.service import Logged
from server.db import writing
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import AT, a_cooler, a_cryostat, change, lid, logged, put, somebody, wire

Books = tuple[Session, Person, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who rewires, and a cryostat with a loom and a lid at revision 1."""
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 3, AT)
    logged(session, ada, bench, wire(), lid())
    return session, ada, ben, bench


def drawn(*rows: dict[str, Any], base: int = 1, name: str = "Chip", **more: Any) -> Drawn:
    known = {key: more.pop(key) for key in ("parties", "house") if key in more}
    return Drawn(name, change(base, *rows, **more), **known)


def a_draft(session: Session, person: Person, bench: Cryostat, *rows: dict[str, Any], **more: Any) -> Sheet:
    return drafts.make(session, person, bench.slug, drawn(*(rows or (wire(count=12),)), **more), AT)


def step(session: Session, person: Person, sheet: Sheet, what: str, note: str = "") -> Sheet:
    number = drafts.find(session, sheet.draft.id or 0).draft.version
    return draft_steps.take(session, person, sheet.draft.id or 0, what, number, note, AT)


def frozen(session: Session, ada: Person, person: Person, bench: Cryostat, *rows: dict[str, Any]) -> Sheet:
    sheet = a_draft(session, person, bench, *rows)
    step(session, person, sheet, "asked")
    return step(session, ada, sheet, "approved")


def build(session: Session, person: Person, sheet: Sheet, version: int = 1, **more: Any) -> Logged:
    return draft_steps.build(session, person, sheet.draft.id or 0, Ask(version, **more), AT)


def count(session: Session, model: Any) -> int:
    return session.exec(select(func.count()).select_from(model)).one()


def test_a_draft_has_a_version_a_budget_and_a_line_of_history_and_changes_nothing(books: Books) -> None:
    session, _, ben, bench = books
    a_cooler(session, bench)
    sheet = a_draft(session, ben, bench)
    assert (sheet.draft.name, sheet.version.number, sheet.version.base_revision) == ("Chip", 1, 1)
    assert sheet.standing.state == "drawing"
    assert bench.revision == 1
    found = drafts.budget_of(session, sheet.version)
    wanted = drafts.intended(session, bench, sheet.version)
    assert found.data == budget.compute(session, bench, wanted).data
    assert found.data != budget.of_revision(session, bench, 1).data
    newest = history.of(session, "cryostat/bench-a")[0]
    assert (newest.person_name, newest.what) == ("Ben", "Draft 1, Chip: version 1 stored. Because")


def test_a_draft_can_be_drawn_on_any_revision_and_says_how_it_differs_from_now(books: Books) -> None:
    session, ada, ben, bench = books
    logged(session, ada, bench, wire("second"))
    sheet = a_draft(session, ben, bench, wire(count=12), base=1)
    difference = drafts.difference_to_now(session, sheet)
    assert [put.key for put in difference.taken] == ["second"]
    assert [row.after.key for row in difference.altered] == ["loom"]


def test_a_version_is_never_rewritten(books: Books) -> None:
    session, _, ben, bench = books
    sheet = a_draft(session, ben, bench)
    sheet.version.reason = "Another"
    session.add(sheet.version)
    with pytest.raises(DatabaseError, match="append-only"):
        session.flush()


def test_altering_makes_the_next_version_with_its_own_budget_and_leaves_the_old_one(books: Books) -> None:
    session, _, ben, bench = books
    sheet = a_draft(session, ben, bench)
    again = drafts.alter(session, ben, 1, drawn(wire(count=6), name="Other"), 1, AT)
    assert (again.draft.name, again.version.number, again.draft.id) == ("Other", 2, sheet.draft.id)
    assert [row.number for row in drafts.versions(session, again.draft)] == [2, 1]
    assert drafts.version(session, again.draft, 1).put[0]["count"] == 12
    assert (count(session, DraftVersion), count(session, DraftBudget)) == (2, 2)


def test_storing_on_a_version_that_is_no_longer_newest_is_a_conflict_that_shows_the_newest(
    books: Books,
) -> None:
    session, _, ben, bench = books
    a_draft(session, ben, bench)
    drafts.alter(session, ben, 1, drawn(wire(count=6)), 1, AT)
    with pytest.raises(Conflict) as conflict:
        drafts.alter(session, ben, 1, drawn(wire(count=5)), 1, AT)
    assert isinstance(conflict.value.current, DraftVersion)
    assert conflict.value.current.number == 2


def test_a_stranger_reads_a_draft_and_cannot_alter_ask_withdraw_or_send_it_back(books: Books) -> None:
    session, _, ben, bench = books
    cleo = somebody(session, "cleo", steward=False)
    instruments.give_grade(session, CommandLine(), bench, cleo, 4, AT)
    sheet = a_draft(session, ben, bench)
    assert drafts.find(session, 1).draft.name == "Chip"
    with pytest.raises(Forbidden, match="belongs to Ben"):
        drafts.alter(session, cleo, 1, drawn(wire(count=6)), 1, AT)
    for what in ("asked", "withdrawn"):
        with pytest.raises(Forbidden, match="belongs to Ben"):
            step(session, cleo, sheet, what, "why")
    step(session, ben, sheet, "asked")
    with pytest.raises(Forbidden, match="send it back"):
        step(session, cleo, sheet, "sent back", "why")


def test_somebody_who_may_only_watch_draws_no_draft(books: Books) -> None:
    session, _, _, bench = books
    with pytest.raises(Forbidden, match="grade 1"):
        a_draft(session, somebody(session, "cleo", steward=False), bench)


def test_a_party_may_alter_what_is_shared_with_them(books: Books) -> None:
    session, _, ben, bench = books
    cleo = somebody(session, "cleo", steward=False)
    instruments.give_grade(session, CommandLine(), bench, cleo, 1, AT)
    a_draft(session, ben, bench, parties=(cleo.id or 0,))
    assert drafts.alter(session, cleo, 1, drawn(wire(count=6)), 1, AT).version.by_name == "Cleo"


def test_only_a_steward_approves_and_only_what_was_asked_for(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = a_draft(session, ben, bench)
    with pytest.raises(Conflict, match="being drawn"):
        step(session, ada, sheet, "approved")
    step(session, ben, sheet, "asked")
    with pytest.raises(Forbidden, match="Only a steward"):
        step(session, ben, sheet, "approved")
    made = step(session, ada, sheet, "approved", "Second lag at the platform")
    assert (made.standing.state, made.standing.agreed_at, made.standing.conditions) == (
        "frozen",
        AT,
        "Second lag at the platform",
    )


def test_where_two_share_it_is_frozen_when_the_last_of_them_said_yes(books: Books) -> None:
    session, ada, ben, bench = books
    cleo = somebody(session, "cleo", steward=False)
    sheet = a_draft(session, ben, bench, parties=(ben.id or 0, cleo.id or 0))
    step(session, ben, sheet, "asked")
    step(session, ben, sheet, "yes")
    made = step(session, ada, sheet, "approved")
    assert (made.standing.state, made.standing.missing) == ("approved", ("Cleo",))
    with pytest.raises(Conflict, match="a party has not said yes"):
        build(session, ada, sheet)
    later = AT + timedelta(days=1)
    made = draft_steps.take(session, cleo, 1, "yes", 1, "", later)
    assert (made.standing.state, made.standing.agreed_at) == ("frozen", later)


def test_yes_is_for_those_who_are_named_and_counts_once(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = a_draft(session, ben, bench, parties=(ben.id or 0,))
    step(session, ben, sheet, "asked")
    with pytest.raises(Forbidden, match="named on the draft"):
        step(session, ada, sheet, "yes")
    step(session, ben, sheet, "yes")
    with pytest.raises(Conflict, match="already"):
        step(session, ben, sheet, "yes")


def test_altering_a_frozen_draft_asks_everybody_again(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench)
    again = drafts.alter(session, ben, 1, drawn(wire(count=6)), 1, AT)
    assert (again.standing.state, again.standing.agreed_at) == ("drawing", None)
    with pytest.raises(Conflict, match="being drawn"):
        build(session, ada, sheet, version=2)


def test_a_step_for_a_version_that_is_not_newest_is_a_conflict(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = a_draft(session, ben, bench)
    step(session, ben, sheet, "asked")
    drafts.alter(session, ben, 1, drawn(wire(count=6)), 1, AT)
    with pytest.raises(Conflict, match="you looked at version 1"):
        draft_steps.take(session, ada, 1, "approved", 1, "", AT)


def test_sending_back_and_withdrawing_need_a_reason_and_stop_it(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench)
    with pytest.raises(Refused) as refused:
        step(session, ada, sheet, "sent back", " ")
    assert refused.value.fields == {"note": "Enter why, in a few words"}
    assert step(session, ada, sheet, "sent back", "Too warm").standing.state == "sent back"
    with pytest.raises(Conflict, match="sent back"):
        build(session, ada, sheet)
    assert step(session, ben, sheet, "withdrawn", "No time").standing.state == "withdrawn"
    with pytest.raises(Conflict, match="withdrawn"):
        drafts.alter(session, ben, 1, drawn(wire(count=6)), 1, AT)


def test_bad_input_is_told_at_its_field_and_nothing_is_stored(books: Books) -> None:
    session, _, ben, bench = books
    bad = drawn(wire(count=-3), base=1, name=" ", remove=["nothing"], reason=" ", parties=(99,))
    with pytest.raises(Refused) as refused:
        drafts.make(session, ben, bench.slug, bad, AT)
    assert {"name", "reason", "put.0.count", "remove.0", "parties"} <= refused.value.fields.keys()
    with pytest.raises(Refused) as refused:
        drafts.make(session, ben, bench.slug, drawn(wire(), base=7), AT)
    assert refused.value.fields == {"base_revision": "There is no revision 7; the newest is 1"}
    assert count(session, Draft) == 0
    for number in (1, 0, -1, 2**70):
        with pytest.raises(NotFound):
            drafts.find(session, number)


def test_the_house_draft_is_the_stewards_there_is_one_and_it_needs_no_approval(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Forbidden):
        a_draft(session, ben, bench, house=True)
    sheet = a_draft(session, ada, bench, lid("bored"), house=True)
    assert sheet.standing.state == "house"
    with pytest.raises(Conflict, match="house draft already"):
        a_draft(session, ada, bench, house=True)
    with pytest.raises(Forbidden, match="house draft"):
        drafts.alter(session, ben, 1, drawn(lid()), 1, AT)
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    assert build(session, ben, sheet).revision.number == 2
    assert drafts.find(session, 1).standing.buildable


def test_the_database_itself_holds_one_house_draft_for_a_cryostat(books: Books) -> None:
    session, ada, _, bench = books
    a_draft(session, ada, bench, lid("bored"), house=True)
    session.add(Draft(cryostat_id=bench.id or 0, name="Second", house=True, made_at=AT, by_name="Ada"))
    with pytest.raises(DatabaseError, match=r"uq_draft_house|UNIQUE"):
        session.flush()


def test_building_is_a_change_on_what_is_inside_now_with_a_budget_and_happens_once(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench)
    logged(session, ada, bench, wire("second"))
    made = build(session, ben, sheet)
    assert (made.revision.number, made.revision.base, made.revision.by_name) == (3, 2, "Ben")
    inside = contents.elements(session, bench, 3)
    assert (set(inside), inside["loom"].data["count"]) == ({"loom", "lid", "second"}, 12)
    assert budget.of_revision(session, bench, 3).at == AT
    assert drafts.find(session, 1).standing.state == "built"
    assert history.of(session, "cryostat/bench-a")[0].what.startswith("Draft 1, Chip, version 1: built.")
    with pytest.raises(Conflict, match="is built"):
        build(session, ben, sheet)


def test_a_draft_nobody_agreed_to_is_not_built(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = a_draft(session, ben, bench)
    with pytest.raises(Conflict, match="once it is frozen"):
        build(session, ada, sheet)
    assert bench.revision == 1


def test_building_needs_the_grade_and_what_the_steward_approved_may_hold_house_elements(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench, lid(opening_diameter_m=0.08), wire(count=12))
    with pytest.raises(Forbidden, match="grade 3"):
        build(session, somebody(session, "cleo", steward=False), sheet)
    assert build(session, ben, sheet).revision.number == 2


def test_an_element_changed_since_the_base_is_shown_and_the_person_chooses(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench, wire(count=12), wire("second"))
    logged(session, ada, bench, wire(count=20))
    with pytest.raises(Conflict) as conflict:
        build(session, ben, sheet)
    assert isinstance(conflict.value.current, tuple)
    clash: Clash = conflict.value.current[0]
    counts = [put.data["count"] if put else None for put in (clash.base, clash.now, clash.draft)]
    assert (clash.key, counts) == ("loom", [24, 20, 12])
    assert bench.revision == 2
    build(session, ben, sheet, base_revision=2, choices={"loom": "now"})
    inside = contents.elements(session, bench, 3)
    assert (inside["loom"].data["count"], "second" in inside) == (20, True)


def test_chosen_as_drawn_the_draft_overrules_what_others_did(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench, wire(count=12))
    logged(session, ada, bench, remove=["loom"])
    build(session, ben, sheet, base_revision=2, choices={"loom": "draft"})
    assert contents.elements(session, bench, 3)["loom"].data["count"] == 12


def test_a_choice_made_looking_at_an_older_revision_is_stale(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench, wire(count=12))
    logged(session, ada, bench, wire(count=20))
    logged(session, ada, bench, wire(count=21))
    with pytest.raises(Conflict, match="since revision 2"):
        build(session, ben, sheet, base_revision=2, choices={"loom": "draft"})
    with pytest.raises(Refused) as refused:
        build(session, ben, sheet, choices={"loom": "mine"})
    assert set(refused.value.fields) == {"choices.loom", "base_revision"}


def test_building_a_version_that_is_not_newest_is_a_conflict(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = frozen(session, ada, ben, bench)
    with pytest.raises(Conflict, match="at version 1 now"):
        build(session, ben, sheet, version=2)


def test_as_built_stands_against_as_approved_and_shows_what_was_done_since(books: Books) -> None:
    session, ada, ben, bench = books
    assert drafts.as_built(session, bench) is None
    build(session, ben, frozen(session, ada, ben, bench))
    found = drafts.as_built(session, bench)
    assert found is not None
    assert found.difference.empty
    logged(session, ada, bench, lid("off"))
    found = drafts.as_built(session, bench)
    assert found is not None
    assert [row.after.data["state"] for row in found.difference.altered] == ["off"]


def two_frozen(engine: Engine) -> tuple[int, list[int]]:
    """A steward and two drafts of the same loom, frozen on the same revision."""
    with writing(engine) as session:
        ada, bench = somebody(session), a_cryostat(session)
        logged(session, ada, bench, wire())
        sheets = [frozen(session, ada, ada, bench, wire(count=number)) for number in (6, 12)]
        keys = [sheet.draft.id or 0 for sheet in sheets]
        session.commit()
        return ada.id or 0, keys


def build_at_once(engine: Engine, person_id: int, keys: list[int]) -> list[str]:
    """Everybody builds at the same moment; what came of each."""
    start, outcomes = threading.Barrier(len(keys)), []

    def go(key: int) -> None:
        with writing(engine) as session:
            start.wait()
            person = session.get_one(Person, person_id)
            try:
                draft_steps.build(session, person, key, Ask(1), AT)
                session.commit()
                outcomes.append("built")
            except Conflict as conflict:
                rows = conflict.current if isinstance(conflict.current, tuple) else ()
                outcomes.append(f"conflict in {[row.key for row in rows]}")

    threads = [threading.Thread(target=go, args=(key,)) for key in keys]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(outcomes)


def test_of_two_drafts_of_one_element_built_at_once_one_goes_in_and_one_is_told(engine: Engine) -> None:
    ada_id, keys = two_frozen(engine)
    assert build_at_once(engine, ada_id, keys) == ["built", "conflict in ['loom']"]
    with writing(engine) as session:
        assert session.exec(select(Cryostat.revision)).one() == 2
        assert sorted(drafts.find(session, key).standing.state for key in keys) == ["built", "frozen"]


def test_one_draft_built_twice_at_once_is_built_once(engine: Engine) -> None:
    ada_id, (key, _) = two_frozen(engine)
    assert build_at_once(engine, ada_id, [key, key]) == ["built", "conflict in []"]


KEYS = st.sampled_from(["a", "b", "c"])
COUNTS = st.one_of(st.none(), st.integers(1, 4))
"""How many wires an element has; None takes it out."""
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("change"), st.just(0), KEYS, COUNTS),
        st.tuples(st.just("draft"), st.integers(0, 9), KEYS, COUNTS),
        st.tuples(st.just("restore"), st.integers(0, 9), st.just(""), st.none()),
    ),
    min_size=1,
    max_size=7,
)


def wanted_after(present: dict[str, Put], key: str, number: int | None) -> dict[str, Put]:
    """What is inside once `key` is put with so many wires, or taken out."""
    rest = {name: row for name, row in present.items() if name != key or number is not None}
    return rest if number is None else rest | {key: put(wire(key, count=number))}


def act_of(base: int, present: dict[str, Put], key: str, number: int | None) -> Change | None:
    """The change that does it; None where there is nothing to take out."""
    if number is None:
        return change(base, remove=[key]) if key in present else None
    return change(base, wire(key, count=number))


def draft_and_build(session: Session, ada: Person, bench: Cryostat, wanted: Change) -> None:
    """Through every step; where others were first, as the draft has it."""
    sheet = drafts.make(session, ada, bench.slug, Drawn("Any", wanted), AT)
    for what in ("asked", "approved"):
        step(session, ada, sheet, what)
    choices = {row.key: "draft" for row in drafts.clashes(session, sheet)}
    build(session, ada, sheet, base_revision=bench.revision, choices=choices)


@given(acts=ACTS, number=st.integers(0, 10**9))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_changes_drafts_and_restores_in_any_order_replay_to_the_present(
    acts: list[tuple[str, int, str, int | None]], number: int, engine: Engine
) -> None:
    with writing(engine) as session:
        ada, bench = somebody(session), a_cryostat(session, f"Bench {number}")
        told: list[dict[str, Put]] = [{}]
        for what, at, key, wires in acts:
            back = at % len(told)
            present = told[back] if what == "draft" else told[-1]
            after = told[back] if what == "restore" else wanted_after(told[-1], key, wires)
            act = act_of(back if what == "draft" else len(told) - 1, present, key, wires)
            if after == told[-1] or (what != "restore" and act is None):
                continue
            if what == "restore":
                service.restore(session, ada, bench.slug, back, bench.revision, "Back", AT)
            elif what == "draft" and act:
                draft_and_build(session, ada, bench, act)
            elif act:
                service.log_change(session, ada, bench.slug, act, AT)
            told.append(after)
        assert [contents.elements(session, bench, row) for row in range(len(told))] == told
        session.rollback()
