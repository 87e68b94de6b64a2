"""What is unsure of a cooler."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from server.physics.materials.arrays import Array
from server.physics.statistics import Band, Quantity
from server.physics.thermal.cooler import COOLED, CapacityMap, Cooler, HeaterTest
from server.physics.thermal.lift import UNTESTED_K_W, Lift, Settings

UNKNOWN_LINK_W_K = Band(0.1, None, 1.0)
"""Conductance of a flexible link that nobody measured (from memory)."""


class CoolerKnob(NamedTuple):
    """One thing that is unsure of the cooler, by the settings at its low and at its high end."""

    what: str
    low: Settings
    high: Settings
    ranged: bool


def cooler_settings(cooler: Cooler, lift: Lift) -> tuple[Settings, tuple[CoolerKnob, ...]]:
    """The settings of a cooler at their best, and everything that is unsure of it."""
    left = np.ones((1, 2))
    for stage, share in _ageing(cooler).items():
        left[0, COOLED.index(stage)] = share.middle
    link = _link_K_W(cooler)
    usual = Settings(np.ones((1, 2)), left, np.array([link.middle]), np.zeros((1, 2)))
    knobs = (*_slopes(cooler, lift, usual), *_spreads(cooler, lift, usual), *_aged(cooler, usual))
    if link.is_exact:
        return usual, knobs
    low, high = (usual.row(link_K_W=np.array([end])) for end in (link.low, link.high))
    return usual, (*knobs, CoolerKnob("link between cooler and platform", low, high, link.best is None))


def _ageing(cooler: Cooler) -> dict[str, Band]:
    """Share of its lift each stage still has, where somebody said so."""
    given = {stage: _band(share) for stage, share in cooler.ageing.items() if stage in COOLED}
    return {stage: band for stage, band in given.items() if band is not None}


def _band(quantity: Quantity) -> Band | None:
    return Band.exact(quantity) if isinstance(quantity, int | float) else quantity


def _link_K_W(cooler: Cooler) -> Band:
    """Resistance of the link [K/W]."""
    if isinstance(cooler, HeaterTest) or cooler.link == "direct":
        return Band.exact(0.0)
    given = _band(cooler.link_W_K) or UNKNOWN_LINK_W_K
    assert given.low is not None
    assert given.high is not None
    return Band(1.0 / given.high, None if given.best is None else 1.0 / given.best, 1.0 / given.low)


def _slopes(cooler: Cooler, lift: Lift, usual: Settings) -> Iterator[CoolerKnob]:
    """What the cooler gains in kelvin for watts."""
    if isinstance(cooler, CapacityMap):
        what, unsure = "lift of the cooler", cooler.capacity_uncertainty
    else:
        what, unsure = "slope of the heater test", cooler.slope_uncertainty
    if unsure:
        yield _knob(what, usual, "rise", np.ones(2), Band(1.0 - unsure, 1.0, 1.0 + unsure))
    for stage in lift.untested:
        band = UNTESTED_K_W[stage]
        only = np.array([float(name == stage) for name in COOLED])
        yield _knob(
            f"slope of the {stage}, never tested", usual, "rise", only, band.scaled(1.0 / band.middle)
        )


def _spreads(cooler: Cooler, lift: Lift, usual: Settings) -> Iterator[CoolerKnob]:
    for number, stage in enumerate(COOLED):
        spread_K = cooler.spread_K.get(stage, 0.0)
        if spread_K and lift.cooled[number]:
            offset_K = np.zeros((1, 2))
            offset_K[0, number] = spread_K
            what = f"spread between cooldowns at the {stage}"
            yield CoolerKnob(what, usual.row(offset_K=-offset_K), usual.row(offset_K=offset_K), False)


def _aged(cooler: Cooler, usual: Settings) -> Iterator[CoolerKnob]:
    for stage, share in _ageing(cooler).items():
        if not share.is_exact:
            only = np.array([float(name == stage) for name in COOLED])
            yield _knob(
                f"ageing of the {stage}'s stage", usual, "lift", only, share.scaled(1.0 / share.middle)
            )


def _knob(what: str, usual: Settings, name: str, only: Array, factor: Band) -> CoolerKnob:
    """Settings multiplied by the ends of a factor, in the columns that `only` marks."""
    value: Array = getattr(usual, name)
    ends = (1.0 + only * ((end or 1.0) - 1.0) for end in (factor.low, factor.high))
    low, high = (usual.row(**{name: value * end}) for end in ends)
    return CoolerKnob(what, low, high, factor.best is None)
