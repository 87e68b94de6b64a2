"""The heat budget: what every element brings to every stage, and the temperatures that follow."""

from collections.abc import Sequence

from server.physics.errors import Unphysical
from server.physics.thermal.budgeting import (
    bands_by_element,
    causes,
    heat_shares,
    temperature_bands,
)
from server.physics.thermal.cooler import Cryostat, faults
from server.physics.thermal.costs import cost_shares
from server.physics.thermal.elements import Element
from server.physics.thermal.judging import margins, warnings
from server.physics.thermal.results import Budget
from server.physics.thermal.state import find_state
from server.physics.thermal.unsure import changes_of, influences


def balance(cryostat: Cryostat, elements: Sequence[Element]) -> Budget:
    r"""Heat budget of a configuration.

    All stage temperatures come from one coupled balance: a cooled stage has the temperature that the cooler
    gives it for its heat, any other the one at which as much heat leaves as comes. Heat between two stages is

    .. math:: Q = c\,[f(T_h) - f(T_c)]

    with f the conductivity integral of a solid, σT⁴, or T itself.

    Parameters
    ----------
    cryostat : Cryostat
        Stages, cooler, bare reference, limits [K] and room temperature [K].
    elements : sequence of elements
        Everything in the cryostat, in SI.

    Returns
    -------
    Budget
        Temperatures [K], heats [W], costs [K] and margins, each with its band; gaps, warnings, causes.

    Raises
    ------
    NotSolved
        When no balance is found. An element that cannot be computed raises nothing: it becomes a gap.
    Unphysical
        When nothing can be made of the cooler's data.

    Notes
    -----
    Bands are the central 95 %. What is unsure is followed one by one, to both its ends, by the derivatives of
    the balance where it does little and solved again where it does much, and added in quadrature; data of a
    material are wrong for all that is made of it at once. Where two or more do much, all are drawn at once
    instead. A heat is told at the temperatures of the answer. What depends on temperature only a little (an
    emissivity, the heat of a current) is found at the answer; an element that the bare reference has as well
    keeps it there.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest, Source
    >>> test = HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.1, 32.0, 3.9)))
    >>> cryostat = Cryostat(("vessel", "shield", "platform"), test)
    >>> budget = balance(cryostat, [Source("amplifier", "amplifier", "platform", power_W=0.020)])
    >>> round(budget.temperatures["platform"].best, 3)
    3.34

    References
    ----------
    R. F. Barron, G. F. Nellis, Cryogenic Heat Transfer, 2nd edition, for the mechanisms.
    """
    wrong = faults(cryostat.cooler)
    if wrong:
        raise Unphysical(" ".join(wrong.values()))
    state = find_state(cryostat, elements)
    changes = changes_of(state)
    found = influences(state, changes)
    stages = cryostat.stages[1:]
    temperatures = temperature_bands(state, changes, found)
    return Budget(
        temperatures=temperatures,
        heats=bands_by_element(state, heat_shares(state, found), stages),
        costs=bands_by_element(state, cost_shares(state, found), tuple(temperatures)),
        margins=margins(state, temperatures),
        gaps=state.gaps,
        warnings=warnings(state, temperatures),
        band_causes=causes(state, found, temperatures),
    )
