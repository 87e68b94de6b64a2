"""Spectra that somebody sends: read, kept, analysed as samples are, and what they cannot say is named."""

import re

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cooldowns.vibration_files import opened
from server.errors import Refused
from server.people.models import Person
from server.physics.vibration import power_density
from tests.factories import a_bench

DENSITY = "m/s2/√Hz"
FREQUENCY_Hz = np.arange(0.0, 101.0, 0.25)
SAID = {"unit": DENSITY, "place": "Platform", "axis": "z", "cooler": "on", "pump": "off"}
ROOM = "/cryostats/bench-a/vibration-records"


def columns(frequency_Hz: np.ndarray, amplitude: np.ndarray) -> bytes:
    return "\n".join(f"{f:.9g}, {a:.9g}" for f, a in zip(frequency_Hz, amplitude, strict=True)).encode()


FLAT = columns(FREQUENCY_Hz, np.full(FREQUENCY_Hz.size, 1e-3))


def test_frequencies_and_amplitudes_are_read() -> None:
    found = opened(FLAT, DENSITY)
    assert found.form == "spectrum"
    assert found.frequency_Hz is not None
    assert found.frequency_Hz == pytest.approx(FREQUENCY_Hz)
    assert found.values == pytest.approx(np.full(FREQUENCY_Hz.size, 1e-3))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x93NUMPY\xff", "two columns"),
        (b"frequency, amplitude\n1, 2", "two columns"),
        (columns(FREQUENCY_Hz[:10], np.ones(10)), "from 16"),
        (b"\n".join(b"%d" % n for n in range(40)), "two columns"),
        (columns(FREQUENCY_Hz, np.zeros(FREQUENCY_Hz.size)), "not all zero"),
        (columns(FREQUENCY_Hz, np.full(FREQUENCY_Hz.size, np.nan)), "must be numbers"),
        (columns(FREQUENCY_Hz, np.full(FREQUENCY_Hz.size, -60.0)), "below zero"),
        (columns(10.0 ** np.arange(0, 2, 0.1), np.ones(20)), "even steps"),
        (columns(FREQUENCY_Hz[::-1], np.ones(FREQUENCY_Hz.size)), "even steps"),
    ],
)
def test_what_is_no_spectrum_is_said(content: bytes, words: str) -> None:
    with pytest.raises(Refused) as caught:
        opened(content, DENSITY)
    assert words in caught.value.fields["file"]


@pytest.fixture
def room(app: FastAPI, steward: Person, steward_client: TestClient) -> TestClient:
    """A cryostat, and its steward at the browser."""
    a_bench(app.state.engine, steward)
    return steward_client


def send(client: TestClient, content: bytes = FLAT, **more: str) -> str:
    answer = client.post(ROOM, data=SAID | more, files={"file": ("quiet.csv", content, "text/csv")})
    return answer.text if answer.status_code != 303 else ""


def test_a_spectrum_says_what_the_samples_behind_it_say_but_for_what_it_lost(room: TestClient) -> None:
    """The same noise sent both ways gives the same level in each band and the same displacement."""
    values = np.random.default_rng(8).normal(0.0, 1e-6, 256 * 200)
    spectrum = power_density("velocity", values, 256.0)
    assert send(room, "\n".join(map(repr, values.tolist())).encode(), unit="m/s", rate_Hz="256 Hz") == ""
    table = columns(spectrum.frequency_Hz, np.sqrt(spectrum.density))
    assert send(room, table, unit="m/s/√Hz", bandwidth_Hz="0.046875 Hz", note="sent as a spectrum") == ""
    samples, sent = (room.get(f"{ROOM}/{number}").text for number in (1, 2))
    told = [re.findall(r'="Here">([^<]+)<|([0-9.]+ nm) rms', page) for page in (samples, sent)]
    assert told[0] == told[1]
    assert len(told[0]) == 21  # twenty bands and the displacement
    for part in ("how many stretches were averaged is not known", "Single knocks"):
        assert part in sent
        assert part not in samples
    assert not re.search(r'="Told apart">\s*<', sent)


def test_lines_in_root_mean_square_become_a_density_by_their_bandwidth(room: TestClient) -> None:
    """3 µm/s in lines of 2.25 Hz bandwidth is 2 µm/s/√Hz; the band at 10 Hz is 2.3077 Hz wide: 3.04 µm/s."""
    frequency_Hz = np.arange(0.0, 151.5, 1.5)
    lines = columns(frequency_Hz, np.full(frequency_Hz.size, 3e-6))
    assert "f-bandwidth_Hz-error" in send(room, lines, unit="m/s rms in each line")
    assert send(room, lines, unit="m/s rms in each line", bandwidth_Hz="2.25 Hz") == ""
    page = room.get(f"{ROOM}/1").text
    assert "3.04 µm/s" in page
    assert "No level in the bands at 1, 1.25, 1.6" in page


def test_a_spectrum_without_a_bandwidth_says_so(room: TestClient) -> None:
    assert send(room) == ""
    assert "The bandwidth of its window was not said" in room.get(f"{ROOM}/1").text
    assert "spectrum" in room.get(ROOM).text


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"bandwidth_Hz": "0.1 Hz"}, "bandwidth_Hz"),
        ({"bandwidth_Hz": "wide"}, "bandwidth_Hz"),
        ({"bandwidth_Hz": "1e9"}, "bandwidth_Hz"),
        ({"rate_Hz": "2 kHz"}, "rate_Hz"),
    ],
)
def test_what_does_not_go_with_a_spectrum_is_said_at_its_field(
    room: TestClient, more: dict[str, str], field: str
) -> None:
    assert f'id="f-{field}-error"' in send(room, FLAT, **more)


def test_samples_have_no_bandwidth(room: TestClient) -> None:
    samples = "\n".join(str(n % 7) for n in range(300)).encode()
    answer = send(room, samples, unit="m/s2", rate_Hz="2 kHz", bandwidth_Hz="1 Hz")
    assert "only a spectrum has the bandwidth of a window" in answer
