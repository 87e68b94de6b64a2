"""One property of one material against temperature: published pieces, joined, with their band."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from server.physics.materials.arrays import Array, Function
from server.physics.materials.forms import FORMS
from server.physics.materials.integral import IntegralTable, integrate


@dataclass(frozen=True)
class About:
    """Where a property comes from and how far to trust it.

    Attributes
    ----------
    source : str
        The publication, as a reader can find it.
    range_K : (float, float)
        Where published data and their fit both stand [K]: the narrower of the two.
    covered_K : (float, float)
        Where the property answers [K], with the stated and wider-banded extension.
    relative_uncertainty : float
        Central 95 % as a fraction, the worst inside `range_K`, other published sets included.
    confidence : str
        A: seen alike in three or more transcriptions of the source; B: in one or two; C: from memory,
        checked against A or B; D: from memory only; own: a laboratory's own; exact: by definition.
    note : str
        What a user should know: sample scatter, extension, disagreement.
    """

    source: str
    range_K: tuple[float, float]
    covered_K: tuple[float, float]
    relative_uncertainty: float
    confidence: str
    note: str = ""


@dataclass(frozen=True)
class Piece:
    """A stretch of a curve with one form."""

    cold_K: float
    hot_K: float
    function: Function
    corners_K: tuple[float, ...] = ()


@dataclass(frozen=True)
class Curve:
    """A property over all it covers: evaluated anywhere, judged by `about.covered_K`."""

    about: About
    pieces: tuple[Piece, ...]
    uncertainty: tuple[tuple[float, float], ...]
    alternatives: tuple[Piece, ...] = ()

    def value(self, T_K: Array) -> Array:
        """The property at `T_K`; beyond the ends, its value at the end."""
        T_K = np.clip(T_K, self.pieces[0].cold_K, self.pieces[-1].hot_K)
        which = np.searchsorted([piece.hot_K for piece in self.pieces[:-1]], T_K)
        value = np.empty_like(T_K)
        for number, piece in enumerate(self.pieces):
            here = which == number
            if here.any():
                value[here] = piece.function(T_K[here])
        return value

    def band(self, T_K: Array) -> tuple[Array, Array]:
        """Low and high factor on the property: its uncertainty, widened to hold every alternative.

        Outside the range of an alternative its disagreement fades, and is gone at twice (or half) the
        temperature.
        """
        knots, relative = np.array(self.uncertainty).T
        high = 1.0 + np.interp(np.log(T_K), np.log(knots), relative)
        low = 1.0 / high
        for other in self.alternatives:
            shared_K = np.clip(T_K, other.cold_K, other.hot_K)
            fading = np.maximum(0.0, 1.0 - np.abs(np.log2(T_K / shared_K)))
            ratio = (other.function(shared_K) / self.value(shared_K)) ** fading
            low, high = np.minimum(low, ratio), np.maximum(high, ratio)
        return low, high

    @cached_property
    def corners_K(self) -> Array:
        """Every temperature at which the curve or its band may have a kink [K]."""
        pieces = (*self.pieces, *self.alternatives)
        corners = [T for piece in pieces for T in (piece.cold_K, piece.hot_K, *piece.corners_K)]
        corners += [T for other in self.alternatives for T in (other.cold_K / 2.0, other.hot_K * 2.0)]
        corners += [T for T, _ in self.uncertainty]
        cold_K, hot_K = self.about.covered_K
        return np.unique([T for T in corners if cold_K <= T <= hot_K])

    @cached_property
    def table(self) -> IntegralTable:
        """The integral of the property."""
        return integrate(self.value, self.corners_K)

    @cached_property
    def band_tables(self) -> tuple[IntegralTable, IntegralTable]:
        """The integrals of the property at the low and at the high end of its band."""
        return (
            integrate(lambda T_K: self.value(T_K) * self.band(T_K)[0], self.corners_K),
            integrate(lambda T_K: self.value(T_K) * self.band(T_K)[1], self.corners_K),
        )


def read_curve(entry: Mapping[str, Any], sources: Mapping[str, str]) -> Curve:
    """Make a curve from one data entry (see the package's docstring for its keys)."""
    pieces = _joined([read_piece(piece) for piece in entry["pieces"]])
    pieces = [*_below(pieces[0], entry.get("below")), *pieces, *_above(pieces[-1], entry.get("above"))]
    covered_K = (pieces[0].cold_K, pieces[-1].hot_K)
    uncertainty = _knots(entry["uncertainty"], covered_K)
    alternatives = tuple(read_piece(piece) for piece in entry.get("alternatives", ()))
    about = About(
        source="; ".join(sources.get(key, key) for key in entry["source"]),
        range_K=(float(entry["range_K"][0]), float(entry["range_K"][1])),
        covered_K=covered_K,
        relative_uncertainty=0.0,
        confidence=entry["confidence"],
        note=entry.get("note", ""),
    )
    curve = Curve(about, tuple(pieces), uncertainty, alternatives)
    return replace(curve, about=replace(about, relative_uncertainty=_worst(curve)))


def read_piece(entry: Mapping[str, Any]) -> Piece:
    """One stretch; a table brings its own ends and a corner at every point."""
    function = FORMS[entry["form"]](entry)
    points = tuple(float(T) for T in entry.get("T_K", ()))
    cold_K = float(entry.get("from_K", points[0] if points else 0.0))
    hot_K = float(entry.get("to_K", points[-1] if points else 0.0))
    corners = (*points, float(entry["level_below_K"])) if "level_below_K" in entry else points
    return Piece(cold_K, hot_K, function, tuple(T for T in corners if cold_K < T < hot_K))


def _joined(pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces, with a straight line in log-log across every gap between two of them."""
    joined = [pieces[0]]
    for piece in pieces[1:]:
        if joined[-1].hot_K < piece.cold_K:
            joined.append(_bridge(joined[-1], piece))
        joined.append(piece)
    return joined


def _bridge(cold: Piece, hot: Piece) -> Piece:
    ends = np.array([cold.hot_K, hot.cold_K])
    values = [float(cold.function(ends[:1])[0]), float(hot.function(ends[1:])[0])]
    function = FORMS["table"]({"T_K": ends, "values": values})
    return Piece(cold.hot_K, hot.cold_K, function)


def _below(first: Piece, extension: Mapping[str, Any] | None) -> list[Piece]:
    """A power law that continues the first piece towards the cold."""
    if extension is None:
        return []
    return [Piece(float(extension["to_K"]), first.cold_K, _continued(first, first.cold_K, extension))]


def _above(last: Piece, extension: Mapping[str, Any] | None) -> list[Piece]:
    """A power law that continues the last piece towards the warm."""
    if extension is None:
        return []
    return [Piece(last.hot_K, float(extension["to_K"]), _continued(last, last.hot_K, extension))]


def _continued(piece: Piece, at_K: float, extension: Mapping[str, Any]) -> Function:
    exponent = float(extension["exponent"])
    coefficient = float(piece.function(np.array([at_K]))[0]) / at_K**exponent
    return FORMS["power-law"]({"coefficient": coefficient, "exponent": exponent})


def _knots(
    uncertainty: float | Sequence[Sequence[float]], covered_K: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    if isinstance(uncertainty, int | float):
        return tuple((T_K, float(uncertainty)) for T_K in covered_K)
    return tuple((float(T_K), float(relative)) for T_K, relative in uncertainty)


def _worst(curve: Curve) -> float:
    """The widest side of the band inside the range of the data."""
    low, high = curve.band(np.geomspace(*curve.about.range_K, 200))
    return float(max((high - 1.0).max(), (1.0 - low).max()))
