"""Slips from venting to closed, what follows from them, facts, durations, the wrong person; both engines."""

from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlmodel import Session, select

from server.checklists import service as checklists
from server.checklists.service import Said
from server.cryostats import counters, dirt, draft_steps, drafts, instruments, parts
from server.cryostats.draft_steps import Ask
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.cryostats.part_rules import Described
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.openings import kinds, service
from server.openings.models import Opening, OpeningEntry
from server.openings.service import Written
from server.people.models import Person
from server.stock import service as stock
from server.stock.models import Lot, Reservation
from tests.factories import AT, a_cryostat, change, lid, logged, somebody, wire
from tests.openings.telling import PARKED, VENT, on_hand, opened, say, stock_up, whole

HOUR = timedelta(hours=1)
Books = tuple[Session, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A session with a laboratory, a steward, and a bench with a loom and a lid."""
    from server.laboratory.service import set_up

    set_up(session, "Invented laboratory", "Europe/Vienna")
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, wire(label="Loom"), lid(label="Lid"))
    return session, ada, cryostat


def test_three_openings_draw_the_grease_the_gloves_and_the_washers_they_usually_take(books: Books) -> None:
    """Amounts from the first set: 0.4 g of grease, 4 pairs of gloves, 2 disc springs an opening."""
    session, ada, cryostat = books
    items = stock_up(session, AT, vacuum_grease="50", gloves="100", disc_spring="100", thermometer="2")
    for day in range(3):
        whole(session, ada, cryostat, AT + timedelta(days=day))
    assert on_hand(session, items["vacuum-grease"]) == pytest.approx(50 - 3 * 0.4)
    assert on_hand(session, items["gloves"]) == 100 - 3 * 4
    assert on_hand(session, items["disc-spring"]) == 100 - 3 * 2
    # One in twenty openings takes a thermometer: none of these said so.
    assert on_hand(session, items["thermometer"]) == 2


def test_what_was_written_as_used_is_drawn_and_the_usual_is_not(books: Books) -> None:
    session, ada, cryostat = books
    items = stock_up(session, AT, vacuum_grease="50", gloves="100")
    number = opened(session, ada, cryostat, AT)
    say(session, ada, cryostat, number, kinds.USED, AT + HOUR, {"amounts": {"vacuum-grease": "0.7"}})
    _close(books, number)
    assert on_hand(session, items["vacuum-grease"]) == pytest.approx(49.3)
    assert on_hand(session, items["gloves"]) == 100


def _close(books: Books, number: int, at_h: int = 2) -> OpeningEntry:
    session, ada, cryostat = books
    at = AT + at_h * HOUR
    say(session, ada, cryostat, number, kinds.TRAY, at, {"out": 3, "in": 3})
    say(session, ada, cryostat, number, kinds.BUILT, at)
    return say(session, ada, cryostat, number, kinds.CLOSE, at, {"list_words": "Paper list used"})


def test_a_stock_that_would_go_below_nothing_asks_for_a_count_and_holds_nothing_back(books: Books) -> None:
    session, ada, cryostat = books
    items = stock_up(session, AT, vacuum_grease="0.2")
    number = whole(session, ada, cryostat, AT)
    assert service.find(session, cryostat, number).phase == kinds.OVER
    assert on_hand(session, items["vacuum-grease"]) == pytest.approx(-0.2)
    lot = session.exec(select(Lot).where(Lot.item_id == items["vacuum-grease"].id)).one()
    assert lot.recount_since is not None
    used = [row for row in service.find(session, cryostat, number).counting if row.kind == kinds.USED]
    grease = next(row for row in used[0].data["items"] if row["key"] == "vacuum-grease")
    assert grease["recount"] is True


def test_what_was_promised_to_the_opening_is_taken_first(books: Books) -> None:
    session, ada, cryostat = books
    items = stock_up(session, AT, gloves="100")
    key = items["gloves"].id
    assert key is not None
    promise = stock.reserve(session, ada, key, 4, AT + 24 * HOUR, "booking 3", AT)
    assert promise.id is not None
    number = service.start(session, ada, cryostat, "Sample", AT, None, [promise.id]).opening.number
    say(session, ada, cryostat, number, kinds.VENT, AT, VENT)
    say(session, ada, cryostat, number, kinds.USED, AT, {"amounts": {"gloves": "4"}})
    session.refresh(promise)
    assert promise.left == 0
    assert session.exec(select(Reservation).where(Reservation.id == promise.id)).one().ended_at == AT


def test_counters_hands_state_and_dirt_follow_from_the_slip(books: Books) -> None:
    session, ada, cryostat = books
    whole(session, ada, cryostat, AT)
    assert counters.value(session, cryostat, "openings") == 1.0
    assert counters.last_hands_on(session, cryostat, ada) == AT + 3 * HOUR
    state = instruments.state_now(session, cryostat)
    assert state is not None
    assert (state.state, state.since) == ("pumping", AT + 3 * HOUR)
    entry = dirt.entries(session, cryostat)[0]
    assert entry.data == {"gas": "nitrogen", "open_s": 3 * 3600.0}


def test_time_under_the_blank_lid_does_not_count_as_open(books: Books) -> None:
    session, ada, cryostat = books
    number = opened(session, ada, cryostat, AT)
    say(session, ada, cryostat, number, kinds.PARK, AT + 2 * HOUR, PARKED)
    state = instruments.state_now(session, cryostat)
    assert state is not None
    assert state.state == "parked"
    with pytest.raises(Conflict, match="parked"):
        say(session, ada, cryostat, number, kinds.BUILT, AT + 2 * HOUR)
    say(session, ada, cryostat, number, kinds.AGAIN, AT + 66 * HOUR)
    _close(books, number, 67)
    assert service.find(session, cryostat, number).opening.open_s == 3 * 3600.0


@pytest.mark.parametrize("missing", sorted(kinds.PARKING))
def test_it_is_not_parked_until_each_of_the_four_is_said(books: Books, missing: str) -> None:
    session, ada, cryostat = books
    number = opened(session, ada, cryostat, AT)
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kinds.PARK, AT + HOUR, {**PARKED, missing: False})
    assert list(refused.value.fields) == [missing]


@pytest.mark.parametrize(
    ("field", "value"), [("coldest_K", 289.9), ("oxygen", None), ("relief_free", False), ("gas", "steam")]
)
def test_venting_waits_for_its_three_gates_and_its_gas(books: Books, field: str, value: object) -> None:
    session, ada, cryostat = books
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kinds.VENT, AT, {**VENT, field: value})
    assert list(refused.value.fields) == [field]


def test_what_the_list_before_warming_has_answered_is_not_asked_again(books: Books) -> None:
    session, ada, cryostat = books
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    address = service.begin_list(session, ada, cryostat.slug, number, "before-warming", AT)
    assert service.begin_list(session, ada, cryostat.slug, number, "before-warming", AT) == address
    key = int(address.rsplit("/", 1)[1])
    checklists.answer(session, ada, key, "relief-free", Said("done"), AT)
    checklists.answer(session, ada, key, "all-warm", Said("done", {"value": 293.0}), AT)
    oxygen = {"value": 0.209, "second": "Ben"}
    checklists.answer(session, ada, key, "oxygen", Said("done", oxygen), AT)
    row = say(session, ada, cryostat, number, kinds.VENT, AT, {"gas": "nitrogen"})
    assert row.data == {"gas": "nitrogen", "coldest_K": 293.0, "oxygen": 0.209, "relief_free": True}


def test_a_relief_that_is_not_free_on_the_list_holds_the_venting_back(books: Books) -> None:
    session, ada, cryostat = books
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    address = service.begin_list(session, ada, cryostat.slug, number, "before-warming", AT)
    said = Said("failed", {}, "It sticks")
    checklists.answer(session, ada, int(address.rsplit("/", 1)[1]), "relief-free", said, AT)
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kinds.VENT, AT, VENT)
    assert "It sticks" in refused.value.fields["relief_free"]


def test_closing_asks_for_the_configuration_the_tray_and_the_list(books: Books) -> None:
    session, ada, cryostat = books
    number = opened(session, ada, cryostat, AT)
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kinds.CLOSE, AT + HOUR)
    assert sorted(refused.value.fields) == ["built", "list_words", "tray"]
    say(session, ada, cryostat, number, kinds.BUILT, AT + HOUR)
    say(session, ada, cryostat, number, kinds.TRAY, AT + HOUR, {"out": 8, "in": 7})
    logged(session, ada, cryostat, wire("other"))
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kinds.CLOSE, AT + 2 * HOUR, {"list_words": "forgotten"})
    found = refused.value.fields
    assert "Revision 2 was logged since" in found["built"]
    assert "8 out and 7 in" in found["tray"]
    assert "two words" in found["list_words"]
    say(session, ada, cryostat, number, kinds.BUILT, AT + 2 * HOUR)
    say(session, ada, cryostat, number, kinds.TRAY, AT + 2 * HOUR, {"out": 8, "in": 7}, "One washer worn out")
    say(session, ada, cryostat, number, kinds.CLOSE, AT + 2 * HOUR, {"list_words": "Paper list used"})
    assert service.find(session, cryostat, number).phase == kinds.CLOSED


def test_facts_tell_what_was_done_and_not_what_was_taken_back(books: Books) -> None:
    session, ada, cryostat = books
    said = Described("ring-1", "ring", "Lid ring", "", {}, place="Bench A")
    parts.enter(session, ada, said, AT, AT.date())
    number = opened(session, ada, cryostat, AT)
    ring = {"where": "Lid", "part": "ring-1", "done": "greased"}
    say(session, ada, cryostat, number, kinds.RING, AT + HOUR, ring)
    screws = {"where": "Mount", "torque_N_m": 0.56}
    wrong = say(session, ada, cryostat, number, kinds.SCREWS, AT + HOUR, screws)
    say(session, ada, cryostat, number, kinds.WINDOW, AT + HOUR, {"where": "Port 1", "done": "moved"})
    assert wrong.id is not None
    service.take_back(session, ada, cryostat.slug, number, wrong.id, "Other bench", AT + HOUR)
    key = cryostat.id or 0
    found = service.facts_since(session, key, AT)
    assert [(fact.kind, fact.subject) for fact in found] == [
        ("opened", ""),
        ("ring-greased", "ring-1"),
        ("window-moved", "Port 1"),
    ]
    assert service.facts_since(session, key, AT + HOUR) == []
    told = parts.entries(session, parts.find(session, "ring-1"))[0]
    assert told.note == "Opening 1 of Bench A: greased"


def test_an_entry_taken_back_gives_the_stock_room_back_what_it_drew(books: Books) -> None:
    session, ada, cryostat = books
    items = stock_up(session, AT, gloves="100")
    number = opened(session, ada, cryostat, AT)
    row = say(session, ada, cryostat, number, kinds.USED, AT + HOUR, {"amounts": {"gloves": "40"}})
    assert row.id is not None
    service.take_back(session, ada, cryostat.slug, number, row.id, "Four, not forty", AT + HOUR)
    assert on_hand(session, items["gloves"]) == 100
    with pytest.raises(Conflict, match="already"):
        service.take_back(session, ada, cryostat.slug, number, row.id, "Again", AT + HOUR)
    step = next(row for row in service.find(session, cryostat, number).entries if row.kind == kinds.VENT)
    with pytest.raises(Refused, match="step stays"):
        service.take_back(session, ada, cryostat.slug, number, step.id or 0, "Not so", AT + HOUR)


def test_durations_are_of_the_slips_own_moments(books: Books) -> None:
    session, ada, cryostat = books
    for day in range(5):
        whole(session, ada, cryostat, AT + timedelta(days=day))
    found = service.durations(session, cryostat.id or 0)
    assert {name: band.median / 3600 for name, band in found.items()} == {
        "vent": 0.5,
        "refit": 1.5,
        "close": 1.0,
        "pump": 6.0,
    }
    assert found["vent"].low == found["vent"].high == 1800.0
    assert service.durations(session, cryostat.id or 0, last=2)["pump"].low is None


def test_there_is_one_slip_at_a_time_and_a_called_off_one_makes_room(books: Books) -> None:
    session, ada, cryostat = books
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    with pytest.raises(Conflict, match="has not ended"):
        service.start(session, ada, cryostat, "Another", AT)
    say(session, ada, cryostat, number, kinds.CALLED_OFF, AT, note="The window is booked")
    assert service.find(session, cryostat, number).phase == kinds.OFF
    assert service.start(session, ada, cryostat, "Another", AT).opening.number == 2
    assert counters.value(session, cryostat, "openings") == 0.0


def test_steps_come_in_their_order_and_not_before_the_one_before(books: Books) -> None:
    session, ada, cryostat = books
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    with pytest.raises(Conflict):
        say(session, ada, cryostat, number, kinds.LID_OFF, AT)
    say(session, ada, cryostat, number, kinds.VENT, AT, VENT)
    early = Written(kinds.LID_OFF, {}, AT - HOUR)
    with pytest.raises(Refused) as refused:
        service.enter(session, ada, cryostat.slug, number, early, AT)
    assert "after the step before" in refused.value.fields["at"]
    ahead = Written(kinds.LID_OFF, {}, AT + HOUR)
    with pytest.raises(Refused):
        service.enter(session, ada, cryostat.slug, number, ahead, AT)


def test_whoever_operates_writes_notes_and_only_whoever_opens_opens(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, 1, AT)
    with pytest.raises(Forbidden):
        service.start(session, ben, cryostat, "Sample", AT)
    number = service.start(session, ada, cryostat, "Sample", AT).opening.number
    say(session, ben, cryostat, number, kinds.NOTE, AT, note="It smells of burning")
    with pytest.raises(Forbidden):
        say(session, ben, cryostat, number, kinds.VENT, AT, VENT)
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    mine = say(session, ada, cryostat, number, kinds.NOTE, AT, note="Mine")
    with pytest.raises(Forbidden, match="who wrote it"):
        service.take_back(session, ben, cryostat.slug, number, mine.id or 0, "No", AT)


def test_a_cold_cryostat_is_vented_only_by_whom_its_table_lets(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    instruments.enter_state(session, ada, cryostat, "cold", AT, "", AT)
    number = service.start(session, ben, cryostat, "Sample", AT).opening.number
    with pytest.raises(Forbidden, match="is cold"):
        say(session, ben, cryostat, number, kinds.VENT, AT, VENT)


@pytest.mark.parametrize(
    ("kind", "data", "field"),
    [
        (kinds.SCREWS, {"where": "Mount", "torque_N_m": float("nan")}, "torque_N_m"),
        (kinds.RING, {"where": "Lid", "done": "kissed"}, "done"),
        (kinds.RING, {"where": "Lid", "done": "seen", "part": "no-such"}, "part"),
        (kinds.TRAY, {"out": 3, "in": -1}, "in"),
        (kinds.NOTE, {"colour": "red"}, "colour"),
        (kinds.USED, {"amounts": {"no-such": "1"}}, "item.no-such"),
        (kinds.USED, {"amounts": ["1"]}, "item."),
        ("dance", {}, "kind"),
    ],
)
def test_what_cannot_be_is_a_sentence_at_its_field(
    books: Books, kind: str, data: dict[str, object], field: str
) -> None:
    session, ada, cryostat = books
    number = opened(session, ada, cryostat, AT)
    with pytest.raises(Refused) as refused:
        say(session, ada, cryostat, number, kind, AT + HOUR, data)
    assert field in refused.value.fields


def test_a_number_nobody_gave_out_is_not_found(books: Books) -> None:
    session, _ada, cryostat = books
    for number in (0, 7, 2**63):
        with pytest.raises(NotFound):
            service.find(session, cryostat, number)


@pytest.mark.parametrize("statement", ["UPDATE opening_entry SET note = 'x'", "UPDATE opening SET why = 'x'"])
def test_the_database_refuses_to_rewrite_a_slip(books: Books, statement: str) -> None:
    session, ada, cryostat = books
    opened(session, ada, cryostat, AT)
    assert session.exec(select(Opening)).one().why == "Sample"
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        session.execute(sa.text(statement))


def test_a_slip_begun_from_a_draft_compares_what_is_built_with_it(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    coax = drafts.make(session, ada, cryostat.slug, Drawn("More", change(1, wire("more"))), AT).draft
    with pytest.raises(Conflict, match="cannot go in yet"):
        service.start(session, ada, cryostat, "Wires", AT, coax.id)
    draft_steps.take(session, ada, coax.id or 0, "asked", 1, "", AT)
    draft_steps.take(session, ada, coax.id or 0, "approved", 1, "", AT)
    with pytest.raises(Forbidden, match="grade 3"):
        service.start(session, ben, cryostat, "Wires", AT, coax.id)
    number = service.start(session, ada, cryostat, "Wires", AT, coax.id).opening.number
    say(session, ada, cryostat, number, kinds.VENT, AT, VENT)
    say(session, ada, cryostat, number, kinds.LID_OFF, AT)
    early = say(session, ada, cryostat, number, kinds.BUILT, AT)
    assert early.data == {"revision": 1, "against_draft": "1 taken out", "since_begun": "no difference"}
    draft_steps.build(session, ada, coax.id or 0, Ask(1), AT)
    built = say(session, ada, cryostat, number, kinds.BUILT, AT)
    assert built.data == {"revision": 2, "against_draft": "no difference", "since_begun": "1 added"}


def test_the_house_draft_goes_in_by_whoever_opens_and_another_bench_s_does_not(books: Books) -> None:
    session, ada, cryostat = books
    ben, other = somebody(session, "ben", steward=False), a_cryostat(session, "Bench B")
    for bench in (cryostat, other):
        instruments.give_grade(session, ada, bench, ben, 2, AT)
    house = drafts.make(
        session, ada, cryostat.slug, Drawn("House", change(1, lid("off")), (), True), AT
    ).draft
    with pytest.raises(NotFound):
        service.start(session, ben, other, "Lid", AT, house.id)
    found = service.start(session, ben, cryostat, "Lid", AT, house.id)
    assert (found.opening.draft_id, found.opening.draft_version) == (house.id, 1)
