"""The page of a diagnosis, asked as a browser without scripts asks; and the API."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.people.models import Person
from tests.cooldowns.test_diagnosis import JOINTS
from tests.cooldowns.test_routes import Program
from tests.factories import a_bench, lid, wire

ROOM = "/cryostats/bench-a/cooldowns"


@pytest.fixture
def warm(app: FastAPI, steward: Person, steward_client: TestClient) -> str:
    """The address of the diagnosis of a cooldown that is far too warm."""
    a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), *JOINTS, cooler=True)
    steward_client.post(ROOM, data={"purpose": "Optics"})
    steward_client.post(f"{ROOM}/1/start", data={"pressure_Pa": "4e-3 mbar"})
    read = {"shield_K": "33.0", "platform_K": "7.4", "mount_K": "8.25", "sample_K": "9.0"}
    base = {"kind": "base", **read, "heater": "off", "settled": "yes"}
    steward_client.post(f"{ROOM}/1/entries", data=base)
    return f"{ROOM}/1/diagnosis"


def test_the_page_names_the_lid_its_size_the_load_and_the_cheapest_test(
    steward_client: TestClient, warm: str
) -> None:
    page = steward_client.get(warm).text
    for words in ("The lid is off: Lid", "It lets in heat of which", "Static helium", "takes minutes"):
        assert words in page
    assert "as much as a copper wire" in page
    assert page.index("takes minutes") < page.index("at the next opening")
    assert "Caution." in page


@pytest.mark.parametrize("text", ["\x00", "9" * 400, "-3 mK", "0", "nan", "20–30 mK", "?", "3 furlongs"])
def test_awkward_standard_deviations_are_answered_at_their_field(
    steward_client: TestClient, warm: str, text: str
) -> None:
    answer = steward_client.get(warm, params={"sigma_platform": text})
    assert answer.status_code in (200, 422)
    assert (answer.status_code == 200) == (text == "\x00")


def test_a_chosen_standard_deviation_is_taken_and_shown(steward_client: TestClient, warm: str) -> None:
    page = steward_client.get(warm, params={"sigma_platform": "250 mK"}).text
    assert "Now 250 mK." in page


def test_what_was_found_is_written_and_shown(steward_client: TestClient, warm: str) -> None:
    assert steward_client.post(f"{warm}/found", data={"cause": "", "words": "?"}).status_code == 422
    answer = steward_client.post(f"{warm}/found", data={"cause": "lid-open", "words": "In the drawer"})
    assert answer.status_code == 303
    page = steward_client.get(warm).text
    assert "Found: Lid off or its screws missing" in page
    assert "In the drawer" in page
    assert "the lid is off: 1" in page
    assert "Cooldown 1, against what was expected" in steward_client.get("/faults/1").text


def test_who_watches_reads_and_does_not_say_what_was_found(member_client: TestClient, warm: str) -> None:
    page = member_client.get(warm)
    assert page.status_code == 200
    assert "What was found" not in page.text
    assert member_client.post(f"{warm}/found", data={"cause": "lid-open"}).status_code == 403
    assert member_client.get(f"{ROOM}/77/diagnosis").status_code == 404


def test_a_cooldown_without_a_base_has_no_diagnosis_yet(
    app: FastAPI, steward: Person, steward_client: TestClient
) -> None:
    a_bench(app.state.engine, steward, wire())
    steward_client.post(ROOM)
    assert "No temperature at base" in steward_client.get(f"{ROOM}/1/diagnosis").text
    steward_client.post(f"{ROOM}/1/start", data={"pressure_Pa": "4e-3 mbar"})
    base = {"kind": "base", "platform_K": "7.4", "heater": "on", "settled": "no"}
    steward_client.post(f"{ROOM}/1/entries", data=base)
    page = steward_client.get(f"{ROOM}/1/diagnosis").text
    assert "There was no cooler when this was predicted" in page
    assert "Taken with care" in page


@pytest.mark.usefixtures("warm")
def test_a_program_reads_a_diagnosis_and_writes_what_was_found(app: FastAPI, steward: Person) -> None:
    program, here = Program(app, steward), "/1/diagnosis"
    told = program.ask("GET", here).json()
    assert told["explanations"][0]["causes"][0]["key"] == "lid-missing:lid"
    low, best, high = told["explanations"][0]["causes"][0]["size"]
    assert low <= best <= high
    assert told["gap"] == ""
    assert program.ask("GET", f"{here}?sigma_platform=much").status_code == 422
    assert program.ask("POST", f"{here}/found", {"cause": "gremlins"}).status_code == 422
    answer = program.ask("POST", f"{here}/found", {"cause": "lid-open"})
    assert answer.status_code == 201
    assert answer.json() == {"fault": 1, "cause": "lid-open"}
