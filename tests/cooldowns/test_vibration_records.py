"""Vibration records: checked by what is in them, kept as they came, read back as samples."""

import io
import wave
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.cooldowns import vibration_records
from server.cooldowns.vibration_files import opened
from server.cooldowns.vibration_records_models import VibrationRecord
from server.db import reading
from server.errors import Refused
from server.people.models import Person
from tests.factories import a_bench, give_grade

WAVE = np.round(0.5 * np.sin(np.arange(1000) / 7.0), 5)
SAID = {"unit": "m/s2", "rate_Hz": "2 kHz", "place": "Platform", "axis": "z", "cooler": "on", "pump": "off"}


def text(values: np.ndarray | None = None, rate_Hz: float | None = None) -> bytes:
    rows = WAVE if values is None else values
    cells = rows if rate_Hz is None else [f"{n / rate_Hz:.6f}; {value}" for n, value in enumerate(rows)]
    return "\n".join(["# one sensor", *map(str, cells)]).encode()


def npy(values: object) -> bytes:
    to = io.BytesIO()
    np.save(to, np.asarray(values), allow_pickle=True)
    return to.getvalue()


def wav(width: int = 2, channels: int = 1) -> bytes:
    to = io.BytesIO()
    with wave.open(to, "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(2000)
        whole = (WAVE * 2.0 ** (8 * width - 1)).astype("<i8")
        raw = whole.view(np.uint8).reshape(-1, 8)[:, :width].tobytes()
        file.writeframes(raw * channels)
    return to.getvalue()


@pytest.mark.parametrize("width", [2, 3, 4])
def test_a_wav_of_any_width_gives_its_samples_and_rate(width: int) -> None:
    found = opened(wav(width))
    assert found.rate_Hz == 2000.0
    assert found.values == pytest.approx(WAVE, abs=2.0 ** (1 - 8 * width) * 1.01)


@pytest.mark.parametrize("content", [text(), npy(WAVE), npy(WAVE.astype("f4")), text(rate_Hz=2000.0)])
def test_text_and_arrays_give_their_samples(content: bytes) -> None:
    found = opened(content)
    assert found.values == pytest.approx(WAVE, abs=1e-6)
    assert found.rate_Hz is None or found.rate_Hz == pytest.approx(2000.0)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no record"),
        (b"three words only", "no record"),
        (b"RIFF then nothing", "no record"),
        (wav(1), "16, 24 or 32"),
        (wav(2, 2), "several channels"),
        (npy({"a": 1}), "no record"),
        (npy(np.ones((20, 20))), "one row"),
        (npy(np.array(["a"] * 300)), "one row"),
        (text(WAVE[:20]), "256"),
        (text(np.ones(400)), "plugged in"),
        (npy(np.append(WAVE, np.nan)), "no number"),
        (text(np.column_stack([WAVE] * 3).reshape(-1, 3)), "no record"),
        (b"\n".join(b"%d 1.%d" % (n * n, n) for n in range(300)), "even steps"),
        (b"\x93NUMPY\x01\x00" + b"\xff" * 40, "no record"),
        (b"\x93NUMPY\x01\x00\x10\x00{'descr': [[((  \n", "no record"),
    ],
)
def test_what_is_no_record_is_said(content: bytes, words: str) -> None:
    with pytest.raises(Refused) as caught:
        opened(content)
    assert words in caught.value.fields["file"]


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """The records of a cryostat that Ben may operate."""
    slug = a_bench(app.state.engine, steward)
    give_grade(app.state.engine, slug, member, 1)
    return f"/cryostats/{slug}/vibration-records"


def test_a_record_is_kept_shown_handed_out_and_read_back(
    app: FastAPI, member_client: TestClient, home: str, tmp_path: Path
) -> None:
    files = {"file": ("quiet.csv", text(), "text/csv")}
    assert member_client.post(home, data=SAID, files=files).status_code == 303
    page = member_client.get(home).text
    for part in ("Platform", "2000 Hz", "1,000", "cooler on, pump off", "quiet.csv"):
        assert part in page
    with reading(app.state.engine) as session:
        row = session.exec(select(VibrationRecord)).one()
        back = vibration_records.content(session, tmp_path, row).values
        assert back.tolist() == WAVE.tolist()
    address = next(part for part in page.split('href="') if part.startswith("/files/")).split('"')[0]
    answer = member_client.get(address)
    assert answer.content == text()
    assert answer.headers["content-disposition"].startswith("attachment")


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"unit": "furlong"}, "unit"),
        ({"rate_Hz": ""}, "rate_Hz"),
        ({"rate_Hz": "?"}, "rate_Hz"),
        ({"rate_Hz": "5 MHz"}, "rate_Hz"),
        ({"place": ""}, "place"),
        ({"axis": "w"}, "axis"),
        ({"cooler": "maybe"}, "cooler"),
        ({"pump": ""}, "pump"),
        ({"taken_at": "2199-01-01 10:00"}, "taken_at"),
        ({"taken_at": "soon"}, "taken_at"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field(
    member_client: TestClient, home: str, more: dict[str, str], field: str
) -> None:
    answer = member_client.post(home, data=SAID | more, files={"file": ("a.csv", text(), "text/csv")})
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text


def test_a_rate_that_the_file_contradicts_is_asked_about(member_client: TestClient, home: str) -> None:
    answer = member_client.post(
        home, data=SAID | {"rate_Hz": "1 kHz"}, files={"file": ("a.wav", wav(), "audio/wav")}
    )
    assert "The file itself says 2000 Hz" in answer.text


def test_who_may_not_and_no_file(
    app: FastAPI, client: TestClient, member_client: TestClient, steward: Person, home: str
) -> None:
    assert member_client.post(home, data=SAID).status_code == 422
    assert client.post(home, data=SAID).status_code == 401
    other = f"/cryostats/{a_bench(app.state.engine, steward)}/vibration-records"
    files = {"file": ("a.csv", text(), "text/csv")}
    assert member_client.post(other, data=SAID, files=files).status_code == 403
    assert "Keep a record" not in member_client.get(other).text


def test_the_database_itself_refuses_to_rewrite_them(
    app: FastAPI, member_client: TestClient, home: str
) -> None:
    member_client.post(home, data=SAID, files={"file": ("a.csv", text(), "text/csv")})
    with app.state.engine.begin() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.execute(sa.text("UPDATE vibration_record SET place = 'elsewhere'"))
