"""A cooler ready for the balance: how warm its two stages get for watts, many variants at once.

Arrays have one row a variant and two columns: the shield's stage and the platform's. A variant sets how much
the cooler differs from what was measured: see `Settings`.
"""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal.cooler import COOLED, CapacityMap, Cryostat, HeaterPoint, HeaterTest, own_K
from server.physics.thermal.monotone import Monotone

UNTESTED_K_W = {"shield": Band(0.5, 1.1, 2.0), "platform": Band(1.5, 5.0, 8.0)}
"""Slope of a stage nobody heated, of an ordinary two-stage cooler (from memory)."""


@dataclass(frozen=True)
class Settings:
    """What may be unsure of a cooler.

    Attributes
    ----------
    rise : (variants, 2) array
        Factor on the rise above the reference cooldown; of a map, factor on the load it takes.
    lift : (variants, 2) array
        Share of its lift the cooler still has.
    link_K_W : (variants,) array
        Resistance between the cooler's second stage and the platform [K/W].
    offset_K : (variants, 2) array
        How much warmer than the reference [K].
    """

    rise: Array
    lift: Array
    link_K_W: Array
    offset_K: Array

    def row(self, **changes: Array | float) -> "Settings":
        """These settings with something changed."""
        return replace(self, **{name: np.asarray(value, dtype=float) for name, value in changes.items()})

    def repeated(self, times: int) -> "Settings":
        """All of them again and again."""
        pairs = (np.tile(part, (times, 1)) for part in (self.rise, self.lift, self.offset_K))
        rise, lift, offset_K = pairs
        return Settings(rise, lift, np.tile(self.link_K_W, times), offset_K)

    @classmethod
    def stacked(cls, many: "list[Settings]") -> "Settings":
        """Several settings of one variant each as one of as many variants."""
        names = ("rise", "lift", "link_K_W", "offset_K")
        return cls(*(np.concatenate([getattr(one, name) for one in many]) for name in names))


class Lift(Protocol):
    """What the balance asks of a cooler."""

    cooled: tuple[bool, bool]
    tested_W: Array
    coldest_W: Array
    untested: tuple[str, ...]

    def kelvin(self, added_W: Array, settings: Settings) -> tuple[Array, Array]:
        """Temperatures (variants, 2) for watts (variants, 2), and their derivatives (variants, 2, 2)."""

    def reference_W(self, settings: Settings, known_W: Array) -> Array:
        """Watts at which `kelvin` gives the bare temperatures (variants, 2).

        `known_W` are those that the elements of the bare reference bring.
        """


class TestLift:
    """A cooler known by a heater test: temperatures against added watts."""

    __test__ = False

    def __init__(self, test: HeaterTest, bare_K: Array) -> None:
        self.bare_K = bare_K
        self.cooled = (bool(np.isfinite(bare_K[0])), bool(np.isfinite(bare_K[1])))
        lines = [sorted(_line(test, stage), key=lambda p: p.added_W) for stage in COOLED]
        self.untested = tuple(
            stage
            for stage, line, there in zip(COOLED, lines, self.cooled, strict=True)
            if there and len(line) < 2
        )
        ends = [line[-1].added_W if len(line) > 1 else np.inf for line in lines]
        self.tested_W: Array = np.array(ends)
        self.coldest_W: Array = np.zeros(2)
        both = [(read, heated) for read in (0, 1) for heated in (0, 1)]
        every = ((*pair, self._curve(lines[pair[1]], pair[1], pair[0])) for pair in both)
        self.curves = [(read, heated, curve) for read, heated, curve in every if curve is not None]

    def _curve(self, line: list[HeaterPoint], heated: int, read: int) -> Monotone | None:
        """Rise of one stage against watts into the other or itself."""
        readings = [(p.added_W, K) for p in line if (K := (p.shield_K, p.platform_K)[read]) is not None]
        if len(readings) > 1:
            watts, kelvin = np.array(readings).T
            moved = heated == read or bool((kelvin != kelvin[0]).any())
            return Monotone(watts, kelvin - kelvin[0]) if moved else None
        if heated != read:
            return None
        slope = UNTESTED_K_W[COOLED[read]].best or 0.0
        return Monotone(np.array([0.0, 1.0]), np.array([0.0, slope]))

    def kelvin(self, added_W: Array, settings: Settings) -> tuple[Array, Array]:
        """See `Lift`."""
        eased_W = added_W / settings.lift
        rise_K = np.zeros_like(eased_W)
        slopes = np.zeros((*eased_W.shape, 2))
        for read, heated, curve in self.curves:
            value, slopes[:, read, heated] = curve.at(eased_W[:, heated])
            rise_K[:, read] += value
        slopes *= settings.rise[:, :, None] / settings.lift[:, None, :]
        return self.bare_K + settings.rise * rise_K + settings.offset_K, slopes

    def reference_W(self, settings: Settings, known_W: Array) -> Array:
        """See `Lift`: zero watts. A cooler that has aged has the bare load to carry as well, if known."""
        return known_W * (1.0 - settings.lift)


def _line(test: HeaterTest, stage: str) -> list[HeaterPoint]:
    return [point for point in test.points if point.heated == stage and own_K(point) is not None]


class MapLift:
    """A cooler known by a map on a grid of loads, bilinear in each cell, straight beyond the grid."""

    def __init__(self, cooler: CapacityMap, bare_K: Array, shield: bool) -> None:
        self.bare_K = bare_K
        self.cooled = (shield, True)
        self.untested: tuple[str, ...] = ()
        loads = np.array([(p.shield_W, p.platform_W) for p in cooler.points])
        self.axes = [np.unique(loads[:, axis]) for axis in (0, 1)]
        self.tested_W: Array = np.array([axis[-1] for axis in self.axes])
        self.coldest_W: Array = np.array([axis[0] for axis in self.axes])
        place = {(p.shield_W, p.platform_W): (p.shield_K, p.platform_K) for p in cooler.points}
        self.grid: Array = np.array([[place[one, other] for other in self.axes[1]] for one in self.axes[0]])

    def kelvin(self, added_W: Array, settings: Settings) -> tuple[Array, Array]:
        """See `Lift`."""
        scale = settings.rise / settings.lift
        kelvin, slopes = self._map(added_W * scale)
        slopes = slopes * scale[:, None, :]
        kelvin[:, 1] += added_W[:, 1] * settings.link_K_W
        slopes[:, 1, 1] += settings.link_K_W
        return kelvin + settings.offset_K, slopes

    def reference_W(self, settings: Settings, known_W: Array) -> Array:
        """See `Lift`: the map at the bare temperatures, turned round. Nothing without a bare reference."""
        if not np.isfinite(self.bare_K[1]):
            return known_W
        plain = settings.row(offset_K=np.zeros_like(settings.offset_K))
        open_ = [n for n in (0, 1) if np.isfinite(self.bare_K[n])]
        starts = [axis.mean() if n in open_ else axis[0] for n, axis in enumerate(self.axes)]
        load_W: Array = np.zeros((len(known_W), 2)) + np.array(starts)
        for _ in range(50):
            kelvin, slopes = self.kelvin(load_W, plain)
            miss = (self.bare_K - kelvin)[:, open_]
            step = np.linalg.solve(slopes[:, open_][:, :, open_], miss[..., None])[..., 0]
            load_W[:, open_] += step
            if np.abs(miss).max() < 1e-11:
                break
        return load_W

    def _map(self, load_W: Array) -> tuple[Array, Array]:
        (u, i, wide), (v, j, deep) = (_cell(axis, load_W[:, n]) for n, axis in enumerate(self.axes))
        i_next, j_next = np.minimum(i + 1, len(self.axes[0]) - 1), np.minimum(j + 1, len(self.axes[1]) - 1)
        a, b = self.grid[i, j], self.grid[i_next, j]
        c, d = self.grid[i, j_next], self.grid[i_next, j_next]
        u, v = u[:, None], v[:, None]
        kelvin: Array = (1 - u) * ((1 - v) * a + v * c) + u * ((1 - v) * b + v * d)
        along = ((1 - v) * (b - a) + v * (d - c)) / wide[:, None]
        across = ((1 - u) * (c - a) + u * (d - b)) / deep[:, None]
        return kelvin, np.stack([along, across], axis=2)


def _cell(axis: Array, load_W: Array) -> tuple[Array, NDArray[np.intp], Array]:
    """Where a load lies on an axis: part of the cell, its number, its width."""
    if len(axis) == 1:
        none = np.zeros(len(load_W))
        return none, none.astype(np.intp), none + 1.0
    number = np.clip(np.searchsorted(axis, load_W, side="right") - 1, 0, len(axis) - 2)
    width = axis[number + 1] - axis[number]
    return (load_W - axis[number]) / width, number, width


def build_lift(cryostat: Cryostat) -> Lift:
    """The cooler of a cryostat."""
    bare_K = bare_temperatures_K(cryostat)
    if isinstance(cryostat.cooler, HeaterTest):
        return TestLift(cryostat.cooler, bare_K)
    return MapLift(cryostat.cooler, bare_K, "shield" in cryostat.stages)


def bare_temperatures_K(cryostat: Cryostat) -> Array:
    """What shield and platform read in the reference cooldown; not a number where nobody said."""
    found = [cryostat.bare.temperatures_K.get(stage, np.nan) for stage in COOLED]
    if isinstance(cryostat.cooler, HeaterTest):
        for point in cryostat.cooler.points:
            if point.added_W == 0.0:
                for number, reading in enumerate((point.shield_K, point.platform_K)):
                    found[number] = found[number] if reading is None else reading
    there = [stage in cryostat.stages for stage in COOLED]
    return np.where(there, np.array(found, dtype=float), np.nan)
