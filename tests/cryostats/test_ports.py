"""Ports, pins, the count of lines against them, and continuity with isolation."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from server.cryostats import instruments, port_rules, ports, service
from server.cryostats.models import Cryostat
from server.cryostats.port_comparison import Moved, moved
from server.cryostats.port_models import ContinuityLine, PinEntry, Port
from server.cryostats.port_rules import (
    COAX,
    Entered,
    Measured,
    Pins,
    Readings,
    lines_of,
    pin_numbers,
    resistance,
    table,
)
from server.cryostats.ports import Said
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.people.models import Person
from server.units import BadNumber
from tests.factories import (
    AT,
    a_bench,
    a_cryostat,
    change,
    give_grade,
    lid,
    logged,
    put,
    somebody,
    token_of,
    wire,
)

TODAY = date(2026, 3, 14)
HEAD = "port,pin,line,resistance [Ω],isolation [Ω],note\n"


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat with a loom of 24 and two ports of 25 pins."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, lid(), wire())
    for name in ("A", "B"):
        ports.add(session, ada, cryostat.slug, Entered(name, "25-way", 25), AT)
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def connect(books: Books, *numbers: int, by: Person | None = None, **more: Any) -> None:
    session, ada, cryostat = books
    said = Said(numbers, **{"state": "line", "line": "dc", **more})
    ports.connect(session, by or ada, cryostat.slug, port_of(books).id or 0, said, AT)


def port_of(books: Books) -> Port:
    return ports.of_cryostat(books[0], books[2])[0]


def measure(books: Books, *lines: Measured, today: date = TODAY, **more: Any) -> Any:
    session, ada, cryostat = books
    said = Readings(**{"on_day": TODAY, "lid": "off", "lines": lines, **more})
    return ports.measure(session, ada, cryostat.slug, said, AT, today, {})


def fields_refused(call: Callable[[], object]) -> set[str]:
    with pytest.raises(Refused) as caught:
        call()
    return set(caught.value.fields)


def test_lines_are_counted_against_pins_that_are_not_dead(books: Books) -> None:
    """24 lines, a thermometer of 4, a heater of 2, against 2 × 25 pins of which two are dead."""
    session, ada, cryostat = books
    thermometer = wire("therm", kind="thermometer-leads", count=4)
    logged(session, ada, cryostat, thermometer, wire("heat", kind="heater-leads", count=2))
    connect(books, 3, 9, state="dead", line="")
    assert ports.needed(session, cryostat, cryostat.revision).needed == 30
    assert ports.counted(session, cryostat) == Pins(50, 2)
    assert ports.counted(session, cryostat).usable == 48


def test_what_begins_further_in_or_is_a_coax_needs_no_pin_and_a_ribbon_needs_its_traces() -> None:
    inner = put(wire("inner", lengths_m={"platform-sample": 0.1}))
    coax = put({"key": "c", "kind": "coax", "count": 4, "lengths_m": {"vessel-platform": 0.5}})
    ribbon = put(
        {"key": "r", "kind": "ribbon", "count": 2, "traces": 12, "lengths_m": {"vessel-shield": 0.3}}
    )
    assert lines_of([inner, coax, ribbon]).needed == 24
    assert lines_of([inner, coax, ribbon], COAX).needed == 4


def test_an_unknown_count_is_said_and_not_taken_for_none() -> None:
    found = lines_of([put(wire()), put(wire("mystery", count=None))])
    assert (found.needed, found.unknown) == (24, ("mystery",))


def test_the_newest_entry_of_a_pin_holds_and_the_ones_before_stay(books: Books) -> None:
    connect(books, 1, 2, element_key="loom")
    connect(books, 1, state="dead", line="", note="open since run 41")
    session, _, cryostat = books
    now = ports.pins(session, cryostat)[port_of(books).id or 0]
    assert (now[1].state, now[2].state, now[2].line) == ("dead", "line", "dc 2")
    written = session.exec(select(PinEntry.state).where(PinEntry.pin == 1).order_by(col(PinEntry.id))).all()
    assert written == ["line", "dead"]


def test_no_line_goes_on_a_dead_pin_until_somebody_says_it_is_free(books: Books) -> None:
    connect(books, 4, state="dead", line="")
    with pytest.raises(Conflict, match="Pin 4 of port A is dead, says Ada"):
        connect(books, 3, 4, 5)
    connect(books, 4, state="free", line="")
    connect(books, 3, 4, 5)


@pytest.mark.parametrize(
    ("numbers", "more", "field"),
    [
        ((26,), {}, "pin"),
        ((0,), {}, "pin"),
        ((1,), {"state": "gone"}, "state"),
        ((1,), {"line": " "}, "line"),
        ((1,), {"line": "x" * 201}, "line"),
        ((1,), {"element_key": "nothing"}, "element"),
    ],
)
def test_what_cannot_be_on_a_pin_is_refused_at_its_field(
    books: Books, numbers: tuple[int, ...], more: dict[str, Any], field: str
) -> None:
    assert fields_refused(lambda: connect(books, *numbers, **more)) == {field}


@pytest.mark.parametrize(
    ("name", "pins", "field"),
    [("A", 4, "name"), ("", 4, "name"), ("C", 0, "pins"), ("C", 501, "pins"), ("C", None, "pins")],
)
def test_what_cannot_be_a_port_is_refused_at_its_field(
    books: Books, name: str, pins: int | None, field: str
) -> None:
    session, ada, cryostat = books
    said = Entered(name, "", pins)
    assert fields_refused(lambda: ports.add(session, ada, cryostat.slug, said, AT)) == {field}
    other = Entered("D", "", 4, carries="light")
    assert fields_refused(lambda: ports.add(session, ada, cryostat.slug, other, AT)) == {"carries"}


@pytest.mark.parametrize(
    ("text", "wanted"), [("3", (3,)), ("1-4", (1, 2, 3, 4)), ("1, 3,5–6", (1, 3, 5, 6)), ("2,2", (2,))]
)
def test_pins_are_typed_as_people_write_them(text: str, wanted: tuple[int, ...]) -> None:
    assert pin_numbers(text) == wanted


@pytest.mark.parametrize("text", ["", "A", "1;2", "-3", "1--2", "9-3", "12345"])
def test_pins_that_cannot_be_read_say_how_to_type_them(text: str) -> None:
    with pytest.raises(BadNumber, match="such as 3"):
        pin_numbers(text)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("12.3", (12.3, False)), ("> 200 MΩ", (2e8, True)), ("3.2 kohm", (3200.0, False)), ("", (None, False))],
)
def test_a_resistance_is_typed_as_the_meter_shows_it(text: str, wanted: tuple[float | None, bool]) -> None:
    assert resistance(text) == wanted


@pytest.mark.parametrize("text", ["-3", "twelve", "1-2", "nan", "1e999"])
def test_what_is_no_resistance_is_refused(text: str) -> None:
    with pytest.raises(BadNumber):
        resistance(text)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_table_is_read_from_any_spreadsheet(separator: str) -> None:
    text = (HEAD + "A,1,dc 1,12.3,> 200 MΩ,\nA,2,dc 2,open,,dead?\n").replace(",", separator)
    lines, faults = table(text)
    assert faults == {}
    assert lines == (
        Measured("A", 1, "dc 1", resistance_ohm=12.3, isolation_ohm=2e8, isolation_more=True),
        Measured("A", 2, "dc 2", open=True, note="dead?"),
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("port,line\nA,x\n", "Line 1: the columns are"),
        ("port,pin,colour\nA,1,red\n", "“colour” is none of them"),
        (HEAD + "A,1,x,12,,\nA,two,x,12,,\n", "Line 3, pin: enter the number"),
        (HEAD + "A,1,x,twelve,,\n", "Line 2, resistance:"),
        (HEAD + "A,1,x,1,1,,,9\n", "Line 2:"),
    ],
)
def test_a_bad_table_says_line_and_column(text: str, said: str) -> None:
    assert said in table(text)[1]["table"]


def test_a_test_is_kept_with_revision_day_and_who_and_with_the_isolation_of_the_mount(books: Books) -> None:
    lines = (Measured("A", 1, "dc 1", resistance_ohm=12.3), Measured("B", 25, open=True))
    measure(books, *lines, mount_shield_ohm=3200.0)
    session, _, cryostat = books
    [test] = ports.measured(session, cryostat)
    assert (test.revision, test.on_day, test.lid, test.by_name) == (1, TODAY, "off", "Ada")
    assert test.mount_shield_ohm == 3200.0
    assert [(row.port, row.pin, row.open) for row in ports.lines(session, test)] == [
        ("A", 1, False),
        ("B", 25, True),
    ]


def test_a_test_written_down_later_is_of_the_revision_that_stood_on_its_day(books: Books) -> None:
    session, ada, cryostat = books
    nine_days_on, later = AT + timedelta(days=9), (AT + timedelta(days=20)).date()
    wanted = change(cryostat.revision, wire(count=12))
    service.log_change(session, ada, cryostat.slug, wanted, nine_days_on)
    for day in (AT + timedelta(days=2), nine_days_on):
        measure(books, Measured("A", 1), on_day=day.date(), today=later)
    assert [test.revision for test in ports.measured(session, cryostat)] == [2, 1]


@pytest.mark.parametrize(
    ("lines", "more", "field"),
    [
        ((), {}, "table"),
        ((Measured("C", 1),), {}, "table"),
        ((Measured("A", 26),), {}, "table"),
        ((Measured("A", 1), Measured("A", 1)), {}, "table"),
        ((Measured("A", 1),), {"lid": ""}, "lid"),
        ((Measured("A", 1),), {"on_day": date(2026, 3, 15)}, "on_day"),
    ],
)
def test_a_test_that_cannot_be_is_refused_whole(
    books: Books, lines: tuple[Measured, ...], more: dict[str, Any], field: str
) -> None:
    assert fields_refused(lambda: measure(books, *lines, **more)) == {field}
    assert ports.measured(books[0], books[2]) == []


def test_whoever_may_open_says_dead_and_measures_and_whoever_may_rewire_connects(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    with pytest.raises(Forbidden, match="grade 2"):
        connect(books, 1, by=ben, state="dead", line="")
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    connect(books, 1, by=ben, state="dead", line="")
    measure((session, ben, cryostat), Measured("A", 1))
    with pytest.raises(Forbidden, match="grade 3"):
        connect(books, 2, by=ben)
    with pytest.raises(Forbidden, match="grade 3"):
        ports.add(session, ben, cryostat.slug, Entered("C", "", 4), AT)


def test_a_port_of_another_cryostat_is_not_found(books: Books) -> None:
    session, ada, _ = books
    other = a_cryostat(session, "Bench B")
    with pytest.raises(NotFound):
        ports.connect(session, ada, other.slug, port_of(books).id or 0, Said((1,), "free"), AT)


@pytest.mark.parametrize("table_name", ["port", "pin_entry", "continuity_test", "continuity_line"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET id = id + 100"])
def test_the_database_itself_refuses_to_rewrite_them(books: Books, table_name: str, statement: str) -> None:
    connect(books, 1)
    measure(books, Measured("A", 1))
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        books[0].execute(sa.text(statement.format(table_name)))


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """The ports of a cryostat with a loom of 24 that Ben may rewire."""
    slug = a_bench(app.state.engine, steward, lid(), wire())
    give_grade(app.state.engine, slug, member, 3)
    return f"/cryostats/{slug}/ports"


def test_the_page_counts_too_few_pins_and_then_enough(member_client: TestClient, home: str) -> None:
    assert member_client.post(home, data={"name": "A", "pins": "20"}).status_code == 303
    assert "too few pins" in member_client.get(home).text
    assert member_client.post(home, data={"name": "B", "pins": "5"}).status_code == 303
    page = member_client.get(home).text
    assert "24 dc lines needed, 25 of 25 pins usable (0 dead)" in page
    assert "enough pins" in page
    member_client.post(f"{home}/1/pins", data={"pin": "1-2", "state": "dead"})
    assert "24 dc lines needed, 23 of 25 pins usable (2 dead)" in member_client.get(home).text


def test_an_open_draft_is_counted_as_well(
    app: FastAPI, member_client: TestClient, home: str, steward: Person
) -> None:
    from server.cryostats import drafts
    from server.cryostats.drafts import Drawn
    from server.db import writing
    from tests.factories import change

    with writing(app.state.engine) as session:
        wanted = Drawn("Spring", change(1, wire("second", count=10)))
        drafts.make(session, steward, "bench-a", wanted, AT)
        session.commit()
    member_client.post(home, data={"name": "A", "pins": "25"})
    page = member_client.get(home).text
    assert "Draft “Spring”" in page
    assert "34 dc lines needed, 25 of 25 pins usable" in page


def test_a_pasted_table_is_stored_and_shown(member_client: TestClient, home: str) -> None:
    member_client.post(home, data={"name": "A", "pins": "25"})
    text = HEAD + "A,1,dc 1,12.3,> 200 MΩ,<b>\nA,2,dc 2,open,,\n"
    data = {"table": text, "lid": "off", "mount_shield": "> 20 MΩ"}
    answer = member_client.post(f"{home}/tests", data=data)
    assert answer.status_code == 303
    page = member_client.get(answer.headers["location"]).text
    for words in ("12.3 Ω", "open", "&lt;b&gt;", "Ben Member", "&gt; 20"):
        assert words in page


@pytest.mark.parametrize(
    ("path", "data", "said"),
    [
        ("", {"name": "", "pins": "4"}, 'id="f-name-error"'),
        ("", {"name": "B", "pins": "many"}, 'id="f-pins-error"'),
        ("/1/pins", {"pin": "x", "state": "line", "line": "dc"}, 'id="f-pin-1-error"'),
        ("/1/pins", {"pin": "99", "state": "line", "line": "dc"}, 'id="f-pin-1-error"'),
        ("/tests", {"table": "port,pin\nA,x\n", "lid": "on"}, 'id="f-table-error"'),
        (
            "/tests",
            {"table": "port,pin\nA,1\n", "lid": "on", "mount_shield": "much"},
            'id="f-mount_shield-error"',
        ),
        ("/tests", {"table": "port,pin\nA,1\n"}, "Choose whether the lid"),
        ("/tests", {"table": "port,pin\nA,1\n", "lid": "on", "on_day": "soon"}, 'id="f-on_day-error"'),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field(
    member_client: TestClient, home: str, path: str, data: dict[str, str], said: str
) -> None:
    member_client.post(home, data={"name": "A", "pins": "25"})
    answer = member_client.post(home + path, data=data)
    assert answer.status_code == 422
    assert said in answer.text
    if "table" in data:
        assert "port,pin" in answer.text


def test_who_has_no_grade_looks_and_does_nothing(
    app: FastAPI, member_client: TestClient, sign_in: Callable[[Person], TestClient], home: str
) -> None:
    from tests.fixtures.people import make_person

    member_client.post(home, data={"name": "A", "pins": "25"})
    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    assert 'method="post" action="/cryostats' not in guest.get(home).text
    for path, data in (
        ("", {"name": "B", "pins": "4"}),
        ("/1/pins", {"pin": "1", "state": "dead"}),
        ("/tests", {"table": "port,pin\nA,1\n", "lid": "on"}),
    ):
        assert guest.post(home + path, data=data).status_code == 403


def test_who_is_not_signed_in_is_sent_to_the_door(client: TestClient, home: str) -> None:
    assert client.get(home).status_code == 303
    assert client.post(home, data={"name": "A", "pins": "25"}).status_code == 401


def test_without_the_rule_a_line_would_go_on_a_dead_pin(
    books: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The guard's own test is worth something only if it fails without the guard."""
    connect(books, 4, state="dead", line="")
    monkeypatch.setattr(ports, "_refuse_dead", lambda *_: None)
    connect(books, 4)
    assert port_rules.DEAD not in {
        row.state for row in ports.pins(books[0], books[2])[port_of(books).id or 0].values()
    }


def test_more_pins_than_a_port_can_have_are_refused_before_they_are_counted_out() -> None:
    """A short text must not become millions of numbers."""
    from server.cryostats.port_rules import pin_numbers
    from server.units import BadNumber

    with pytest.raises(BadNumber, match="at once"):
        pin_numbers(",".join(["1-9999"] * 1000))


# ------------------------------------------------------------------- coax apart, retired ports, the last test


def test_coax_is_counted_apart_against_coaxial_connectors(books: Books) -> None:
    session, ada, cryostat = books
    ports.add(session, ada, cryostat.slug, Entered("RF", "", 4, carries=COAX), AT)
    coax = {"key": "rf", "kind": "coax", "count": 6, "lengths_m": {"vessel-platform": 0.5}}
    found = lines_of([put(coax), put(wire())], COAX)
    assert (found.needed, lines_of([put(coax), put(wire())]).needed) == (6, 24)
    assert (ports.counted(session, cryostat, COAX), ports.counted(session, cryostat)) == (
        Pins(4, 0),
        Pins(50, 0),
    )


def test_a_retired_port_is_not_counted_takes_no_line_and_stays_in_the_book(books: Books) -> None:
    session, ada, cryostat = books
    number = port_of(books).id or 0
    connect(books, 1)
    assert fields_refused(lambda: ports.retire(session, ada, cryostat.slug, number, "Leaks", AT)) == {
        "reason"
    }
    connect(books, 1, state="free", line="")
    assert fields_refused(lambda: ports.retire(session, ada, cryostat.slug, number, " ", AT)) == {"reason"}
    ports.retire(session, ada, cryostat.slug, number, "Leaks", AT)
    assert ports.counted(session, cryostat) == Pins(25, 0)
    assert [(port.name, gone.reason) for port, gone in ports.retired(session, cryostat)] == [("A", "Leaks")]
    for call in (
        lambda: ports.retire(session, ada, cryostat.slug, number, "Again", AT),
        lambda: ports.connect(session, ada, cryostat.slug, number, Said((1,), "free"), AT),
    ):
        with pytest.raises(Conflict, match="retired, says Ada: Leaks"):
            call()
    again = Entered("A", "", 4)
    assert fields_refused(lambda: ports.add(session, ada, cryostat.slug, again, AT)) == {"name"}
    assert fields_refused(lambda: measure(books, Measured("A", 1))) == {"table"}


WAS_MORE = "isolation was > 200 MΩ"


def line(**more: Any) -> ContinuityLine:
    return ContinuityLine(**{"test_id": 1, "port": "A", "pin": 1, **more})


@pytest.mark.parametrize(
    ("now", "then", "mark", "words"),
    [
        ({"resistance_ohm": 12.0}, {"resistance_ohm": 12.4}, "same", "as before"),
        ({"resistance_ohm": 12.0}, {"resistance_ohm": 10.0}, "worse", "resistance was 10 Ω"),
        ({"resistance_ohm": 10.0}, {"resistance_ohm": 12.0}, "better", "resistance was 12 Ω"),
        ({"resistance_ohm": 0.6}, {"resistance_ohm": 0.2}, "same", "as before"),
        ({"open": True}, {"resistance_ohm": 12.0}, "worse", "now open"),
        ({"resistance_ohm": 12.0}, {"open": True}, "better", "through again"),
        ({"isolation_ohm": 3e6}, {"isolation_ohm": 2e8, "isolation_more": True}, "worse", WAS_MORE),
        ({"isolation_ohm": 2e8, "isolation_more": True}, {"isolation_ohm": 2e9}, "same", "as before"),
        ({"isolation_ohm": 2e9}, {"isolation_ohm": 3e6}, "better", "isolation was 3 MΩ"),
        ({}, {"resistance_ohm": 12.0}, "same", "as before"),
    ],
)  # fmt: skip
def test_a_line_is_told_against_itself_in_the_last_test(
    now: dict[str, Any], then: dict[str, Any], mark: str, words: str
) -> None:
    """A tenth of a resistance, a tenfold isolation: common practice, no source."""
    assert moved(line(**now), line(**then)) == Moved(mark, words)


def test_a_line_that_was_not_measured_last_time_says_so() -> None:
    assert moved(line(), None).mark == "new"


def test_the_page_of_a_test_compares_it_with_the_last_one(member_client: TestClient, home: str) -> None:
    member_client.post(home, data={"name": "A", "pins": "25"})
    first = {
        "table": HEAD + "A,1,dc 1,12.3,> 200 MΩ,\nA,3,dc 3,9,,\n",
        "lid": "off",
        "mount_shield": "> 200 MΩ",
    }
    member_client.post(f"{home}/tests", data=first)
    file = [("file", ("lines.csv", (HEAD + "A;1;dc 1;open;;\n".replace(";", ",")).encode(), "text/csv"))]
    made = member_client.post(f"{home}/tests", data={"lid": "off", "mount_shield": "3 kΩ"}, files=file)
    assert made.status_code == 303, made.text
    page = member_client.get(made.headers["location"]).text
    for words in ("now open", "Not measured this time: 1", "A 3 dc 3", "isolation was &gt; 200 MΩ"):
        assert words in page
    assert "3 kΩ" in member_client.get(home).text


@pytest.mark.parametrize(
    ("content", "text", "said"),
    [
        (b"port,pin\nA,\x00\n", "", "lines.csv, line 2"),
        (b"port,pin\nA,x\n", "", "Line 2, pin"),
        (b"port,pin\nA,1\n", "port,pin\nA,1\n", "not both"),
    ],
)
def test_a_file_that_cannot_be_read_stores_nothing_and_says_the_line(
    member_client: TestClient, home: str, content: bytes, text: str, said: str
) -> None:
    member_client.post(home, data={"name": "A", "pins": "25"})
    file = [("file", ("lines.csv", content, "text/csv"))]
    answer = member_client.post(f"{home}/tests", data={"lid": "off", "table": text}, files=file)
    assert answer.status_code == 422
    assert said in answer.text
    assert "Nothing measured yet" in member_client.get(home).text


def test_a_port_is_retired_through_the_page(member_client: TestClient, home: str) -> None:
    member_client.post(home, data={"name": "A", "pins": "25"})
    wrong = member_client.post(f"{home}/1/retire", data={"reason": ""})
    assert 'id="f-reason-1-error"' in wrong.text
    assert member_client.post(f"{home}/1/retire", data={"reason": "Leaks"}).status_code == 303
    page = member_client.get(home).text
    assert "Retired ports" in page
    assert "Leaks" in page
    assert member_client.post(f"{home}/1/retire", data={"reason": "Leaks"}).status_code == 409


def test_a_program_enters_ports_and_tests(
    app: FastAPI, client: TestClient, home: str, member: Person
) -> None:
    ben = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    here = f"/api/v1{home}"
    made = client.post(here, json={"name": "A", "count": 25}, headers=ben)
    assert (made.status_code, made.json()["carries"]) == (201, "dc")
    pins = client.post(f"{here}/1/pins", json={"pins": [1, 2], "state": "dead"}, headers=ben)
    assert [row["state"] for row in pins.json()] == ["dead", "dead"]
    sent = {"lid": "on", "lines": [{"port": "A", "pin": 3, "resistance_ohm": 12.3}]}
    test = client.post(f"{here}/tests", json=sent, headers=ben)
    assert (test.status_code, test.json()["last"], test.json()["lines"][0]["since"]) == (201, None, None)
    second = client.post(f"{here}/tests", json=sent, headers=ben).json()
    assert (second["last"], second["lines"][0]["since"]) == (1, "as before")
    found = client.get(here, headers=ben).json()
    assert (found["counts"][0]["needed"], found["counts"][0]["usable"], len(found["tests"])) == (24, 23, 2)
    assert client.get(f"{here}/tests/1", headers=ben).json() == test.json()
    assert client.get(f"{here}/tests/9", headers=ben).status_code == 404
    for body in ({}, sent | {"lid": "ajar"}, sent | {"lines": [{"port": "A", "pin": 99}]}, sent | {"x": 1}):
        assert client.post(f"{here}/tests", json=body, headers=ben).status_code == 422, body
    assert client.post(f"{here}/1/retire", json={"reason": "Leaks"}, headers=ben).status_code == 204
    assert client.get(here).status_code == 401
