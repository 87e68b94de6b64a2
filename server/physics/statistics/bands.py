"""A number with what is known of it: `Band(low, best, high)`, the central 95 % range."""

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Band:
    """The central 95 % range of a number.

    Attributes
    ----------
    low : float or None
        Lower end. None: less than `high`, nobody can say better.
    best : float or None
        The value itself. None: only the range is known.
    high : float or None
        Upper end. None: more than `low`, nobody can say better.

    Raises
    ------
    ValueError
        When an end is not a number, or the three are not in order.

    Examples
    --------
    >>> Band(1.0, 2.0, 4.0).scaled(2.0)
    Band(low=2.0, best=4.0, high=8.0)
    >>> Band(1.0, 2.0, 4.0).plus(Band(0.0, 3.0, 5.0)).best
    5.0
    """

    low: float | None
    best: float | None
    high: float | None

    def __post_init__(self) -> None:
        known = [value for value in self._parts if value is not None]
        if not known or not all(math.isfinite(value) for value in known):
            raise ValueError("A band is made of finite numbers, at least one of them.")
        if sorted(known) != known:
            raise ValueError("A band rises from low over best to high.")

    @property
    def _parts(self) -> tuple[float | None, float | None, float | None]:
        return self.low, self.best, self.high

    @classmethod
    def exact(cls, value: float) -> "Band":
        """A number known exactly."""
        return cls(value, value, value)

    @classmethod
    def between(cls, low: float, high: float) -> "Band":
        """Only the range is known."""
        return cls(low, None, high)

    @classmethod
    def more_than(cls, low: float) -> "Band":
        """More than `low`: nobody can say better."""
        return cls(low, None, None)

    @classmethod
    def within_factor(cls, best: float, factor: float) -> "Band":
        """From `best`/`factor` to `best`·`factor`, for a positive number good to a factor."""
        return cls(best / factor, best, best * factor)

    @classmethod
    def many(
        cls, lows: Iterable[float], bests: Iterable[float | None], highs: Iterable[float | None]
    ) -> "list[Band]":
        """One band for each of many numbers. They must be finite and in order: nothing is checked again."""
        made = []
        for low, best, high in zip(lows, bests, highs, strict=True):
            band = object.__new__(cls)
            parts = band.__dict__
            parts["low"], parts["best"], parts["high"] = low, best, high
            made.append(band)
        return made

    @property
    def is_exact(self) -> bool:
        """Whether nothing is uncertain about it."""
        return self.low is not None and self.low == self.high

    @property
    def middle(self) -> float:
        """The best value; of a mere range the middle; of *more than* or *less than* the end."""
        if self.best is not None:
            return self.best
        ends = [end for end in (self.low, self.high) if end is not None]
        return sum(ends) / len(ends)

    @property
    def half_width(self) -> float | None:
        """Half of the range; None where an end is missing."""
        if self.low is None or self.high is None:
            return None
        return (self.high - self.low) / 2.0

    def contains(self, value: float) -> bool:
        """Whether `value` lies in the range, its ends included."""
        return (self.low is None or self.low <= value) and (self.high is None or value <= self.high)

    def scaled(self, factor: float) -> "Band":
        """Every part times `factor`; a negative factor turns the band round."""
        low, best, high = (None if part is None else part * factor for part in self._parts)
        return Band(high, best, low) if factor < 0.0 else Band(low, best, high)

    def shifted(self, by: float) -> "Band":
        """Every part plus `by`."""
        low, best, high = (None if part is None else part + by for part in self._parts)
        return Band(low, best, high)

    def plus(self, other: "Band") -> "Band":
        """The sum of two independent numbers: bests add, distances to the ends add in quadrature."""
        return together([self, other])

    def minus(self, other: "Band") -> "Band":
        """The difference of two independent numbers."""
        return self.plus(other.scaled(-1.0))


Quantity = float | Band | None
"""What a field may hold: a value, a band, or None for unknown."""


def together(bands: Iterable[Band]) -> Band:
    """The sum of independent numbers.

    Bests add; distances from the middle to an end add in quadrature; the sum has an end only where every
    number has it, and a best only where every number has one.

    Parameters
    ----------
    bands : iterable of Band
        The numbers, all in one unit.

    Returns
    -------
    Band
        Their sum, in that unit.

    Raises
    ------
    ValueError
        When a sum is too large to be a number.

    Examples
    --------
    >>> together([Band(0.0, 3.0, 6.0), Band(0.0, 4.0, 8.0)])
    Band(low=2.0, best=7.0, high=12.0)

    References
    ----------
    JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 5.1 (uncorrelated quantities).
    """
    parts = list(bands)
    middle = math.fsum(part.middle for part in parts)
    below = [None if part.low is None else part.middle - part.low for part in parts]
    above = [None if part.high is None else part.high - part.middle for part in parts]
    best = middle if all(part.best is not None for part in parts) else None
    down, up = _quadrature(below), _quadrature(above)
    low = None if down is None else middle - down
    return Band(low, best, None if up is None else middle + up)


def _quadrature(distances: Iterable[float | None]) -> float | None:
    known = []
    for distance in distances:
        if distance is None:
            return None
        known.append(distance)
    return math.hypot(*known)
