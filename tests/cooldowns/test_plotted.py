"""The drawing of a cooldown: from what was written where nothing was logged, with phases and prediction."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cooldowns import plotted
from server.people.models import Person
from tests.cooldowns.telling import BEGUN, HOUR
from tests.cooldowns.test_diagnosis import a_laboratory, cooled
from tests.factories import a_bench, wire

ROOM = "/cryostats/bench-a/cooldowns"


def test_what_was_written_is_drawn_with_phases_prediction_and_marks(session: Session) -> None:
    books = a_laboratory(session)
    found = plotted.drawing(session, cooled(books, 0, {}), "Europe/Vienna", BEGUN + 100 * HOUR)
    assert found is not None
    [panel] = found.panels
    assert panel.decades
    assert [box.label for box in found.phases] == ["cooling", "cold"]
    assert {band.look for band in panel.bands} == {"shield", "platform"}
    assert [point.text for point in panel.points] == ["10 K"]
    assert {"platform", "shield"} <= {curve.look for curve in panel.curves}


def test_the_page_has_it_as_a_part_and_alone(
    app: FastAPI, steward: Person, steward_client: TestClient
) -> None:
    a_bench(app.state.engine, steward, wire(), cooler=True)
    steward_client.post(ROOM)
    assert "Nothing to draw yet" in steward_client.get(f"{ROOM}/1/plot").text
    steward_client.post(f"{ROOM}/1/start", data={"pressure_Pa": "4e-3 mbar"})
    base = {"kind": "base", "shield_K": "32.1", "platform_K": "3.3", "heater": "off", "settled": "yes"}
    steward_client.post(f"{ROOM}/1/entries", data=base)
    assert f'hx-get="{ROOM}/1/plot"' in steward_client.get(f"{ROOM}/1").text
    part = steward_client.get(f"{ROOM}/1/plot", headers={"HX-Request": "true"}).text
    assert "<svg" in part
    assert "<html" not in part


@pytest.mark.parametrize("number", ["0", "77", "9" * 30])
def test_what_is_not_there_is_not_found(
    app: FastAPI, steward: Person, steward_client: TestClient, number: str
) -> None:
    a_bench(app.state.engine, steward)
    assert steward_client.get(f"{ROOM}/{number}/plot").status_code in (404, 422)
