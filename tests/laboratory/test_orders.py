"""Standing orders: in versions, the laboratory's before a cryostat's."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session

from server.errors import Conflict, Refused
from server.history import service as history
from server.laboratory import orders
from server.people.service import CommandLine
from tests.factories import AT

AUTHOR = CommandLine()


def test_each_writing_is_a_version_and_the_past_stays(session: Session) -> None:
    orders.write(session, AUTHOR, "laboratory", "Two people.\r\nAlways.", 0, AT)
    orders.write(session, AUTHOR, "laboratory", "Three people.", 1, AT)
    assert [(row.number, row.text) for row in orders.versions(session, "laboratory")] == [
        (2, "Three people."),
        (1, "Two people.\nAlways."),
    ]
    assert history.of(session, "laboratory")[0].what == "Standing order written, version 2"


def test_the_laboratorys_order_comes_before_the_cryostats_and_one_taken_back_is_gone(
    session: Session,
) -> None:
    orders.write(session, AUTHOR, "cryostat/a", "Ask first.", 0, AT)
    orders.write(session, AUTHOR, "cryostat/b", "Ask never.", 0, AT)
    orders.write(session, AUTHOR, "laboratory", "Two people.", 0, AT)
    assert [row.text for row in orders.applying(session, "cryostat/a")] == ["Two people.", "Ask first."]
    orders.write(session, AUTHOR, "laboratory", "", 1, AT)
    assert [row.text for row in orders.applying(session, "cryostat/a")] == ["Ask first."]


def test_of_two_writers_the_second_is_told(session: Session) -> None:
    orders.write(session, AUTHOR, "laboratory", "Two people.", 0, AT)
    with pytest.raises(Conflict, match="version 1"):
        orders.write(session, AUTHOR, "laboratory", "Three people.", 0, AT)


def test_what_is_too_long_unreadable_or_the_same_is_refused(session: Session) -> None:
    for text in ("x" * (orders.LONGEST + 1), "a\x07b", ""):
        with pytest.raises(Refused):
            orders.write(session, AUTHOR, "laboratory", text, 0, AT)


def test_an_order_is_never_rewritten(session: Session) -> None:
    row = orders.write(session, AUTHOR, "laboratory", "Two people.", 0, AT)
    row.text = "One person."
    session.add(row)
    with pytest.raises(DatabaseError, match="append-only"):
        session.flush()


def test_a_steward_writes_everybody_reads_and_nobody_else_writes(
    steward_client: TestClient, member_client: TestClient, client: TestClient
) -> None:
    sent = {"text": "Two people at an opening.", "after": "0"}
    assert member_client.post("/laboratory/orders", data=sent).status_code == 403
    assert client.get("/laboratory/orders").status_code == 303
    assert steward_client.post("/laboratory/orders", data=sent).status_code == 303
    assert "Two people at an opening." in member_client.get("/laboratory/orders").text
    stale = steward_client.post("/laboratory/orders", data={"text": "My own", "after": "0"})
    assert stale.status_code == 409
    assert "My own" in stale.text
