"""Interpolation that follows its points and invents no wiggles between them."""

import numpy as np

from server.physics.materials.arrays import Array


class Monotone:
    """A cubic through points that rises wherever they rise; beyond the ends it goes on straight.

    Slopes after F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300: the harmonic mean of the
    slopes on both sides, weighted by the widths.

    Parameters
    ----------
    x, y : (n,) arrays
        At least two points, x rising.
    """

    def __init__(self, x: Array, y: Array) -> None:
        self.x, self.y = x, y
        self.slopes = _slopes(np.diff(x), np.diff(y) / np.diff(x))

    def at(self, x: Array) -> tuple[Array, Array]:
        """Value and slope at `x`, any shape."""
        if len(self.x) == 2:
            rate = self.slopes[0]
            return self.y[0] + rate * (x - self.x[0]), np.full_like(x, rate)
        cell = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.x) - 2)
        width = self.x[cell + 1] - self.x[cell]
        u_any = (x - self.x[cell]) / width
        u = np.clip(u_any, 0.0, 1.0)
        rise = self.y[cell + 1] - self.y[cell]
        b, right = self.slopes[cell] * width, self.slopes[cell + 1] * width
        c, d = 3.0 * rise - 2.0 * b - right, b + right - 2.0 * rise
        slope = b + u * (2.0 * c + 3.0 * u * d)
        value = self.y[cell] + u * (b + u * (c + u * d)) + slope * (u_any - u)
        return value, slope / width


def _slopes(width: Array, rate: Array) -> Array:
    """Slope at every point."""
    if len(rate) == 1:
        return np.repeat(rate, 2)
    slopes = np.zeros(len(rate) + 1)
    before, after = rate[:-1], rate[1:]
    one, other = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    rising = before * after > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (one + other) / (one / before + other / after)
    slopes[1:-1] = np.where(rising, mean, 0.0)
    slopes[0] = _end_slope(width[0], width[1], rate[0], rate[1])
    slopes[-1] = _end_slope(width[-1], width[-2], rate[-1], rate[-2])
    return slopes


def _end_slope(near: float, far: float, rate: float, next_rate: float) -> float:
    """Three-point slope at an end, held to what keeps the cubic from turning."""
    slope = ((2.0 * near + far) * rate - near * next_rate) / (near + far)
    if slope * rate <= 0.0:
        return 0.0
    return 3.0 * rate if rate * next_rate < 0.0 and abs(slope) > 3.0 * abs(rate) else slope
