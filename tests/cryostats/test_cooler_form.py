"""The cooler as a steward types it: one zero for both heaters, ageing, and what is unlikely in it."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.engine import Engine

from server.cryostats import cooler_form, instruments
from server.cryostats.instruments import About
from server.cryostats.rules import STAGES
from server.db import now, writing
from server.errors import Refused
from server.people.models import Person
from server.web.forms import Form

TEST = [
    ("kind", "heater-test"),
    ("heater-test.0.heated", "platform"),
    ("heater-test.0.added_W", "0"),
    ("heater-test.0.shield_K", "32 K"),
    ("heater-test.0.platform_K", "3.18 K"),
    ("heater-test.1.heated", "platform"),
    ("heater-test.1.added_W", "100 mW"),
    ("heater-test.1.platform_K", "3.93"),
    ("heater-test.2.heated", "shield"),
    ("heater-test.2.added_W", "1 W"),
    ("heater-test.2.shield_K", "33.1"),
]


@pytest.fixture
def desk(engine: Engine, steward_client: TestClient, steward: Person) -> TestClient:
    with writing(engine) as session:
        instruments.make(session, steward, About("Bench A", "", STAGES, {}), now())
        session.commit()
    return steward_client


def test_one_reference_cooldown_is_the_zero_of_both_heaters() -> None:
    points = cooler_form.read(Form(TEST))["cooler"]["points"]
    zeros = [point for point in points if point["added_W"] == 0]
    assert [(point["heated"], point["platform_K"]) for point in zeros] == [
        ("platform", 3.18),
        ("shield", 3.18),
    ]


def test_watts_and_kelvin_are_read_into_si() -> None:
    assert cooler_form.read(Form(TEST))["cooler"]["points"][1]["added_W"] == pytest.approx(0.1)


def test_an_aged_cooler_is_a_version_with_its_share_of_lift(desk: TestClient) -> None:
    aged = dict([*TEST, ("ageing.platform", "0.8–0.9"), ("bare_revision", "0")])
    assert desk.post("/cryostats/bench-a/cooler", data=aged).status_code == 303
    page = desk.get("/cryostats/bench-a/cooler").text
    assert "Lift left, platform" in page
    assert 'value="0.8–0.9"' in page


def test_what_is_unlikely_in_a_test_is_said_beside_it(desk: TestClient) -> None:
    """A platform that moves 7 mK for 100 W was typed in the wrong unit."""
    odd = dict([*TEST, ("heater-test.1.added_W", "100 W"), ("bare_revision", "0")])
    assert desk.post("/cryostats/bench-a/cooler", data=odd).status_code == 303
    assert "per added watt" in desk.get("/cryostats/bench-a/cooler").text


@pytest.mark.parametrize(
    ("field", "text"), [("heater-test.1.added_W", "nan"), ("ageing.platform", "much"), ("kind", "guess")]
)
def test_what_cannot_be_read_is_told_at_its_cell(field: str, text: str) -> None:
    with pytest.raises(Refused) as refused:
        cooler_form.read(Form([*TEST, (field, text)]))
    assert field in refused.value.fields


@pytest.mark.parametrize("typed", ["295 K", "295", "22 °C"])
def test_a_description_takes_its_temperatures_as_they_are_typed(desk: TestClient, typed: str) -> None:
    form = {"name": "Bench B", "vessel_K": typed, "stages": ["shield", "platform"], "limit.shield": "45 K"}
    assert desk.post("/cryostats", data=form).status_code == 303
