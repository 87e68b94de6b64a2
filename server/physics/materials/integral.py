"""Integrals of a property over temperature, looked up instead of summed each time."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from server.physics.materials.arrays import Array, Function

WIDEST_CELL = 0.008
"""Widest cell of the table in ln T: the cubic is then good to about 1e-11 of the cell's integral."""

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class IntegralTable:
    """The integral of one property from the table's cold end, with the property itself as its slope.

    Between two nodes the integral is the cubic that has the right value and the right slope at both, so
    it needs no fit and its derivative is the property. Beyond the ends the property is taken as constant,
    which lets a solver step outside and come back.

    Attributes
    ----------
    T_K : (n,) array
        Nodes [K], rising; every corner of the property is a node.
    integral : (n,) array
        Integral from ``T_K[0]`` to the node [property × K].
    slope : (n,) array
        The property at the node.
    """

    T_K: Array
    integral: Array
    slope: Array

    def at(self, T_K: Array) -> Array:
        """Integral from the table's cold end to `T_K` [property × K], any shape, any temperature."""
        inside = np.clip(T_K, self.T_K[0], self.T_K[-1])
        cell = np.clip(np.searchsorted(self.T_K, inside, side="right") - 1, 0, len(self.T_K) - 2)
        start, width = self.T_K[cell], self.T_K[cell + 1] - self.T_K[cell]
        u = (inside - start) / width
        left, right = self.slope[cell] * width, self.slope[cell + 1] * width
        rise = self.integral[cell + 1] - self.integral[cell]
        cubic = u * (left + u * (3.0 * rise - 2.0 * left - right + u * (left + right - 2.0 * rise)))
        end_slope = np.where(inside > T_K, self.slope[0], self.slope[-1])
        return np.asarray(self.integral[cell] + cubic + end_slope * (T_K - inside))


def integrate(function: Function, corners_K: Array) -> IntegralTable:
    """Tabulate the integral of `function` between the first and the last corner.

    Parameters
    ----------
    function : callable
        The property against temperature, smooth between the corners.
    corners_K : (m,) array
        Rising temperatures [K] where the property may have a kink.

    Returns
    -------
    IntegralTable
        Eight-point Gauss-Legendre in every cell, cells no wider than `WIDEST_CELL` in ln T.
    """
    nodes = _nodes(corners_K)
    half = np.diff(nodes)[:, None] / 2.0
    middle = (nodes[1:] + nodes[:-1])[:, None] / 2.0
    cells = (function(middle + half * _POINTS) * _WEIGHTS).sum(axis=1) * half[:, 0]
    return IntegralTable(nodes, np.concatenate(([0.0], np.cumsum(cells))), function(nodes))


def _nodes(corners_K: Array) -> Array:
    """The corners, with enough nodes between them, evenly spaced in ln T."""
    stretches = []
    for cold, hot in pairwise(corners_K):
        cells = max(1, int(np.ceil(np.log(hot / cold) / WIDEST_CELL)))
        stretches.append(np.geomspace(cold, hot, cells + 1)[:-1])
    return np.concatenate([*stretches, corners_K[-1:]])
