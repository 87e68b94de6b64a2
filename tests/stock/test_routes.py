"""The pages of the stock room: whole ways, bad input, the wrong person."""

import re
from decimal import Decimal
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.cautions.service import seed
from server.db import reading, writing
from server.people.models import Person
from server.stock import service
from server.stock.models import Item, Loan, Lot, Movement, Order, Reservation
from tests.factories import a_bench, give_grade
from tests.stock.factories import BOTH, a_lot, an_item, key_of

SOON = "2099-03-14"


@pytest.fixture(autouse=True)
def books(app: FastAPI) -> FastAPI:
    """A tube of grease, open, and a sealed one."""
    with writing(app.state.engine) as session:
        seed(session)
        item = an_item(
            session,
            cautions=["S11"],
            hazard="Mind the grit.",
            forbidden=[{"what": "thermal-grease", "note": "never"}],
            floor=Decimal(20),
            floor_sealed=1,
            stops_work=True,
        )
        an_item(session, "thermal-grease")
        a_lot(session, item, "20", sealed=True, opened_on=item.made_at.date())
        a_lot(session, item, "50", sealed=True)
        session.commit()
    return app


@pytest.fixture
def mover(books: FastAPI, member: Person, member_client: TestClient) -> TestClient:
    """Somebody with grade 1 on some cryostat."""
    give_grade(books.state.engine, a_bench(books.state.engine, member), member, 1)
    return member_client


def do(client: TestClient, what: str, **fields: Any) -> Any:
    return client.post("/stock/items/vacuum-grease/movements", data={"do": what, **fields})


def rows(app: FastAPI, model: type[Any]) -> list[Any]:
    with reading(app.state.engine) as session:
        return list(session.exec(select(model)).all())


def test_the_page_tells_what_to_mind_where_a_hand_takes_it(member_client: TestClient) -> None:
    page = member_client.get("/stock/items/vacuum-grease").text
    assert "Caution: solvents and varnish" in page
    assert "Local rules and your safety officer decide" in page
    assert "Mind the grit." in page
    assert "Must not stand in" in page
    assert "70 g" in page
    assert "Needs grade 1 (operate)" in page


def test_whoever_has_no_grade_sees_and_moves_nothing(books: FastAPI, member_client: TestClient) -> None:
    assert member_client.get("/stock").status_code == 200
    assert do(member_client, "used", amount="1").status_code == 403
    assert member_client.post("/stock/count", data={"lot.1": "3"}).status_code == 403
    assert member_client.get("/stock/movements/1/correction").status_code == 403
    assert member_client.post("/stock/lots/1/open").status_code == 403
    assert len(rows(books, Movement)) == 2


def test_only_a_steward_says_what_an_item_is(mover: TestClient) -> None:
    for path in ("/stock/items/new", "/stock/items/vacuum-grease/edit", "/stock/starter"):
        assert mover.get(path).status_code == 403
    assert mover.post("/stock/items", data={"key": "x"}).status_code == 403
    assert mover.post("/stock/exchange", data={"table": "x"}).status_code == 403


def test_nobody_who_is_not_signed_in_sees_anything(client: TestClient) -> None:
    for path in ("/stock", "/stock/items/vacuum-grease", "/stock/items.csv", "/stock/labels"):
        assert client.get(path).headers["location"].startswith("/sign-in")


def test_an_item_of_a_higher_grade_is_not_moved_by_everybody(books: FastAPI, mover: TestClient) -> None:
    with writing(books.state.engine) as session:
        session.exec(select(Item).where(Item.key == "vacuum-grease")).one().take_grade = 3
        session.commit()
    answer = do(mover, "used", amount="1")
    assert answer.status_code == 403
    assert "grade 3 (rewire)" in answer.text


@BOTH
def test_taking_is_written_down_once_however_often_it_is_sent(books: FastAPI, mover: TestClient) -> None:
    once = re.search(r'name="once" value="(\w+)"', mover.get("/stock/items/vacuum-grease").text)
    assert once is not None
    for _ in range(2):
        answer = do(mover, "used", amount="0,4 g", because="opening", once=once[1])
        assert answer.status_code == 303
    assert [row.change for row in rows(books, Movement)] == [20, 50, Decimal("-0.4")]


def test_more_than_the_book_has_is_asked_about_first(mover: TestClient) -> None:
    answer = do(mover, "used", amount="90")
    assert answer.status_code == 422
    assert "The book has 70 g" in answer.text
    assert 'name="beyond"' in answer.text
    assert do(mover, "used", amount="90", beyond="yes").status_code == 303
    page = mover.get("/stock/items/vacuum-grease").text
    assert "−20 g" in page
    assert "Count it again" in page


@pytest.mark.parametrize(
    ("what", "fields", "wrong"),
    [
        ("used", {"amount": ""}, "amount"),
        ("used", {"amount": "\x00"}, "amount"),
        ("used", {"amount": "9" * 40}, "amount"),
        ("used", {"amount": "1", "because": "x" * 501}, "because"),
        ("used", {"amount": "1", "lot": "many"}, "lot"),
        ("received", {"amount": "1", "containers": "0"}, "containers"),
        ("received", {"amount": "1", "containers": "51"}, "containers"),
        ("received", {"amount": "1", "expires_on": "31 Feb 2027"}, "expires_on"),
        ("received", {"amount": "1", "price": "dear"}, "price"),
        ("lent", {"amount": "1", "borrower": "", "due_on": SOON}, "borrower"),
        ("lent", {"amount": "1", "borrower": "room 12", "due_on": "1999-01-01"}, "due_on"),
        ("reserved", {"amount": "1", "what_for": "opening", "until": "soon"}, "until"),
        ("reserved", {"amount": "1", "what_for": "opening", "until": ""}, "until"),
        ("ordered", {"amount": "1", "expected_on": "1999-01-01"}, "expected_on"),
        ("discarded", {"amount": "1", "because": ""}, "because"),
    ],
)
def test_what_is_to_be_mended_stands_beside_its_field(
    books: FastAPI, mover: TestClient, what: str, fields: dict[str, str], wrong: str
) -> None:
    answer = do(mover, what, **fields)
    assert answer.status_code == 422
    assert f'id="f-{wrong}-error"' in answer.text
    assert len(rows(books, Movement)) == 2


@BOTH
def test_the_whole_life_of_a_tube_by_its_pages(books: FastAPI, mover: TestClient) -> None:
    engine = books.state.engine
    assert do(mover, "received", amount="50", containers="2", sealed="yes", code="K7").status_code == 303
    assert do(mover, "lent", amount="5", borrower="room 12", due_on=SOON).status_code == 303
    assert do(mover, "reserved", amount="1", what_for="opening", until=f"{SOON} 10:00").status_code == 303
    assert do(mover, "discarded", amount="1", because="dirty").status_code == 303
    assert do(mover, "ordered", amount="100", expected_on=SOON).status_code == 303
    (loan,), (promise,), (order,) = rows(books, Loan), rows(books, Reservation), rows(books, Order)
    page = mover.get("/stock/items/vacuum-grease").text
    assert all(words in page for words in ("K7 2/2", "room 12", "Promised", "On its way"))
    assert mover.post(f"/stock/loans/{loan.id}/return", data={"amount": "9"}).status_code == 422
    assert mover.post(f"/stock/loans/{loan.id}/return", data={"amount": "5"}).status_code == 303
    assert mover.post(f"/stock/reservations/{promise.id}/release").status_code == 303
    assert "Does not come" in mover.get("/stock/orders").text
    assert mover.post(f"/stock/orders/{order.id}/withdraw").status_code == 303
    lot = rows(books, Lot)[-1]
    assert mover.post(f"/stock/lots/{lot.id}/open", data={"opened_on": "x"}).status_code == 422
    assert mover.post(f"/stock/lots/{lot.id}/open").status_code == 303
    with reading(engine) as session:
        item = session.exec(select(Item).where(Item.key == "vacuum-grease")).one()
        assert service.amounts(session)[key_of(item)].on_hand == 169


@BOTH
def test_a_correction_by_its_page_keeps_the_first(books: FastAPI, mover: TestClient) -> None:
    do(mover, "used", amount="0.4")
    used = rows(books, Movement)[-1]
    here = f"/stock/movements/{used.id}/correction"
    assert "0.4" in mover.get(here).text
    assert mover.post(here, data={"amount": "0.4", "because": ""}).status_code == 422
    assert mover.post(here, data={"amount": "0.5", "because": "misread"}).status_code == 303
    page = mover.get("/stock/items/vacuum-grease").text
    assert f"Correction of {used.id}" in page
    assert "corrected" in page


@BOTH
def test_a_sheet_of_counts_is_stored_whole_or_not_at_all(books: FastAPI, mover: TestClient) -> None:
    first, second = rows(books, Lot)
    bad = {f"lot.{first.id}": "19", f"lot.{second.id}": "many"}
    answer = mover.post("/stock/count", data=bad)
    assert answer.status_code == 422
    assert 'value="19"' in answer.text
    assert len(rows(books, Movement)) == 2
    answer = mover.post(
        "/stock/count", data={f"lot.{first.id}": "5", f"lot.{second.id}": "50", "once": "abc"}
    )
    assert answer.headers["location"] == "/stock/count?which=again"
    again = mover.get("/stock/count?which=again").text
    assert "The book said 20 g, 5 was counted" in again
    assert mover.post("/stock/count", data={f"lot.{first.id}": "9", "once": "abc"}).status_code == 303
    assert [row.found for row in rows(books, Movement)][2:] == [5, 50]
    answer = mover.post("/stock/count", data={f"lot.{first.id}": "5"})
    assert answer.headers["location"] == "/stock"
    assert "Nothing to count again" in mover.get("/stock/count?which=again").text


def test_an_empty_sheet_is_no_count(mover: TestClient) -> None:
    assert mover.post("/stock/count", data={}).status_code == 422
    assert mover.post("/stock/count", data={"lot.99": "3"}).status_code == 404


def test_what_has_run_out_can_be_counted(books: FastAPI, mover: TestClient) -> None:
    with reading(books.state.engine) as session:
        item = session.exec(select(Item).where(Item.key == "thermal-grease")).one()
    assert f'name="item.{item.id}"' in mover.get("/stock/count").text
    assert mover.post("/stock/count", data={f"item.{item.id}": "12"}).headers["location"] == "/stock"


@BOTH
def test_no_page_falls_over_an_absurd_address(mover: TestClient) -> None:
    for path in (
        "items/no-such",
        "items/%00",
        "movements/99999999999999999999/correction",
        "movements/9/correction",
    ):
        assert mover.get(f"/stock/{path}").status_code in (404, 422), path
    for path in ("reservations/9/release", "orders/9/withdraw", "lots/9/open", f"loans/{2**70}/return"):
        assert mover.post(f"/stock/{path}").status_code == 404, path
    assert do(mover, "stolen", amount="1").status_code == 404
    assert mover.get("/stock/items.csv?style=fancy").status_code == 404
    assert mover.get("/stock/items/vacuum-grease?before=x").status_code == 422


def test_an_item_is_entered_and_altered_by_the_steward(steward_client: TestClient) -> None:
    fields = {"key": "gloves", "name": "Gloves", "unit": "pair", "cautions": ["S10", "S11"], "floor": "100"}
    answer = steward_client.post("/stock/items", data=fields | {"unit": "", "floor": "a lot"})
    assert answer.status_code == 422
    assert 'id="f-unit-error"' in answer.text
    assert 'id="f-floor-error"' in answer.text
    assert steward_client.post("/stock/items", data=fields).status_code == 303
    assert steward_client.post("/stock/items", data=fields).status_code == 422
    form = fields | {"version": "1", "stops_work": "yes", "allowed": "wipes: never alone\nvinyl"}
    assert steward_client.post("/stock/items/gloves/edit", data=form).status_code == 303
    assert steward_client.post("/stock/items/gloves/edit", data=form).status_code == 409
    page = steward_client.get("/stock/items/gloves/edit").text
    assert "wipes: never alone\nvinyl" in page
    assert "Gloves altered" in steward_client.get("/stock/items/gloves").text


def test_the_unit_stays_once_something_was_moved(steward_client: TestClient) -> None:
    form = {"name": "Vacuum grease", "unit": "kg", "version": "1"}
    answer = steward_client.post("/stock/items/vacuum-grease/edit", data=form)
    assert answer.status_code == 422
    assert "The unit stays g" in answer.text


def test_a_list_by_file_or_by_hand(steward_client: TestClient) -> None:
    table = "key,name,unit\ngloves,Gloves,pair\n"
    bad = steward_client.post("/stock/exchange", data={"table": table + "wipes,,sheet\n"})
    assert bad.status_code == 422
    assert "Line 3, name" in bad.text
    sent = {"file": ("items.csv", table.encode("utf-16"))}
    assert steward_client.post("/stock/exchange", files=sent).status_code == 303
    broken = {"file": ("items.csv", b"key,name\n\x81\x8d\x00")}
    assert steward_client.post("/stock/exchange", files=broken).status_code == 422
    text = steward_client.get("/stock/items.csv?style=semicolon").text
    assert text.startswith("key;name;unit;")
    assert "gloves;Gloves;pair" in text


@BOTH
def test_the_order_list_tells_what_and_why_and_as_csv(mover: TestClient) -> None:
    do(mover, "used", amount="30")
    assert "0 sealed, the floor is 1" in mover.get("/stock/orders").text
    answer = mover.get("/stock/orders.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    assert answer.text.splitlines()[1].startswith("vacuum-grease,")
    assert "Stops work" in mover.get("/stock?show=short").text


def test_the_code_of_a_label_opens_the_item(mover: TestClient) -> None:
    answer = mover.get("/stock/items/vacuum-grease/label.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert answer.text.startswith("<svg")
    assert "vacuum-grease/label.svg" in mover.get("/stock/labels?item=vacuum-grease").text
    assert "thermal-grease/label.svg" not in mover.get("/stock/labels?item=vacuum-grease").text


def test_the_list_is_found_by_a_word(mover: TestClient) -> None:
    page = mover.get("/stock?q=thermal").text
    assert "/stock/items/thermal-grease" in page
    assert "/stock/items/vacuum-grease" not in page
    assert "No item of that name" in mover.get("/stock?q=sealing wax").text
