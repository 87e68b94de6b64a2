"""What a file of a vibration record holds: samples of one sensor along one axis, or its spectrum. Pure."""

import wave
from dataclasses import dataclass
from io import BytesIO
from tokenize import TokenError

import numpy as np
from numpy.typing import NDArray

from server.errors import Refused
from server.physics.vibration import Motion

MOTIONS: dict[str, Motion] = {"m/s2": "acceleration", "m/s": "velocity", "m": "displacement"}
DENSITIES: dict[str, Motion] = {f"{unit}/√Hz": motion for unit, motion in MOTIONS.items()}
"""Amplitude densities: the square root of a one-sided power density."""
LINES: dict[str, Motion] = {f"{unit} rms in each line": motion for unit, motion in MOTIONS.items()}
"""Root mean squares in each line: a density only once the bandwidth of the window is known."""
SPECTRA = DENSITIES | LINES
UNITS = (*MOTIONS, "V", *SPECTRA)
FEWEST, MOST = 256, 20_000_000
FEWEST_LINES, MOST_LINES = 16, 1_000_000
STEPS_AGREE = 0.01
AS_SPACES = str.maketrans(";\t,", "   ")
Samples = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Content:
    """A file, its form, and what it holds.

    `values` are samples, with the rate where the file says one; or amplitudes at `frequency_Hz`.
    """

    raw: bytes
    form: str
    values: Samples
    rate_Hz: float | None = None
    frequency_Hz: Samples | None = None


UNREADABLE = (ValueError, EOFError, SyntaxError, TokenError, MemoryError, OverflowError, wave.Error)
"""What the readers of the three forms raise over a file that is none."""


def opened(content: bytes, unit: str = "") -> Content:
    """What a file holds: a spectrum where `unit` is one of a spectrum, else samples.

    Refused for what is no record of one sensor along one axis.
    """
    return _spectrum(content) if unit in SPECTRA else _record(content)


def _record(content: bytes) -> Content:
    try:
        if content.startswith(b"RIFF"):
            found = _wav(content)
        elif content.startswith(b"\x93NUMPY"):
            found = _npy(content)
        else:
            found = _text(content)
    except UNREADABLE as problem:
        raise _not_kept(
            "This is no record that can be read: text in one or two columns, WAV or NPY"
        ) from problem
    if not FEWEST <= len(found.values) <= MOST:
        raise _not_kept(f"A record has from {FEWEST} to {MOST:,} samples; this one has {len(found.values):,}")
    if not np.isfinite(found.values).all():
        raise _not_kept("The record has samples that are no number")
    if found.values.min() == found.values.max():
        raise _not_kept("Every sample is the same: was the sensor plugged in?")
    return found


def _spectrum(content: bytes) -> Content:
    try:
        table = _columns(_lines(content))
    except UNREADABLE as problem:
        raise _not_kept("A spectrum is text in two columns: frequency in Hz, and amplitude") from problem
    if table.shape[1] != 2 or not FEWEST_LINES <= len(table) <= MOST_LINES:
        raise _not_kept(f"A spectrum has two columns and from {FEWEST_LINES} to {MOST_LINES:,} lines")
    if not np.isfinite(table).all() or table.min() < 0 or not table[:, 1].any():
        raise _not_kept("Frequencies and amplitudes must be numbers, none below zero, not all zero")
    steps = np.diff(table[:, 0])
    if steps.min() <= 0 or np.ptp(steps) > STEPS_AGREE * steps.mean():
        raise _not_kept("The frequencies of the first column must rise in even steps")
    return Content(content, "spectrum", table[:, 1], frequency_Hz=table[:, 0])


def _not_kept(text: str) -> Refused:
    return Refused("The record was not kept.", {"file": text})


def _wav(content: bytes) -> Content:
    with wave.open(BytesIO(content)) as file:
        if file.getnchannels() != 1:
            raise _not_kept("Send one sensor and one axis at a time; this file has several channels")
        width, raw = file.getsampwidth(), file.readframes(file.getnframes())
        rate_Hz = float(file.getframerate())
    if width not in (2, 3, 4):
        raise _not_kept("A WAV of 16, 24 or 32 bits can be read")
    if width == 3:
        wide = np.zeros((len(raw) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        return Content(content, "wav", wide.view("<i4").ravel() / 2.0**31, rate_Hz)
    return Content(content, "wav", np.frombuffer(raw, f"<i{width}") / 2.0 ** (8 * width - 1), rate_Hz)


def _npy(content: bytes) -> Content:
    values = np.load(BytesIO(content), allow_pickle=False)
    if values.ndim != 1 or values.dtype.kind not in "fiu":
        raise _not_kept("The array must be one row of numbers")
    return Content(content, "npy", values.astype(np.float64))


def _lines(content: bytes) -> list[str]:
    lines = [line.partition("#")[0].translate(AS_SPACES) for line in content.decode("utf-8-sig").splitlines()]
    return [line for line in lines if line.strip()]


def _columns(lines: list[str]) -> Samples:
    if not lines:
        raise _not_kept("The file is empty")
    return np.asarray(np.loadtxt(lines, comments=None, ndmin=2), np.float64)


def _text(content: bytes) -> Content:
    lines = _lines(content)
    if len(lines) < FEWEST:
        raise _not_kept(f"This is no record: text has a sample on each of at least {FEWEST} lines")
    table = _columns(lines)
    if table.shape[1] == 1:
        return Content(content, "text", table[:, 0])
    if table.shape[1] != 2:
        raise _not_kept("Send one column of samples, or time and sample in two")
    steps = np.diff(table[:, 0])
    if not len(steps) or steps.min() <= 0 or steps.max() > 1.5 * float(np.median(steps)):
        raise _not_kept("The times of the first column must rise in even steps")
    return Content(content, "text", table[:, 1], float(len(steps) / (table[-1, 0] - table[0, 0])))
