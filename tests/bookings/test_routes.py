"""The pages: asking, a booking and what is done with it, holds, rules, groups; bad input, wrong person."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from server.bookings import grades, views
from server.bookings.lines import Desk
from server.bookings.models import Booking, Group, Hold
from server.cryostats import guards, instruments
from server.db import now, reading, writing
from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, wire

HOME = "/cryostats/bench-a"
WISH = {"cold_hours": "10", "purpose": "Noise of the gate"}


@pytest.fixture
def bench(app: FastAPI, steward: Person, member: Person) -> str:
    """Bench A, cold since this morning, and Ben who may operate it."""
    slug = a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"))
    give_grade(app.state.engine, slug, member, 1)
    with writing(app.state.engine) as session:
        cryostat, at = guards.find(session, slug), now()
        instruments.enter_state(session, steward, cryostat, "cold", at - timedelta(hours=1), "", at)
        session.commit()
    return slug


@pytest.fixture
def ben(bench: str, sign_in: Callable[[Person], TestClient], member: Person) -> TestClient:
    assert bench
    return sign_in(member)


@pytest.fixture
def ada(bench: str, steward_client: TestClient) -> TestClient:
    assert bench
    return steward_client


def later(days: float = 3) -> str:
    return (datetime.now(UTC).replace(minute=0, second=0, microsecond=0) + timedelta(days=days)).isoformat()


def taken(client: TestClient, **more: str) -> str:
    """The address of a booking made on the page."""
    answer = client.post(f"{HOME}/book", data=WISH | {"cold_starts": later()} | more)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def booked(app: FastAPI) -> Booking:
    with reading(app.state.engine) as session:
        return session.exec(select(Booking)).one()


def test_an_ask_in_the_address_is_answered_with_slots(ben: TestClient) -> None:
    page = ben.get(f"{HOME}/book", params=WISH)
    assert page.status_code == 200
    assert "Slot 1: cold from" in page.text
    assert "Take slot 1" in page.text
    assert ben.get(f"{HOME}/book").status_code == 200


def test_where_nothing_is_free_in_time_the_page_says_what_stands_there_and_when_it_is(
    ben: TestClient,
) -> None:
    soon = later(0.5)
    page = ben.get(
        f"{HOME}/book", params={"cold_hours": "12", "purpose": "A look", "want": "as-is", "latest": soon}
    )
    assert "No slot in this time" in page.text
    assert "The first place after it is cold from" in page.text
    assert "does not fit between its neighbours" in page.text


def test_who_may_help_is_looked_up_once_for_all_slots_of_one_grade(
    ben: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, looked_up = [], grades.helpers

    def counted(session: Session, desk: Desk, grade: int, at: datetime) -> tuple[Person, ...]:
        asked.append(grade)
        return looked_up(session, desk, grade, at)

    monkeypatch.setattr(grades, "helpers", counted)
    assert "Take slot 5" in ben.get(f"{HOME}/book", params=WISH).text
    assert asked == [1]


def test_a_bad_ask_says_what_to_mend(ben: TestClient) -> None:
    for name, value, words in (
        ("cold_hours", "many", "Enter hours such as 40"),
        ("cold_hours", "\x00", "Enter the hours of cold"),
        ("cold_hours", "9" * 400, "Enter hours"),
        ("purpose", "", "Enter what it is for"),
        ("inside", "draft:99999999999999", "Choose one of the list"),
        ("inside", "draft:77", "There is no draft 77"),
        ("inside", "house", "has no house draft"),
        ("wanted", "cold", "Enter a temperature"),
        ("earliest", "soon", "Enter day and time"),
        ("latest", "0001-01-01 00:00", "Enter"),
        ("group", "7", "Choose a group"),
    ):
        answer = ben.post(f"{HOME}/book", data=WISH | {"cold_starts": later(), name: value})
        assert answer.status_code in (404, 422), name
        assert words in answer.text, (name, value)


def test_time_that_was_taken_meanwhile_shows_what_is_free_now(ben: TestClient) -> None:
    taken(ben)
    answer = ben.post(f"{HOME}/book", data=WISH | {"cold_starts": later()})
    assert answer.status_code == 409
    assert "Somebody was there first" in answer.text
    assert "Take slot 1" in answer.text


def test_a_wish_waits_takes_a_place_and_is_cancelled(app: FastAPI, ben: TestClient) -> None:
    answer = ben.post(f"{HOME}/book", data=WISH | {"do": "wait", "cold_as_is": "yes"})
    address = answer.headers["location"]
    assert "Choose its place" in ben.get(address).text
    assert "also as it is, cold" in ben.get("/plan").text
    assert ben.post(f"{address}/move", data={"cold_starts": later()}).status_code == 303
    assert booked(app).state == "booked"
    assert "What it costs now" in ben.get(f"{address}/cancel").text
    assert ben.post(f"{address}/cancel", data={"note": "No chip"}).status_code == 303
    assert booked(app).state == "cancelled"
    assert ben.post(f"{address}/cancel").status_code == 409


def test_each_act_refuses_what_cannot_be(ben: TestClient, ada: TestClient) -> None:
    address = taken(ben)
    for act, data, status in (
        ("window", {"do": "extend", "window_ends": "never"}, 422),
        ("window", {"do": "shorten"}, 422),
        ("move", {"cold_starts": "0001-01-01 00:00"}, 422),
        ("move", {}, 422),
        ("shift", {"late_h": "2"}, 409),
        ("shift", {"late_h": "x"}, 422),
        ("agree", {}, 409),
        ("freeze", {}, 409),
        ("no-show", {}, 409),
        ("begin", {}, 409),
        ("give-back", {"hours": "2"}, 403),
        ("nothing", {}, 404),
    ):
        assert ben.post(f"{address}/{act}", data=data).status_code == status, act
    assert ada.post(f"{address}/give-back", data={"hours": "99", "cause": "x"}).status_code == 422
    assert ben.post(f"{address}/window", data={"do": "extend", "window_ends": later(4)}).status_code == 303


def test_the_wrong_person_does_nothing_and_does_not_see_what_it_is_for(
    app: FastAPI, ben: TestClient, ada: TestClient
) -> None:
    address = taken(ada)
    page = ben.get(address)
    assert page.status_code == 200
    assert "Noise of the gate" not in page.text
    assert "Noise of the gate" not in ben.get("/plan").text
    assert ben.post(f"{address}/cancel").status_code == 403
    assert booked(app).state == "booked"
    assert TestClient(app, follow_redirects=False).get("/plan").status_code == 303


def test_what_is_not_there_is_not_found(ben: TestClient) -> None:
    for address in ("/bookings/77", "/bookings/99999999999999999999", "/cryostats/nowhere/book"):
        assert ben.get(address).status_code == 404
    assert ben.get("/cryostats/nowhere/holds").status_code == 404
    assert ben.post(f"{HOME}/holds/77/end").status_code == 404


def test_the_plan_is_shown_for_any_day_and_any_view(ben: TestClient) -> None:
    taken(ben)
    for query in (
        "",
        "?view=month",
        "?view=list",
        "?view=odd&from=soon",
        "?from=0001-01-01",
        "?from=9999-12-31",
    ):
        assert ben.get(f"/plan{query}").status_code == 200, query
    assert "The same as a list" in ben.get("/plan").text


def _widths(page: str) -> tuple[float, list[float]]:
    """How wide the timeline is drawn, and everything in it."""
    drawing = page[page.index('class="plan-line"') :]
    whole, *parts = (float(found) for found in re.findall(r' width="([0-9.]+)"', drawing))
    return whole, parts


def test_a_week_with_a_clock_change_is_an_hour_shorter_and_its_days_stay_in_place(ben: TestClient) -> None:
    """In 2026 Central Europe loses an hour on 29 March: 167 hours instead of 168; Sunday 23."""
    usual, _ = _widths(ben.get("/plan?from=2026-03-18").text)
    short, days = _widths(ben.get("/plan?from=2026-03-25").text)
    assert short / usual == pytest.approx(167 / 168)
    assert any(day / usual == pytest.approx(23 / 168) for day in days)


def test_holds_are_placed_prolonged_and_ended_on_a_page(
    app: FastAPI, ada: TestClient, ben: TestClient
) -> None:
    taken(ben)
    held = {
        "kind": "service",
        "reason": "Adsorber",
        "condition": "It runs",
        "starts": later(2),
        "ends": later(5),
    }
    assert ben.post(f"{HOME}/holds", data=held).status_code == 403
    assert ada.post(f"{HOME}/holds", data=held | {"reason": ""}).status_code == 422
    assert ada.post(f"{HOME}/holds", data=held | {"ends": "then"}).status_code == 422
    assert ada.post(f"{HOME}/holds", data=held).status_code == 303
    assert ada.post(f"{HOME}/holds", data=held).status_code == 409
    assert booked(app).state == "displaced"
    assert "lost its place" in ben.get("/plan").text
    with reading(app.state.engine) as session:
        number = session.exec(select(Hold.id)).first()
    longer = {"ends": later(6), "note": "The part is late"}
    assert ada.post(f"{HOME}/holds/{number}/prolong", data=longer).status_code == 303
    assert ada.post(f"{HOME}/holds/{number}/end", data={"note": ""}).status_code == 422
    assert ada.post(f"{HOME}/holds/{number}/end", data={"note": "It runs"}).status_code == 303
    assert ada.post(f"{HOME}/holds/{number}/odd").status_code == 404


def test_rules_are_set_with_a_reason_and_only_by_a_steward(ada: TestClient, ben: TestClient) -> None:
    rule = {"scope": "bench-a", "name": "longest_days", "value": "12", "reason": "A long series"}
    assert ben.post("/plan/rules", data=rule).status_code == 403
    assert ada.post("/plan/rules", data=rule | {"reason": ""}).status_code == 422
    assert ada.post("/plan/rules", data=rule | {"value": "x"}).status_code == 422
    assert ada.post("/plan/rules", data=rule | {"name": "odd"}).status_code == 422
    assert ada.post("/plan/rules", data=rule | {"name": "country", "value": "AT"}).status_code == 422
    assert ada.post("/plan/rules", data=rule).status_code == 303
    assert "A long series" in ben.get("/plan/rules?scope=bench-a").text
    house = {"scope": "laboratory", "name": "country", "value": "AT", "reason": "Ours"}
    assert ada.post("/plan/rules", data=house | {"value": "Atlantis"}).status_code == 422
    assert ada.post("/plan/rules", data=house).status_code == 303
    assert "National Day" in ben.get("/plan?from=2026-10-26").text
    assert ben.get("/plan/rules?scope=nowhere").status_code == 404


def test_groups_are_made_joined_and_left(
    app: FastAPI, ada: TestClient, ben: TestClient, member: Person
) -> None:
    made = {"name": "Quiet charge", "share": "2"}
    assert ben.post("/plan/rules/groups/make", data=made).status_code == 403
    assert ada.post("/plan/rules/groups/make", data=made | {"share": "none"}).status_code == 422
    assert ada.post("/plan/rules/groups/make", data=made).status_code == 303
    assert ada.post("/plan/rules/groups/make", data=made).status_code == 422
    with reading(app.state.engine) as session:
        group = str(session.exec(select(Group.id)).one())
    who = {"group": group, "person": str(member.id)}
    assert ada.post("/plan/rules/groups/join", data=who | {"person": "99"}).status_code == 404
    assert ada.post("/plan/rules/groups/join", data=who).status_code == 303
    assert "Quiet charge" in ben.get(taken(ben, group=group)).text
    assert ada.post("/plan/rules/groups/share", data=who | {"share": "3"}).status_code == 303
    assert ada.post("/plan/rules/groups/leave", data=who).status_code == 303
    assert ada.post("/plan/rules/groups/leave", data=who).status_code == 404
    assert ada.post("/plan/rules/groups/odd").status_code == 404
    assert "Quiet charge" in ben.get("/plan/shares").text


def test_whom_a_booking_does_not_concern_reads_who_and_when_and_no_more(
    ada: TestClient, ben: TestClient
) -> None:
    more = {"wanted": "3.6 K", "hazards": "Acid", "override": "A visitor", "cold_starts": later()}
    taken(ada, **more)
    ada.post("/bookings/1/cancel", data={"note": "The chip cracked"})
    own, others = ada.get("/bookings/1").text, ben.get("/bookings/1").text
    for words in ("Noise of the gate", "3.6 K", "Acid", "A visitor", "The chip cracked"):
        assert words in own
        assert words not in others
    assert "Cancelled" in others


def test_the_page_of_a_cryostat_tells_who_has_it_and_who_is_next(
    app: FastAPI, ada: TestClient, ben: TestClient
) -> None:
    part = {"HX-Request": "true"}
    assert f'hx-get="{HOME}/plan/part"' in ben.get(HOME).text
    assert "Nobody has booked it now" in ben.get(f"{HOME}/plan/part", headers=part).text
    taken(ben)
    told = ada.get(f"{HOME}/plan/part", headers=part).text
    assert 'Next: <a href="/bookings/1">Ben' in told
    assert "Noise of the gate" not in told
    assert "<html" not in told
    soon = (datetime.now(UTC) + timedelta(minutes=2)).isoformat()
    starts = datetime.fromisoformat(booked(app).phases[0]["starts"])
    with reading(app.state.engine) as session:
        view = views.now_part(session, guards.find(session, "bench-a"), starts + timedelta(minutes=1))
    assert (view.booking.id if view.booking else 0, view.next) == (1, None)
    assert view.until is not None
    assert view.until > starts + timedelta(hours=10)
    held = {"kind": "fault", "reason": "Leak", "condition": "Tight", "ends": soon}
    assert ben.post(f"{HOME}/holds", data=held).status_code == 303
    assert "Fault of the instrument: Leak" in ben.get(f"{HOME}/plan/part", headers=part).text
    assert ben.get(f"{HOME}/plan/part").headers["location"] == "/plan"
    assert ben.get("/cryostats/nowhere/plan/part", headers=part).status_code == 404


def test_two_requests_are_weighed_and_settled_on_a_page(
    app: FastAPI, ada: TestClient, ben: TestClient
) -> None:
    for client, cold in ((ben, "10"), (ada, "20")):
        client.post(f"{HOME}/book", data=WISH | {"cold_hours": cold, "do": "wait"})
    assert "One request" in ben.get(f"{HOME}/clash").text
    page = ben.get(f"{HOME}/clash?first=1&second=2")
    assert "What each way takes" in page.text
    assert "Settle it so" not in page.text
    assert ben.get(f"{HOME}/clash?first=1&second=1").status_code == 422
    assert ben.get(f"{HOME}/clash?first=1&second=99").status_code == 404
    settled = {"first": "1", "second": "2", "choice": "shared", "reason": "One window for both"}
    assert ben.post(f"{HOME}/clash", data=settled).status_code == 403
    assert ada.post(f"{HOME}/clash", data=settled | {"reason": ""}).status_code == 422
    assert ada.post(f"{HOME}/clash", data=settled | {"first": "x"}).status_code == 422
    assert ada.post(f"{HOME}/clash", data=settled).status_code == 303
    assert "Ada Steward: 20 cold hours" in ben.get("/bookings/1").text
    assert "shares another booking" in ben.get("/bookings/2").text.lower()
    assert ben.post("/bookings/1/leave").status_code == 403
    assert ada.post("/bookings/1/leave").status_code == 303
    with reading(app.state.engine) as session:
        host = session.get(Booking, 1)
        assert host is not None
        assert host.cold_hours == 10
