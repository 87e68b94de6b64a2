"""Parts with identity: what each is, where it has been, and what happened to it, which nobody rewrites."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from threading import Thread
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cryostats import instruments, part_pointers, parts, service
from server.cryostats.models import Cryostat
from server.cryostats.part_models import Part
from server.cryostats.part_rules import KINDS, Described, Lent, Told
from server.db import writing
from server.errors import Conflict, Forbidden, Refused
from server.people.models import Person
from tests.factories import AT, a_bench, a_cryostat, change, give_grade, lid, logged, somebody, wire

TODAY = date(2026, 3, 14)
DUE = date(2026, 4, 1)


def described(tag: str = "loom-03", kind: str = "loom", **more: Any) -> Described:
    return Described(tag, kind, "Twelve pairs", about={"alloy": "phosphor bronze"}, place="Drawer 2", **more)


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat with a lid; loom-03 is in a drawer."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, lid())
    parts.enter(session, ada, described(), AT, TODAY)
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def lend(books: Books, to_cryostat: str = "", **more: Any) -> None:
    session, ada, _ = books
    said = Lent("Jory, next door", TODAY, DUE, to_cryostat, **more)
    parts.lend(session, ada, "loom-03", said, AT, TODAY)


def tell(books: Books, **more: Any) -> None:
    session, ada, _ = books
    parts.tell(session, ada, "loom-03", Told(**{"on_day": TODAY, "state": "shelf", **more}), AT, TODAY)


def fields_refused(call: Callable[[], object]) -> set[str]:
    with pytest.raises(Refused) as caught:
        call()
    return set(caught.value.fields)


def test_a_test_an_other_place_and_another_state_stand_in_its_history_newest_first(books: Books) -> None:
    tell(books, test="continuity, warm", result="line 7 open", place="Bench", state="broken")
    session = books[0]
    part = parts.find(session, "loom-03")
    assert (part.state, part.place) == ("broken", "Bench")
    newest, first = parts.entries(session, part)
    assert (newest.what, newest.test, newest.result) == ("tested", "continuity, warm", "line 7 open")
    assert (first.what, first.state, first.place) == ("entered", "shelf", "Drawer 2")


def test_a_new_description_leaves_the_one_before_in_the_history(books: Books) -> None:
    session, ada, _ = books
    parts.enter(
        session,
        ada,
        Described(
            "t-7",
            "thermometer",
            "Platform",
            "S 1234",
            {"curve_file": "t7.340", "calibrated_on": "2024-05-02"},
        ),
        AT,
        TODAY,
    )
    again = Described("t-7", "thermometer", "Platform", "S 1234", {"curve_file": "t7b.340"})
    parts.describe(session, ada, again, AT, TODAY)
    part = parts.find(session, "t-7")
    assert part.about == {"curve_file": "t7b.340"}
    assert [row.about["curve_file"] for row in parts.entries(session, part)] == ["t7b.340", "t7.340"]


def test_where_it_has_been_is_told_by_cryostat_and_revisions(books: Books) -> None:
    session, ada, first = books
    second = a_cryostat(session, "Bench B")
    logged(session, ada, first, wire(part="loom-03"))
    logged(session, ada, first, wire(part="loom-03", count=20))
    logged(session, ada, first, remove=["loom"])
    logged(session, ada, second, wire("other", part="loom-03"))
    stays = {(row.cryostat.name, row.since.number): row for row in parts.stays(session, "loom-03")}
    assert set(stays) == {("Bench A", 2), ("Bench B", 1)}
    until = stays["Bench A", 2].until
    assert until is not None
    assert until.number == 4
    assert stays["Bench B", 1].until is None


def test_the_part_of_an_element_is_kept_by_revisions_and_documents(books: Books) -> None:
    from server.cryostats import contents
    from server.cryostats.documents import written

    session, ada, cryostat = books
    logged(session, ada, cryostat, wire(part="loom-03"))
    put = contents.elements(session, cryostat, 2)["loom"]
    assert written(put)["part"] == "loom-03"
    assert service.compare(session, cryostat, 1, 2).added[0].part == "loom-03"


@pytest.mark.parametrize("part", ["nothing", "x" * 500, "Ü\u2028"])
def test_an_element_cannot_be_a_part_that_is_not_there(books: Books, part: str) -> None:
    session, ada, cryostat = books
    wanted = change(1, wire(part=part))
    assert fields_refused(lambda: service.log_change(session, ada, cryostat.slug, wanted, AT)) == {
        "put.0.part"
    }


def test_a_part_is_in_one_place_at_a_time(books: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    session, ada, cryostat = books
    other = a_cryostat(session, "Bench B")
    logged(session, ada, cryostat, wire(part="loom-03"))
    twice = change(2, wire("second", part="loom-03"))
    there = change(0, wire(part="loom-03"))
    for slug, wanted in ((cryostat.slug, twice), (other.slug, there)):
        with pytest.raises(Refused) as caught:
            service.log_change(session, ada, slug, wanted, AT)
        assert set(caught.value.fields) == {"put.0.part"}
    monkeypatch.setattr(part_pointers, "faults", lambda *_: {})
    service.log_change(session, ada, other.slug, there, AT)


def test_two_who_put_one_part_into_two_cryostats_at_once_do_not_both_succeed(
    app: FastAPI, steward: Person
) -> None:
    engine = app.state.engine
    slugs = [a_bench(engine, steward, lid())]
    with writing(engine) as session:
        slugs.append(a_cryostat(session, "Bench B").slug)
        parts.enter(session, steward, described(), AT, TODAY)
        session.commit()
    ended: list[str] = []

    def second() -> None:
        with writing(engine) as session:
            try:
                service.log_change(session, steward, slugs[1], change(0, wire(part="loom-03")), AT)
                session.commit()
                ended.append("logged")
            except Refused:
                ended.append("refused")

    with writing(engine) as session:
        service.log_change(session, steward, slugs[0], change(1, wire(part="loom-03")), AT)
        other = Thread(target=second)
        other.start()
        other.join(timeout=1)
        session.commit()
    other.join()
    assert ended == ["refused"]


def test_a_part_may_change_its_element_within_one_change(books: Books) -> None:
    session, ada, cryostat = books
    logged(session, ada, cryostat, wire(part="loom-03"))
    logged(session, ada, cryostat, wire("second", part="loom-03"), remove=["loom"])
    [first, second] = parts.stays(session, "loom-03")
    assert {first.element.key, second.element.key} == {"loom", "second"}


@pytest.mark.parametrize("state", ["broken", "retired"])
def test_what_is_broken_or_retired_does_not_go_in(books: Books, state: str) -> None:
    session, ada, cryostat = books
    tell(books, state=state, place="Box")
    wanted = change(1, wire(part="loom-03"))
    assert fields_refused(lambda: service.log_change(session, ada, cryostat.slug, wanted, AT)) == {
        "put.0.part"
    }


def test_a_part_on_loan_goes_in_only_where_it_is_lent_to(books: Books) -> None:
    session, ada, cryostat = books
    other = a_cryostat(session, "Bench B")
    lend(books, to_cryostat=other.slug)
    here = change(1, wire(part="loom-03"))
    assert fields_refused(lambda: service.log_change(session, ada, cryostat.slug, here, AT)) == {"put.0.part"}
    service.log_change(session, ada, other.slug, change(0, wire(part="loom-03")), AT)


def test_a_loan_goes_out_once_and_comes_back_once(books: Books) -> None:
    session, ada, _ = books
    lend(books)
    assert [(row.loan.to_whom, row.loan.due_on) for row in parts.loans(session)] == [("Jory, next door", DUE)]
    with pytest.raises(Conflict, match="with Jory, next door already"):
        lend(books)
    assert fields_refused(lambda: tell(books, state="shelf", place="Drawer 2")) == {"state"}
    parts.bring_back(session, ada, "loom-03", TODAY, "Drawer 5", "one lug bent", AT, TODAY)
    part = parts.find(session, "loom-03")
    assert (part.state, part.place, parts.loans(session)) == ("shelf", "Drawer 5", ())
    with pytest.raises(Conflict, match="not on loan"):
        parts.bring_back(session, ada, "loom-03", TODAY, "", "", AT, TODAY)


def test_what_is_inside_is_not_lent(books: Books) -> None:
    session, ada, cryostat = books
    logged(session, ada, cryostat, wire(part="loom-03"))
    assert fields_refused(lambda: lend(books)) == {"to_whom"}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        (described("Loom 3"), "tag"),
        (described(""), "tag"),
        (described("loom-03"), "tag"),
        (described("x", "sledge"), "kind"),
        (Described("x", "loom", " "), "name"),
        (Described("x", "loom", "y" * 201), "name"),
        (Described("x", "loom", "y", state="on-loan"), "state"),
        (Described("x", "thermometer", "y", about={"calibrated_on": "last May"}), "about.calibrated_on"),
        (Described("x", "loom", "y", about={"alloy": "\x01"}), "about.alloy"),
    ],
)
def test_what_a_part_cannot_be_is_refused_at_its_field(books: Books, said: Described, field: str) -> None:
    session, ada, _ = books
    assert fields_refused(lambda: parts.enter(session, ada, said, AT, TODAY)) == {field}


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"place": "Drawer 2"}, "note"),
        ({"on_day": DUE, "note": "x"}, "on_day"),
        ({"state": "lost"}, "state"),
        ({"state": "on-loan"}, "state"),
        ({"test": "leak"}, "result"),
        ({"result": "tight"}, "test"),
    ],
)
def test_what_cannot_have_happened_is_refused_at_its_field(
    books: Books, more: dict[str, Any], field: str
) -> None:
    assert fields_refused(lambda: tell(books, **more)) == {field}


def test_grades_on_any_cryostat_decide_who_may_do_what(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    as_ben = (session, ben, cryostat)
    with pytest.raises(Forbidden, match="grade 2"):
        tell(as_ben, note="x")
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    tell(as_ben, note="x")
    for call in (lambda: lend(as_ben), lambda: parts.enter(session, ben, described("loom-04"), AT, TODAY)):
        with pytest.raises(Forbidden, match="grade 3"):
            call()


def test_every_kind_has_what_the_trade_asks_of_it() -> None:
    """Rings by flange, thermometers by curve file and calibration date: common practice, no source."""
    asked = {kind: {row.name for row in about.asked} for kind, about in KINDS.items()}
    assert {"flange", "fitted_on", "grease"} <= asked["ring"]
    assert {"curve_file", "calibrated_on"} <= asked["thermometer"]
    assert set(KINDS) == {
        "ring", "window", "loom", "coax", "thermometer", "heater", "torque-driver", "transport"
    }  # fmt: skip


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM part",
        "UPDATE part SET tag = 'x'",
        "DELETE FROM part_entry",
        "UPDATE part_entry SET note = 'x'",
        "UPDATE part_loan SET due_on = '2030-01-01'",
        "DELETE FROM part_return",
        "UPDATE element SET part = ''",
    ],
)
def test_the_database_itself_refuses_to_rewrite_them(books: Books, statement: str) -> None:
    session, ada, cryostat = books
    logged(session, ada, cryostat, wire())
    lend(books)
    parts.bring_back(session, ada, "loom-03", TODAY, "", "", AT, TODAY)
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        session.execute(sa.text(statement))


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def slug(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat that Ben may rewire."""
    made = a_bench(app.state.engine, steward, lid())
    give_grade(app.state.engine, made, member, 3)
    return made


LOOM = {
    "tag": "loom-03",
    "kind": "loom",
    "name": "Twelve pairs",
    "about.alloy": "phosphor bronze",
    "state": "shelf",
    "place": "Drawer 2",
}


@pytest.mark.usefixtures("slug")
def test_a_part_goes_through_the_pages_from_entering_to_coming_back(member_client: TestClient) -> None:
    entered = member_client.post("/parts", data=LOOM)
    assert (entered.status_code, entered.headers["location"]) == (303, "/parts/loom-03")
    told = member_client.post(
        "/parts/loom-03/entries",
        data={"state": "shelf", "place": "Drawer 2", "test": "continuity", "result": "all through"},
    )
    lent = member_client.post("/parts/loom-03/loans", data={"to_whom": "Sabe", "due_on": "2199-01-01"})
    assert (told.status_code, lent.status_code) == (303, 303)
    assert "2199-01-01" in member_client.get("/parts").text
    assert member_client.post("/parts/loom-03/return", data={"place": "Drawer 9"}).status_code == 303
    page = member_client.get("/parts/loom-03").text
    for words in ("continuity, all through", "To Sabe, due back 2199-01-01", "Drawer 9", "phosphor bronze"):
        assert words in page


def test_the_change_form_takes_the_tag_and_says_at_the_field_when_there_is_none(
    member_client: TestClient, slug: str
) -> None:
    member_client.post("/parts", data=LOOM)
    form = {
        "base_revision": "1",
        "reason": "New loom",
        "kind": "wire",
        "label": "Loom",
        "e.material": "phosphor-bronze",
        "e.diameter_m": "0.127 mm",
        "e.count": "24",
        "do": "log",
    }
    wrong = member_client.post(f"/cryostats/{slug}/configuration", data=form | {"part": "loom-99"})
    assert wrong.status_code == 422
    assert 'id="f-part-error"' in wrong.text
    right = member_client.post(f"/cryostats/{slug}/configuration", data=form | {"part": "loom-03"})
    assert right.status_code == 303, right.text
    assert "inside now" in member_client.get("/parts/loom-03").text


@pytest.mark.usefixtures("slug")
@pytest.mark.parametrize(
    ("path", "data", "field"),
    [
        ("/parts", LOOM | {"tag": "A B"}, "tag"),
        ("/parts", LOOM | {"kind": "<b>"}, "kind"),
        ("/parts/here/entries", {"state": "shelf", "on_day": "soon", "note": "x"}, "on_day"),
        ("/parts/here/loans", {"to_whom": "Sabe", "due_on": ""}, "due_on"),
        ("/parts/here/loans", {"to_whom": "", "due_on": "2199-01-01"}, "to_whom"),
        ("/parts/here/description", {"name": ""}, "name"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field_and_what_was_typed_stays(
    member_client: TestClient, path: str, data: dict[str, str], field: str
) -> None:
    member_client.post("/parts", data=LOOM | {"tag": "here"})
    answer = member_client.post(path, data=data)
    assert answer.status_code == 422
    assert "To mend" in answer.text
    if field != "kind":
        assert f'id="f-{field.replace(".", "-")}-error"' in answer.text


@pytest.mark.usefixtures("slug")
def test_who_has_no_grade_looks_and_does_nothing(
    app: FastAPI, member_client: TestClient, sign_in: Callable[[Person], TestClient]
) -> None:
    from tests.fixtures.people import make_person

    member_client.post("/parts", data=LOOM)
    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    page = guest.get("/parts/loom-03")
    assert page.status_code == 200
    assert '<form method="post" action="/parts' not in page.text
    assert guest.get("/parts/new").status_code == 403
    for path in ("/parts", "/parts/loom-03/entries", "/parts/loom-03/description"):
        assert guest.post(path, data=LOOM | {"note": "x"}).status_code == 403
    loan = {"to_whom": "Me", "due_on": "2199-01-01"}
    assert guest.post("/parts/loom-03/loans", data=loan).status_code == 403


def test_who_is_not_signed_in_is_sent_to_the_door(client: TestClient) -> None:
    assert client.get("/parts").status_code == 303
    assert client.post("/parts", data=LOOM).status_code == 401


def test_a_part_that_is_not_there_is_not_found(member_client: TestClient) -> None:
    for path in ("/parts/none", "/parts/%00", "/parts/" + "x" * 300):
        assert member_client.get(path).status_code == 404


def test_an_overdue_loan_is_marked(app: FastAPI, member_client: TestClient, steward: Person) -> None:
    with writing(app.state.engine) as session:
        parts.enter(session, steward, described(), AT, TODAY)
        lent_at = datetime(2026, 1, 5, tzinfo=UTC)
        said = Lent("Sabe", date(2026, 1, 5), date(2026, 1, 6))
        parts.lend(session, steward, "loom-03", said, lent_at, TODAY)
        session.commit()
        assert session.get(Part, 1) is not None
    assert "overdue" in member_client.get("/parts").text
    assert "overdue" in member_client.get("/parts/loom-03").text
