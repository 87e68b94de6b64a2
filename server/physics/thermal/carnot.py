"""Whether what is entered of a cooler can be: against Carnot, and against ordinary coolers.

A doubt is no refusal: somebody looks again whether watts and milliwatts, or the two stages, got mixed up.
"""

import math

from server.physics.arguments import check_not_negative, check_positive
from server.physics.errors import Unphysical
from server.physics.thermal.cooler import COOLED, CapacityMap, Cooler, HeaterTest, own_K

AMBIENT_K = 300.0
"""Temperature at which a cooler gives its heat away [K]."""

LIKELY_SHARE = ((4.0, 0.03), (40.0, 0.10))
"""Above this part of Carnot at a temperature a regenerative cooler is unlikely (from memory)."""

ORDINARY_K_W = {"shield": (0.1, 5.0), "platform": (0.5, 20.0)}
"""Slopes outside of which a heater test is unlikely (from memory, wide)."""


def carnot_share(lift_W: float, cold_K: float, input_W: float, ambient_K: float = AMBIENT_K) -> float:
    r"""What a cooler reaches of the lift that a perfect one would have for the same input.

    .. math:: \eta = \frac{Q\,(T_a - T_c)}{T_c\,P}

    Parameters
    ----------
    lift_W : float
        Heat lifted at the cold stage, zero or above [W].
    cold_K : float
        Temperature of that stage, above zero and not above `ambient_K` [K].
    input_W : float
        Electrical power taken, above zero [W].
    ambient_K : float
        Temperature at which heat is given away [K].

    Returns
    -------
    float
        Share of Carnot [1].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    Of a two-stage cooler the shares of both stages add up. Small coolers near 4 K reach about one per cent.

    Examples
    --------
    One watt at 4 K for 10 kW; 12.9 W at 25 K for 4.6 kW:

    >>> round(100 * carnot_share(1.0, 4.0, 10e3), 2), round(100 * carnot_share(12.9, 25.0, 4.6e3), 2)
    (0.74, 3.08)

    References
    ----------
    M. Dietrich, G. Thummes, arXiv 0910.1522, for the second; the limit is Carnot's.
    """
    check_not_negative(lift_W=lift_W)
    check_positive(cold_K=cold_K, input_W=input_W, ambient_K=ambient_K)
    if cold_K > ambient_K:
        raise Unphysical("cold_K must not be above ambient_K.")
    return lift_W * (ambient_K - cold_K) / (cold_K * input_W)


def doubts(cooler: Cooler) -> tuple[str, ...]:
    """What is unlikely in the data of a cooler, one sentence for each stage at most.

    Parameters
    ----------
    cooler : HeaterTest or CapacityMap
        As entered. A map is held against Carnot if the power of its compressor is given.

    Returns
    -------
    tuple of str
        Sentences for the person who entered it; empty if nothing is unlikely.

    Raises
    ------
    Unphysical
        When a lift or the power of the compressor is negative or not a number.

    Examples
    --------
    >>> from server.physics.thermal.cooler import HeaterPoint, HeaterTest
    >>> points = (HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 100.0, 32.0, 3.9))
    >>> doubts(HeaterTest(points))[0][:54]
    'The platform rises 0.007 K per added watt in this test'

    References
    ----------
    Limits from memory, as the constants of this module say.
    """
    return _test_doubts(cooler) if isinstance(cooler, HeaterTest) else _map_doubts(cooler)


def _test_doubts(test: HeaterTest) -> tuple[str, ...]:
    found = []
    for stage in COOLED:
        line = sorted((p.added_W, T_K) for p in test.points if p.heated == stage and (T_K := own_K(p)))
        if len(line) < 2 or line[-1][0] == line[0][0]:
            continue
        slope = (line[-1][1] - line[0][1]) / (line[-1][0] - line[0][0])
        low, high = ORDINARY_K_W[stage]
        if not low <= slope <= high:
            usual = f"ordinary coolers lie between {low:g} and {high:g}"
            found.append(
                f"The {stage} rises {slope:.3g} K per added watt in this test; {usual}. Look at the units."
            )
    return tuple(found)


def _map_doubts(cooler: CapacityMap) -> tuple[str, ...]:
    if cooler.input_W is None:
        return ()
    found = []
    for stage in COOLED:
        worst = max(
            (_excess(cooler, stage, number) for number in range(len(cooler.points))), default=(0.0, "")
        )
        if worst[0] > 1.0:
            found.append(worst[1])
    return tuple(found)


def _excess(cooler: CapacityMap, stage: str, number: int) -> tuple[float, str]:
    """How many times more than likely one point lifts, and what to say about it."""
    point = cooler.points[number]
    lift_W, cold_K = (
        (point.shield_W, point.shield_K) if stage == "shield" else (point.platform_W, point.platform_K)
    )
    assert cooler.input_W is not None
    if not 0.0 < cold_K < AMBIENT_K:
        return 0.0, ""
    share, likely = carnot_share(lift_W, cold_K, cooler.input_W), _likely(cold_K)
    text = f"{lift_W:g} W at {cold_K:.3g} K on the {stage} would be {100 * share:.2g} % of Carnot"
    return share / likely, f"{text}; above {100 * likely:.2g} % is unlikely. Look at the units."


def _likely(cold_K: float) -> float:
    """The likely limit, straight in log-log between its two points and beyond."""
    (cold, low), (warm, high) = LIKELY_SHARE
    slope = math.log(high / low) / math.log(warm / cold)
    return float(low * (cold_K / cold) ** slope)
