"""One cause fitted to what was read: a reading, a curve at many sizes, and the evidence along it.

All shifts here are in standard deviations of their witness. A curve is cut into pieces; over a piece the
reading is normal with the piece's own extent added to its scatter, so that no piece is too coarse for a sharp
witness.
"""

from dataclasses import dataclass

import numpy as np

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.elements import Element
from server.physics.thermal.signatures import Curve

FINE = 1500
"""Points of a curve while its size is fitted."""
ALIKE = 2.0
"""Standard deviations below which two signatures are not told apart."""
TAIL = 0.025


@dataclass(frozen=True, eq=False)
class Case:
    """What was read, in standard deviations from what was expected, and how often each suspect is found."""

    cryostat: Cryostat
    elements: tuple[Element, ...]
    names: tuple[str, ...]
    read: Array
    sigma: Array
    log_prior: Array


@dataclass(frozen=True, eq=False)
class Way:
    """One combination of suspects, by number: their sizes and shifts at the best of them."""

    members: tuple[int, ...]
    log_weight: float
    sizes: tuple[Band | None, ...] = ()
    parts: tuple[Array, ...] = ()
    more: Array | float = 0.0
    known: bool = True

    def shift(self, read: Array) -> Array:
        """All it shifts: its parts, and what they do only together."""
        return np.asarray(sum(self.parts, np.zeros_like(read)) + self.more)


class Fine:
    """A curve at many sizes, in standard deviations: `logs` (points,), `shifts` (points, witnesses)."""

    def __init__(self, curve: Curve, sigma: Array) -> None:
        self.curve, self.suspect, self.sigma = curve, curve.suspect, sigma
        self.logs = np.linspace(curve.log_sizes[0], curve.log_sizes[-1], FINE if curve.suspect.sizes else 1)
        self.shifts = self.at(self.logs)

    def at(self, logs: Array) -> Array:
        """Shifts at these sizes."""
        return self.curve.at(logs) / self.sigma

    def looks_like(self, shift: Array) -> bool:
        """Whether at some size this shifts the witnesses so, as far as they can tell."""
        return bool(np.sum((self.shifts - shift) ** 2, axis=1).min() < ALIKE**2)


def single(case: Case, number: int, one: Fine, log_share: float) -> Way:
    """The evidence of one suspect and its size."""
    logarithm = over_pieces(case.read, one.shifts)
    total = np.logaddexp.reduce(logarithm) - np.log(logarithm.size)
    best = int(np.argmin(np.sum((case.read - one.shifts) ** 2, axis=1)))
    size = band_of(one.logs, logarithm) if one.suspect.sizes else None
    return Way((number,), float(total + case.log_prior[number] + log_share), (size,), (one.shifts[best],))


def log_normal(read: Array, wide: float) -> float:
    """Logarithm of the likelihood of a reading with this standard deviation about zero, without 2 pi."""
    return float(-0.5 * np.sum((read / wide) ** 2) - read.size * np.log(wide))


def over_pieces(read: Array, shifts: Array) -> Array:
    """Logarithm of the likelihood along a curve, each point standing for half the way to its neighbours."""
    step = np.gradient(shifts, axis=0) if len(shifts) > 1 else np.zeros_like(shifts)
    wide = np.sum(step**2, axis=1) / 12.0
    along = np.sum(step * (read - shifts), axis=1) ** 2 / 12.0
    miss = np.sum((read - shifts) ** 2, axis=1) - along / (1.0 + wide)
    return np.asarray(-0.5 * miss - 0.5 * np.log1p(wide))


def band_of(logs: Array, logarithm: Array) -> Band:
    """Central 95 % and median of a size."""
    share = np.exp(logarithm - logarithm.max())
    reached = (np.cumsum(share) - 0.5 * share) / share.sum()
    low, best, high = (float(np.exp(np.interp(part, reached, logs))) for part in (TAIL, 0.5, 1.0 - TAIL))
    return Band(low, best, high)
