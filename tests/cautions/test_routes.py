"""Pages of the cards."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.cautions.cards import CARDS
from server.cautions.models import Card
from server.db import reading

DEFERS = "Local rules and your safety officer decide; this card reminds."
GOOD = {"local_text": "Extraction arm at the left bench.", "owner": "The steward", "review_on": "2027-03-01"}
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def test_the_page_of_all_cards_defers_on_every_one(member_client: TestClient) -> None:
    page = member_client.get("/cautions").text
    assert page.count(DEFERS) == len(CARDS) == page.count("<h3>Caution:")


@pytest.mark.parametrize("code", [card.code for card in CARDS])
def test_each_card_has_its_page_and_defers(member_client: TestClient, code: str) -> None:
    page = member_client.get(f"/cautions/{code}").text
    assert page.count(DEFERS) == 1


def test_a_card_nobody_knows_is_not_found(member_client: TestClient) -> None:
    assert member_client.get("/cautions/S99").status_code == 404


def test_a_steward_writes_what_holds_here(steward_client: TestClient, member_client: TestClient) -> None:
    assert steward_client.post("/cautions/S12", data=GOOD).status_code == 303
    page = member_client.get("/cautions/S12").text
    assert "Here: Extraction arm at the left bench." in page
    assert "The steward" in page
    assert "Card S12 altered" in page


def test_nobody_else_does(app: FastAPI, member_client: TestClient) -> None:
    assert member_client.post("/cautions/S12", data=GOOD).status_code == 403
    assert "<form" not in member_client.get("/cautions/S12").text.split("<main")[1]
    with reading(app.state.engine) as session:
        assert session.exec(select(Card)).all() == []


def test_what_is_to_mend_stands_at_its_field_and_nothing_typed_is_lost(
    app: FastAPI, steward_client: TestClient
) -> None:
    answer = steward_client.post("/cautions/S12", data=GOOD | {"review_on": "soon"})
    assert answer.status_code == 422
    assert 'id="f-review_on-error"' in answer.text
    assert 'value="soon"' in answer.text
    assert GOOD["local_text"] in answer.text
    with reading(app.state.engine) as session:
        assert session.exec(select(Card)).all() == []


def test_a_card_nobody_knows_is_not_written(steward_client: TestClient) -> None:
    assert steward_client.post("/cautions/S99", data=GOOD).status_code == 404


def test_a_review_that_is_overdue_is_marked(steward_client: TestClient) -> None:
    assert "review overdue" not in steward_client.get("/cautions").text
    steward_client.post("/cautions/S12", data=GOOD | {"review_on": "2020-03-01"})
    assert "review overdue" in steward_client.get("/cautions").text
    assert "review overdue" in steward_client.get("/cautions/S12").text


def test_local_words_are_shown_as_text(steward_client: TestClient) -> None:
    steward_client.post("/cautions/S12", data=GOOD | {"local_text": "<script>alert(1)</script>"})
    assert "<script>alert" not in steward_client.get("/cautions/S12").text
