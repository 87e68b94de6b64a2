"""What a change of the configuration does to each stage, with a band of its own."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.errors import Unphysical
from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal.budgeting import (
    NOTICEABLE,
    Spread,
    gather,
    temperature_bands,
    temperature_spread,
)
from server.physics.thermal.cooler import Cryostat, faults
from server.physics.thermal.elements import Element, Joint
from server.physics.thermal.recipe import INDEX
from server.physics.thermal.sampled import MIDDLE, drawn_alike, must_sample, sampled_K
from server.physics.thermal.state import State, find_state
from server.physics.thermal.system import STAGES
from server.physics.thermal.unsure import COOLER, Changes, Influences, changes_of, influences

Name = tuple[object, ...]


@dataclass(frozen=True, eq=False)
class Doubt:
    """One thing that is unsure: what its ends change (2, stages) [K], and whether only the range is known."""

    kelvin: Array
    ranged: bool


@dataclass(frozen=True, eq=False)
class Side:
    """One of the two configurations, balanced.

    `countable` stages are at their best within what the cooler was tested at, and of nothing without an end.
    """

    state: State
    changes: Changes
    found: Influences
    countable: NDArray[np.bool_]
    bands: dict[str, Band]
    names: list[Name]
    doubts: dict[Name, Doubt]


def difference(cryostat: Cryostat, before: Sequence[Element], after: Sequence[Element]) -> dict[str, Band]:
    """Temperatures of one configuration minus those of another.

    Parameters
    ----------
    cryostat : Cryostat
        The instrument they share.
    before, after : sequences of elements
        The two configurations, in SI.

    Returns
    -------
    dict
        Stage → what the change does to it [K], for every stage that both can tell. A stage that is *more
        than* in `after` alone changes by *more than*; one that is so in both is left out.

    Raises
    ------
    NotSolved
        When one of the two has no balance.
    Unphysical
        When nothing can be made of the cooler's data.

    Notes
    -----
    What is unsure in both alike cancels as far as it does the same to both: the cooler, data of materials,
    and what is unsure of an element of the same key. How a joint was made anew is unsure anew. Where the
    temperatures of either are drawn (see `balance`), so is the difference, with the same draws for both.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest, Source
    >>> test = HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.1, 32.0, 3.9)))
    >>> cryostat = Cryostat(("vessel", "shield", "platform"), test)
    >>> moved = difference(cryostat, [], [Source("amplifier", "amplifier", "platform", power_W=0.020)])
    >>> [round(end, 3) for end in (moved["platform"].low, moved["platform"].best, moved["platform"].high)]
    [0.133, 0.14, 0.147]

    References
    ----------
    JCGM 100:2008, Guide to the Expression of Uncertainty in Measurement, 5.2 (correlated quantities).
    """
    wrong = faults(cryostat.cooler)
    if wrong:
        raise Unphysical(" ".join(wrong.values()))
    unaltered = {element.key: element for element in before if isinstance(element, Joint)}
    anew = frozenset(
        element.key
        for element in after
        if isinstance(element, Joint) and unaltered.get(element.key, element) != element
    )
    one, other = (_side(cryostat, build, anew, n) for n, build in enumerate((before, after)))
    spread = _spread(one, other)
    if must_sample(one.state, one.found) or must_sample(other.state, other.found):
        spread = _sampled(one, other, spread)
    told = [stage for stage in cryostat.stages if stage in one.bands and stage in other.bands]
    found = {stage: _moved(stage, one, other, spread) for stage in told}
    return {stage: band for stage, band in found.items() if band is not None}


def _moved(stage: str, one: Side, other: Side, spread: Spread) -> Band | None:
    """One stage; None where both are *more than*. Where both merely may be, that is the same in both."""
    number = INDEX[stage]
    was, is_now = one.bands[stage], other.bands[stage]
    open_below, open_above = was.high is None, is_now.high is None
    known = bool(one.countable[number] and other.countable[number])
    if open_below and open_above:
        if not known:
            return None
        open_below = open_above = False
    middle_K = float(other.state.T_K[number] - one.state.T_K[number])
    return Band(
        None if open_below else middle_K - float(spread.down[0, number]),
        middle_K if known and spread.best[0, number] else None,
        None if open_above else middle_K + float(spread.up[0, number]),
    )


def _side(cryostat: Cryostat, build: Sequence[Element], anew: frozenset[str], number: int) -> Side:
    state = find_state(cryostat, build)
    changes = changes_of(state)
    found = influences(state, changes)
    names = [_name(state, found, place, anew, number) for place in range(len(found.what))]
    doubts: dict[Name, Doubt] = {}
    for place, name in enumerate(names):
        kelvin = found.kelvin[:, place]
        if name in doubts:
            kelvin = kelvin + doubts[name].kelvin
        doubts[name] = Doubt(kelvin, bool(found.ranged[place]))
    countable = temperature_spread(state, found).bounded[0] & ~state.tested_K[1]
    bands = temperature_bands(state, changes, found)
    return Side(state, changes, found, countable, bands, names, doubts)


def _name(state: State, found: Influences, place: int, anew: frozenset[str], number: int) -> Name:
    """What has the same name in both configurations is wrong in both alike."""
    owner, what = int(found.element[place]), found.what[place]
    if owner == COOLER:
        return "cooler", what
    if found.shared[place] >= 0:
        return "data", what
    key = state.inventory.elements[owner].key
    here = bool(state.inventory.now[owner])
    return ("element", key, what, here, number if here and key in anew else None)


def _sampled(one: Side, other: Side, singly: Spread) -> Spread:
    """The same by drawing everything at once, each thing alike for both; as the temperatures then are."""
    column = {name: n for n, name in enumerate(dict.fromkeys([*one.names, *other.names]))}
    was_K, is_now_K = (
        sampled_K(
            side.state,
            side.changes,
            side.found,
            drawn_alike(side.found, [column[name] for name in side.names], len(column)),
        )
        for side in (one, other)
    )
    low_K, high_K = np.percentile(is_now_K - was_K, MIDDLE, axis=0) - (other.state.T_K - one.state.T_K)
    return singly._replace(down=np.maximum(-low_K, 0.0)[None, :], up=np.maximum(high_K, 0.0)[None, :])


def _spread(one: Side, other: Side) -> Spread:
    """How far down and up each stage's difference may lie, all that is unsure taken as a pair."""
    nothing = Doubt(np.zeros((2, STAGES)), False)
    values, ranged = [], []
    for name in {**one.doubts, **other.doubts}:
        was, is_now = one.doubts.get(name, nothing), other.doubts.get(name, nothing)
        values.append(is_now.kelvin - was.kelvin)
        ranged.append(was.ranged or is_now.ranged)
    least = NOTICEABLE * np.minimum(one.state.T_K, other.state.T_K)
    stacked = np.stack(values, axis=1) if values else np.zeros((2, 0, STAGES))
    flags = np.array(ranged, dtype=bool), np.zeros(len(values), dtype=bool)
    return gather(stacked, np.zeros(len(values), dtype=np.intp), 1, *flags, least)
