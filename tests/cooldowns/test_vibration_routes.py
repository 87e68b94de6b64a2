"""The page of a vibration record: a line at 1.4 Hz after a move, found, and what each change brought."""

import io

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.people.models import Person
from tests.factories import a_bench

ROOM = "/cryostats/bench-a/vibration-records"
RATE_HZ = 500.0
rng = np.random.default_rng(5)
T_S = np.arange(0, 130, 1 / RATE_HZ)


def record(tone_m: float) -> bytes:
    """A displacement: noise, and a tone at 1.4 Hz of this rms."""
    values = rng.normal(0.0, 5e-9, T_S.size) + tone_m * np.sqrt(2) * np.sin(2 * np.pi * 1.4 * T_S)
    to = io.BytesIO()
    np.save(to, values)
    return to.getvalue()


def keep(client: TestClient, tone_m: float, note: str, taken_at: str, unit: str = "m") -> None:
    typed = {"unit": unit, "rate_Hz": "500 Hz", "place": "Sample", "axis": "x", "cooler": "on", "pump": "off"}
    files = {"file": ("x.npy", record(tone_m), "application/octet-stream")}
    answer = client.post(ROOM, data={**typed, "note": note, "taken_at": taken_at}, files=files)
    assert answer.status_code == 303, answer.text


@pytest.fixture
def kept(app: FastAPI, steward: Person, steward_client: TestClient) -> TestClient:
    """J8: before the move, after it, and after the hose was freed."""
    a_bench(app.state.engine, steward)
    keep(steward_client, 0.0, "Before the move", "2026-03-01 10:00")
    keep(steward_client, 90e-9, "After the move", "2026-03-10 10:00")
    keep(steward_client, 12e-9, "Hose freed", "2026-03-10 12:00")
    return steward_client


def test_the_line_after_the_move_its_size_and_what_a_change_brought_are_told(kept: TestClient) -> None:
    page = kept.get(f"{ROOM}/2").text
    assert "1.4 Hz" in page
    assert "levels from memory" in page
    assert "90.1 nm" in page or "90.2 nm" in page or "90 nm" in page
    assert "changed" in page
    assert "Hose freed" in page
    assert "(−86 %)" in page
    assert "VC-" in page
    quiet = kept.get(f"{ROOM}/1").text
    assert "None stands out" in quiet


def test_a_band_is_chosen_and_what_is_no_band_is_said(kept: TestClient) -> None:
    assert (
        "From 5 Hz"
        not in kept.get(f"{ROOM}/2", params={"low": "5 Hz", "high": "100"}).text.split("nm rms")[1]
    )
    assert "5 Hz to 100 Hz" in kept.get(f"{ROOM}/2", params={"low": "5 Hz", "high": "100"}).text
    for low, high in (("9", "3"), ("nan", ""), ("?", ""), ("-1", ""), ("", "3 furlongs")):
        assert kept.get(f"{ROOM}/2", params={"low": low, "high": high}).status_code == 422
    assert kept.get(f"{ROOM}/99").status_code == 404
    assert kept.get(f"{ROOM}/2", params={"against": "99"}).status_code == 404


def test_volts_say_nothing_in_metres(kept: TestClient) -> None:
    keep(kept, 1e-9, "", "2026-03-11 12:00", unit="V")
    assert "sensitivity" in kept.get(f"{ROOM}/4").text
