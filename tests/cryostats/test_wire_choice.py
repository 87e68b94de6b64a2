"""The page on which a wire is chosen, over an empty instrument with a heater test."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.engine import Engine

from server.cryostats import instruments
from server.cryostats.instruments import About
from server.cryostats.rules import STAGES
from server.db import now, writing
from server.demo.benches import BENCHES
from server.people.models import Person

LINES = {
    "e.count": "24",
    "e.current_A": "1 mA",
    "e.ends_on": "platform",
    "e.lengths_m.vessel-shield": "300 mm",
    "e.lengths_m.shield-platform": "150 mm",
    "e.lags.shield.state": "good",
    "e.lags.shield.length_m": "10 mm",
    "e.lags.shield.filler": "varnish",
}


@pytest.fixture
def reader(engine: Engine, steward_client: TestClient, steward: Person) -> TestClient:
    about = About("Bench A", "", STAGES, {"platform": 3.6, "sample": 4.0})
    points = {"cooler": {"kind": "heater-test", "points": list(BENCHES[0].points)}}
    with writing(engine) as session:
        cryostat = instruments.make(session, steward, about, now())
        instruments.measure_cooler(session, steward, cryostat, points, None, "", now())
        session.commit()
    return steward_client


def test_copper_stands_below_with_its_reason_and_cannot_be_taken_on(reader: TestClient) -> None:
    """A lag does not rescue copper: common practice, no source."""
    page = reader.get("/cryostats/bench-a/wire-choice", params=LINES).text
    rows = page.split("<tr>")
    copper = next(row for row in rows if "copper-rrr-100" in row)
    bronze = next(row for row in rows if "phosphor-bronze" in row)
    assert rows.index(bronze) < rows.index(copper)
    assert "tag-bad" in copper or "tag-warn" in copper


def test_a_resistance_that_is_too_large_is_the_reason_shown(reader: TestClient) -> None:
    page = reader.get("/cryostats/bench-a/wire-choice", params={**LINES, "most_ohm": "1 Ω"}).text
    manganin = next(row for row in page.split("<tr>") if "manganin" in row and "AWG 44" in row)
    assert "Ω" in manganin.split("tag-bad")[1]


@pytest.mark.parametrize(
    ("field", "text"),
    [("e.count", "many"), ("e.current_A", "nan"), ("e.current_A", "1–2 mA"), ("most_ohm", "thick")],
)
def test_what_cannot_be_read_is_told_at_its_field(reader: TestClient, field: str, text: str) -> None:
    answer = reader.get("/cryostats/bench-a/wire-choice", params={**LINES, field: text})
    assert answer.status_code == 422
    assert f'href="#f-{field.replace(".", "-")}"' in answer.text
    assert 'id="ranking"' not in answer.text


def test_with_nothing_asked_an_ordinary_loom_is_ranked(reader: TestClient) -> None:
    answer = reader.get("/cryostats/bench-a/wire-choice")
    assert answer.status_code == 200
    assert 'id="ranking"' in answer.text
