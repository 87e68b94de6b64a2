"""The page of a vibration record: a line at 1.4 Hz after a move, found, and what each change brought."""

import io
from datetime import UTC, datetime
from html import unescape
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.checklists import service as checklists
from server.cryostats import guards
from server.db import writing
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


def test_the_answer_names_what_is_loud_against_which_curve_since_which_change_and_what_next(
    kept: TestClient,
) -> None:
    page = kept.get(f"{ROOM}/2").text
    assert "The loudest tone is at 1.4 Hz" in page
    assert "The displacement grew" in page
    assert "with the record of 2026-03-10 (“After the move”)" in page
    assert "It meets VC-" in page or "It meets every generic curve" in page
    assert "Go through the installation walk" in page
    assert "The displacement grew" not in kept.get(f"{ROOM}/1").text


def test_the_walk_begun_before_a_record_is_linked_and_what_it_found_is_the_next_thing(
    app: FastAPI, kept: TestClient, steward: Person
) -> None:
    with writing(app.state.engine) as session:
        cryostat = guards.find(session, "bench-a")
        at = datetime(2026, 3, 10, 8, tzinfo=UTC)
        walk = checklists.start(session, steward, cryostat, "vibration-installation", "the move", at)
        first = checklists.lines_of(walk)[0]
        said = checklists.Said("failed", {}, "One bolt is missing under the cover")
        checklists.answer(session, steward, walk.id or 0, first.key, said, at)
        session.commit()
        number, text = walk.id, first.text
    page = unescape(kept.get(f"{ROOM}/2").text)
    assert f'href="/checklists/{number}"' in page
    assert f"Not right: {text}" in page
    assert "Mend what the walk found not right" in page
    assert "No installation walk was begun" in kept.get(f"{ROOM}/1").text


def test_an_analysis_is_taken_along_as_tables_and_drawings(kept: TestClient) -> None:
    bands = kept.get(f"{ROOM}/2/tables/bands?against=1").content.decode("utf-8-sig").splitlines()
    assert bands[0].startswith("nominal_Hz,low_Hz,high_Hz,velocity_m_s,baseline_m_s,change_dB")
    assert len(bands) == 21
    row = dict(zip(bands[0].split(","), bands[2].split(","), strict=True))
    assert row["nominal_Hz"] == "1.25"
    assert float(row["VC-C_m_s"]) == pytest.approx(12.5e-6)
    assert float(row["change_dB"]) == pytest.approx(
        20 * np.log10(float(row["velocity_m_s"]) / float(row["baseline_m_s"])), abs=0.01
    )
    spectrum = kept.get(f"{ROOM}/2/tables/spectrum").content.decode("utf-8-sig").splitlines()
    assert spectrum[0] == "frequency_Hz,displacement_m_per_root_Hz"
    lines = np.array([[float(cell) for cell in row.split(",")] for row in spectrum[1:]])
    near = np.abs(lines[:, 0] - 1.4) < 0.1
    size_m = np.sqrt(np.sum(lines[near, 1] ** 2) * lines[1, 0])
    assert size_m == pytest.approx(90e-9, rel=0.02)  # Parseval: the tone's own rms
    assert kept.get(f"{ROOM}/2/tables/tones").content.decode("utf-8-sig").splitlines()[1].startswith("1.4")
    for what in ("bands", "spectrum"):
        answer = kept.get(f"{ROOM}/2/drawings/{what}")
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert b"<path" in answer.content
        ET.fromstring(answer.content)  # noqa: S314 - made by us a moment ago
    for address in ("2/tables/else", "2/drawings/else", "99/tables/bands"):
        assert kept.get(f"{ROOM}/{address}").status_code == 404


def test_volts_say_nothing_in_metres(kept: TestClient) -> None:
    keep(kept, 1e-9, "", "2026-03-11 12:00", unit="V")
    assert "sensitivity" in kept.get(f"{ROOM}/4").text
