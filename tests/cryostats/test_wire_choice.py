"""The page on which a wire is chosen, over an empty instrument with a heater test."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import instruments
from server.cryostats.instruments import About
from server.cryostats.rules import STAGES
from server.db import now, writing
from server.demo.benches import BENCHES
from server.materials import service as materials
from server.materials.rules import Own, Points
from server.people.models import Person
from server.people.service import CommandLine
from server.physics.materials import material

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


def own(session: Session, name: str, resistivity_ohm_m: tuple[float, ...] | None) -> None:
    """A material as good at keeping heat out as the best of the tables, entered by the laboratory."""
    metal, T_K = material("stainless-304"), (1.0, 4.0, 77.0, 310.0)
    points = Points(T_K, tuple(0.5 * metal.conductivity_W_m_K(one) for one in T_K), resistivity_ohm_m)
    materials.add(session, CommandLine(), Own(name, points, "our book", 0.1), now())


def test_a_metal_of_the_laboratory_is_ranked_too(reader: TestClient, engine: Engine) -> None:
    with writing(engine) as session:
        own(session, "our-loom", (3e-7, 3e-7, 3e-7, 4e-7))
        own(session, "our-plastic", None)
        session.commit()
    page = reader.get("/cryostats/bench-a/wire-choice", params=LINES).text
    rows = page.split("<tr>")
    ours = next(number for number, row in enumerate(rows) if "our-loom" in row)
    bronze = next(number for number, row in enumerate(rows) if "phosphor-bronze" in row)
    assert ours < bronze
    assert 'name="e.material" value="our-loom"' in rows[ours]
    assert "our-plastic" not in page
