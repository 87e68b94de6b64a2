"""Lists in versions, lines counted in, answers that stay, faults opened, gates, grades; on both engines."""

from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlmodel import Session, select

from server.checklists import list_views, lists, service
from server.checklists.generated import NONE_THERE
from server.checklists.lists import Wanted
from server.checklists.models import Answer, Checklist, ListVersion
from server.checklists.own_words import LISTS
from server.checklists.service import Said
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.faults import service as faults
from server.history.models import Entry
from server.laboratory import orders
from server.people.models import Person
from tests.factories import AT, a_cryostat, lid, logged, somebody, wire

JOINT = {
    "key": "mount-joint",
    "kind": "joint",
    "label": "Mount",
    "hot_stage": "mount",
    "cold_stage": "platform",
    "screw_diameter_m": 0.003,
    "torque_N_m": 0.56,
    "screws": 4,
    "screws_of": 4,
    "springs": 8,
    "springs_of": 8,
}
WINDOW = {"key": "port-1", "kind": "window", "label": "Port 1", "state": "in"}


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a bench with a loom, a joint, a window and a lid."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, wire(label="Loom"), JOINT, WINDOW, lid(label="Lid"))
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def begun(books: Books, key: str = "before-closing", by: Person | None = None) -> Checklist:
    session, ada, cryostat = books
    return service.start(session, by or ada, cryostat, key, "Opening 7", AT)


def say(
    books: Books, row: Checklist, key: str, outcome: str = "done", words: str = "", **record: Any
) -> Answer:
    session, ada, _ = books
    return service.answer(session, ada, row.id or 0, key, Said(outcome, record, words), AT)


def test_the_first_use_stores_version_one_and_the_lines_of_what_is_inside(books: Books) -> None:
    session, ada, cryostat = books
    orders.write(session, ada, "laboratory", "No closing on an ungreased ring.", 0, AT)
    assert lists.versions(session, cryostat, "before-closing") == []
    row = begun(books)
    assert [version.number for version in lists.versions(session, cryostat, "before-closing")] == [1]
    found = {line.key: line for line in service.lines_of(row)}
    assert found["lags/loom/shield"].text.startswith("Loom at the shield: under its clamp")
    assert found["mount/mount-joint"].stated_N_m == 0.56
    assert found["mount/mount-joint"].thread == "M3"
    assert found["springs/mount-joint"].of == 8
    assert found["lid/lid"].element == "lid"
    assert "shield-windows/port-1" in found
    assert found["order/laboratory/1"].why == "No closing on an ungreased ring."
    assert found["rings"].text.endswith(NONE_THERE)
    begun(books)
    assert len(lists.versions(session, cryostat, "before-closing")) == 1
    told = session.exec(select(Entry).where(Entry.what == "Checklist begun: Before closing: Opening 7")).all()
    assert len(told) == 2


def test_a_change_of_list_never_alters_what_was_answered(books: Books) -> None:
    session, ada, cryostat = books
    row = begun(books, "before-cooling")
    before = service.lines_of(row)
    answer = say(books, row, "hoses")
    version = lists.newest(session, cryostat, "before-cooling")
    changed = [line for line in lists.lines_of(version) if line.key != "hoses"]
    wanted = Wanted(changed, "Hoses are on the walk-round", 1)
    assert lists.alter(session, ada, cryostat.slug, "before-cooling", wanted, AT).number == 2
    session.expire_all()
    assert service.lines_of(service.find(session, row.id or 0)) == before
    assert session.get_one(Answer, answer.id).text == "Hoses free, nothing leans on them"
    assert "hoses" not in {line.key for line in service.lines_of(begun(books, "before-cooling"))}


def test_only_a_steward_words_a_list_and_on_the_newest(books: Books) -> None:
    session, ada, cryostat = books
    lines = list(LISTS["before-cooling"].lines)
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, 4, AT)
    with pytest.raises(Forbidden):
        lists.alter(session, ben, cryostat.slug, "before-cooling", Wanted(lines[1:], "x", 1), AT)
    with pytest.raises(Refused) as caught:
        lists.alter(session, ada, cryostat.slug, "before-cooling", Wanted(lines, "x", 1), AT)
    assert "differs" in caught.value.fields["reason"]
    lists.alter(session, ada, cryostat.slug, "before-cooling", Wanted(lines[1:], "x", 1), AT)
    with pytest.raises(Conflict, match="version 2"):
        lists.alter(session, ada, cryostat.slug, "before-cooling", Wanted(lines, "x", 1), AT)


def test_a_failing_line_opens_one_fault_and_a_later_answer_is_noted_there(books: Books) -> None:
    session, _, cryostat = books
    row = begun(books)
    first = say(books, row, "lags/loom/shield", "failed", "Slips out")
    again = say(books, row, "lags/loom/shield", "failed", "Still slips")
    assert first.fault_id == again.fault_id
    [fault] = faults.open_faults(session, cryostat.id or 0)
    assert (fault.element_key, fault.state) == ("loom", "open")
    assert "not right. Slips out" in fault.what_seen
    assert f"Checklist {row.id}" in fault.place
    say(books, row, "lags/loom/shield")
    assert service.standing(session, row.id or 0).failing == ()
    texts = [entry.text for entry in faults.entries(session, fault)]
    assert texts[-1] == "The checklist's line reads done now."
    assert len(session.exec(select(Answer)).all()) == 3


def test_a_line_of_an_element_that_has_left_still_opens_its_fault(books: Books) -> None:
    session, ada, cryostat = books
    row = begun(books)
    logged(session, ada, cryostat, remove=("loom",))
    answer = say(books, row, "lags/loom/shield", "failed")
    assert faults.find(session, answer.fault_id or 0).element_key == ""


def test_the_gate_of_warming_opens_with_its_three_lines_and_no_others(books: Books) -> None:
    session = books[0]
    row = begun(books, "before-warming")
    number = row.id or 0
    assert len(service.standing(session, number).reasons) == 3
    with pytest.raises(Refused) as caught:
        say(books, row, "all-warm", value=281.0)
    assert "below 290 K" in caught.value.fields["value"]
    say(books, row, "all-warm", value=293.0)
    say(books, row, "oxygen", value=0.209, second="Ben")
    assert not service.standing(session, number).gate_open
    say(books, row, "relief-free")
    stands = service.standing(session, number)
    assert (stands.gate_open, stands.reasons, stands.answered) == (True, (), 3)


def test_what_a_torque_comes_to_is_remarked_and_kept(books: Books) -> None:
    answer = say(books, begun(books), "mount/mount-joint", value=2.0)
    assert answer.outcome == "done"
    assert "Stated here is 0.56 N·m" in answer.remarks[0]


@pytest.mark.parametrize(("key", "grade"), [(key, own.grade) for key, own in LISTS.items() if own.grade])
def test_a_list_asks_for_its_grade(books: Books, key: str, grade: int) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, grade - 1, AT)
    with pytest.raises(Forbidden):
        begun(books, key, ben)
    instruments.give_grade(session, ada, cryostat, ben, grade, AT)
    begun(books, key, ben)


def test_a_newcomer_of_no_grade_goes_through_the_training(books: Books) -> None:
    ben = somebody(books[0], "ben", steward=False)
    row = begun(books, "newcomer-training", ben)
    said = Said("done", {"second": "Ada"})
    assert service.answer(books[0], ben, row.id or 0, "room", said, AT).by_name == "Ben"


def test_what_is_not_there_is_not_found(books: Books) -> None:
    row = begun(books)
    with pytest.raises(NotFound):
        begun(books, "before-lunch")
    with pytest.raises(NotFound):
        say(books, row, "no-such-line")
    for number in (0, -1, 99, 2**40):
        with pytest.raises(NotFound):
            service.standing(books[0], number)


@pytest.mark.parametrize("table", ["checklist_version", "checklist", "checklist_answer"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET by_name = 'x'"])
def test_the_database_itself_refuses_to_rewrite(books: Books, table: str, statement: str) -> None:
    session = books[0]
    say(books, begun(books), "hands")
    with pytest.raises(sa.exc.DatabaseError, match="append-only"):
        session.execute(sa.text(statement.format(table)))


@pytest.mark.parametrize(("days", "idle"), [(729, False), (731, True)])
def test_a_line_that_nobody_failed_in_two_years_is_asked_about(books: Books, days: int, idle: bool) -> None:
    # Two years: common practice, no source.
    session, ada, cryostat = books
    row = begun(books)
    said = Said("failed", {}, "Slips out")
    late = AT + timedelta(days=700)
    service.answer(session, ada, row.id or 0, "lags/loom/shield", said, late)
    then = AT + timedelta(days=days)
    view = list_views.page(session, ada, cryostat, "before-closing", then)
    found = {line.line.key: line for line in view.lines}
    assert (found["hands"].idle, found["hands"].failed_at) == (idle, None)
    assert (found["lags"].idle, found["lags"].failed_at) == (False, late)


def test_two_versions_of_one_number_cannot_be(books: Books) -> None:
    session, _, cryostat = books
    begun(books)
    version = lists.newest(session, cryostat, "before-closing")
    kept = version.model_dump(exclude={"id"})
    session.add(ListVersion(**kept | {"at": AT + timedelta(days=1)}))
    with pytest.raises(sa.exc.IntegrityError):
        session.flush()
