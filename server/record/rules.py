"""A record as tables of words: what the page, the text, the table and the archive all show. Pure."""

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.cooldowns.diagnosis_rules import SIGMAS
from server.physics.statistics import Band
from server.units import show_band, unit_for
from server.web.tabular import Style, written

DIGITS = 10
NORMAL_95 = 1.959964
"""Half the central 95 % of a normal distribution, in standard deviations (from memory)."""


@dataclass(frozen=True)
class Section:
    """One table: its title, its head, its rows; `empty` is said where there are none."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = "Nothing is written down."


def text(title: str, reference: str, sections: Iterable[Section]) -> str:
    """The whole record as plain text."""
    parts = [f"{title}\nReference: {reference}"]
    for section in sections:
        lines = [section.title, "-" * len(section.title)]
        lines += [_line(section.head, row) for row in section.rows] or [section.empty]
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"


def _line(head: Sequence[str], row: Sequence[str]) -> str:
    first, *others = zip(head, row, strict=True)
    told = "; ".join(f"{name}: {value}" for name, value in others if value)
    return f"* {first[1]}{' | ' if told else ''}{told}"


def table(sections: Iterable[Section], style: Style) -> str:
    """The whole record as one table: section, row, column, value."""
    rows = [
        (section.title, str(number), name, value)
        for section in sections
        for number, row in enumerate(section.rows, 1)
        for name, value in zip(section.head, row, strict=True)
    ]
    return written(("section", "row", "column", "value"), rows, style)


def fingerprint(sections: Iterable[Section]) -> str:
    """Of everything the record says: the same as long as nobody adds anything to it."""
    kept = "\x1e".join(
        "\x1f".join((one.title, *(cell for row in one.rows for cell in row))) for one in sections
    )
    return hashlib.sha256(kept.encode()).hexdigest()[:DIGITS]


@dataclass(frozen=True)
class Estimate:
    """How far the sample was from the platform, and how that is known."""

    size: str
    how: str


def estimate(read_K: Mapping[str, float], expected_K: Mapping[str, Band]) -> Estimate | None:
    """Sample minus platform: read where both were, else predicted; None where neither.

    The band of what was read comes from the standard deviations that diagnosis takes for thermometers (from
    memory): it is central 95 % of two independent ones.
    """
    if "sample" in read_K and "platform" in read_K:
        size_K = read_K["sample"] - read_K["platform"]
        half_K = NORMAL_95 * math.hypot(SIGMAS["sample"], SIGMAS["platform"])
        band = Band(size_K - half_K, size_K, size_K + half_K)
        how = (
            f"both thermometers, read at base, taken to scatter by {1000 * SIGMAS['sample']:g} mK and "
            f"{1000 * SIGMAS['platform']:g} mK (from memory); "
            "how well the sample's is fixed to the sample is not in it"
        )
        return Estimate(show_band(band, unit_for([band], "K"), signed=True), how)
    sample, platform = expected_K.get("sample"), expected_K.get("platform")
    if sample is None or platform is None:
        return None
    band = sample.plus(platform.scaled(-1.0))
    how = "predicted before the cooldown, the bands of both added; no thermometer at the sample was read"
    return Estimate(show_band(band, unit_for([band], "K"), signed=True), how)
