"""All explanations of what was read, those that look alike in one."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal.fitting import ALIKE, Case, Fine, Way, log_normal, single
from server.physics.thermal.pairs import pairs
from server.physics.thermal.signatures import Curve
from server.physics.thermal.suspects import Suspect

UNKNOWN_SIGMAS = 30.0
"""How far something not named here may move a witness."""
TOO_SMALL = 1e-6


@dataclass(frozen=True, eq=False)
class Found:
    """One explanation: causes with their sizes, and what they shift at the best of them."""

    causes: tuple[Suspect, ...]
    sizes: tuple[Band | None, ...]
    alike: tuple[tuple[Suspect, ...], ...]
    shift: Array
    probability: float
    known: bool = True


def explained(
    case: Case, drawn: Sequence[Curve], nothing: float, unknown: float, two_at_once: float
) -> list[Found]:
    """Every explanation, likeliest first, with what looks alike in one."""
    fine = [Fine(one, case.sigma) for one in drawn]
    one_cause = np.log(1.0 - nothing - unknown)
    ways = [
        Way((), float(np.log(nothing)) + log_normal(case.read, 1.0)),
        Way((), float(np.log(unknown)) + log_normal(case.read, UNKNOWN_SIGMAS), known=False),
    ]
    ways += [
        single(case, number, one, one_cause + np.log(1.0 - two_at_once)) for number, one in enumerate(fine)
    ]
    ways += pairs(case, fine, one_cause + np.log(two_at_once))
    return _grouped(case, fine, ways)


def _grouped(case: Case, fine: Sequence[Fine], ways: Sequence[Way]) -> list[Found]:
    """What cannot be told apart is one explanation, led by its likeliest member."""
    weight = np.array([way.log_weight for way in ways])
    share = np.exp(weight - np.logaddexp.reduce(weight))
    groups: list[tuple[Way, list[frozenset[int]], float]] = []
    for number in np.argsort(-share):
        way, part = ways[number], float(share[number])
        seen = [i for i, shift in enumerate(way.parts) if np.sum(shift**2) >= ALIKE**2]
        place = next((at for at, group in enumerate(groups) if _belongs(way, seen, group)), None)
        if place is not None:
            groups[place] = (*groups[place][:2], groups[place][2] + part)
        elif part > TOO_SMALL:
            groups.append((way, [_alike(fine, way.parts[i]) for i in range(len(way.parts))], part))
    return [_as_found(case, fine, *group) for group in sorted(groups, key=lambda group: -group[2])]


def _alike(fine: Sequence[Fine], shift: Array) -> frozenset[int]:
    return frozenset(number for number, one in enumerate(fine) if one.looks_like(shift))


def _belongs(way: Way, seen: Sequence[int], group: tuple[Way, list[frozenset[int]], float]) -> bool:
    """Whether all that can be seen of `way` looks like what leads the group."""
    leader, alike, _ = group
    if way.known != leader.known:
        return False
    if not leader.members:
        return not seen
    members = [way.members[i] for i in seen]
    return len(members) == len(alike) and any(
        all(member in some for member, some in zip(order, alike, strict=True))
        for order in permutations(members)
    )


def _as_found(case: Case, fine: Sequence[Fine], way: Way, alike: list[frozenset[int]], part: float) -> Found:
    named = tuple(
        (fine[member].suspect, *(fine[other].suspect for other in sorted(some - {member})))
        for member, some in zip(way.members, alike, strict=True)
    )
    return Found(
        tuple(fine[one].suspect for one in way.members),
        way.sizes,
        named,
        way.shift(case.read),
        part,
        way.known,
    )
