"""Why is it warm: every suspect's size fitted to all witnesses, and the suspects ranked.

For each suspect the balance is solved again at a few sizes and drawn between them, which gives the witnesses
as a curve over its size. The evidence of a suspect is the likelihood of what was read, averaged over its
sizes on a logarithmic scale; times how often such a cause is found, it ranks. Two causes at once are tried
as the sum of their shifts, and the likeliest of these are solved together. Causes that the witnesses cannot
tell apart are named together: a later test may tell them, this reading cannot.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.physics.arguments import check_finite, check_positive
from server.physics.errors import Unphysical
from server.physics.statistics import Band
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.elements import Element
from server.physics.thermal.explaining import Found, explained
from server.physics.thermal.fitting import Case
from server.physics.thermal.signatures import curves, expected_at
from server.physics.thermal.suspects import CAUSES, WITNESSES, Suspect, suspects

NOTHING, UNKNOWN, TWO_AT_ONCE = 0.2, 0.02, 0.15
"""How often nothing is wrong, something not named here is, and two things are: common practice, no source."""
MOST = 12
"""So many explanations are told; what is left of the probability is said."""


@dataclass(frozen=True)
class Reading:
    """One witness: what was read, and the standard deviation of reading and prediction together.

    Kelvin for a stage; for `pressure`, `cooldown` and `helium` the natural logarithm of the ratio to what
    this cryostat usually shows, so 0.03 is three per cent.
    """

    value: float
    sigma: float


@dataclass(frozen=True)
class Fitted:
    """One cause of an explanation: its size as a central 95 % band, None where it is there or not.

    `alike` holds every suspect that would look the same, itself first.
    """

    suspect: Suspect
    size: Band | None
    alike: tuple[Suspect, ...]


@dataclass(frozen=True)
class Explanation:
    """One or two causes, or none: nothing is wrong, or it is something not named here.

    Attributes
    ----------
    causes : tuple of Fitted
        One or two; empty for the other two.
    known : bool
        False for something that is not named here.
    probability : float
        Of this and all that cannot be told from it.
    shifts : mapping
        Witness → what the causes at their best sizes change, in kelvin or as a logarithm.
    left_sigmas : mapping
        Witness → standard deviations of its reading that stay unexplained.
    """

    causes: tuple[Fitted, ...]
    known: bool
    probability: float
    shifts: Mapping[str, float]
    left_sigmas: Mapping[str, float]


@dataclass(frozen=True)
class Diagnosis:
    """Explanations, likeliest first; `expected` is what each witness reads when all is well."""

    explanations: tuple[Explanation, ...]
    expected: Mapping[str, float]


def diagnose(
    cryostat: Cryostat,
    elements: Sequence[Element],
    readings: Mapping[str, Reading],
    *,
    often: Mapping[str, float] | None = None,
    offsets_K: Mapping[str, float] | None = None,
) -> Diagnosis:
    """Rank what may explain what was read.

    Parameters
    ----------
    cryostat : Cryostat
        The instrument.
    elements : sequence of elements
        Its configuration, as recorded.
    readings : mapping
        Witness → `Reading`: stages, and `pressure`, `cooldown`, `helium`.
    often : mapping, optional
        Cause → how many times it was found here, added to one of each kind.
    offsets_K : mapping, optional
        Stage → what this cryostat usually reads above the prediction [K].

    Returns
    -------
    Diagnosis
        Explanations by probability, those that look alike together.

    Raises
    ------
    Unphysical
        When there is no witness, one is unknown or not a number, a sigma is not above zero, or the balance
        says nothing at a stage that was read.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest
    >>> points = [HeaterPoint("platform", w, 32.0 + 2 * w, 3.2 + 7 * w) for w in (0.0, 0.1)]
    >>> points += [HeaterPoint("shield", w, 32.0 + w, 3.2 + 0.004 * w) for w in (0.0, 3.0)]
    >>> cryostat = Cryostat(("vessel", "shield", "platform"), HeaterTest(tuple(points)))
    >>> read = {"shield": Reading(32.0, 0.15), "platform": Reading(3.2, 0.01)}
    >>> diagnose(cryostat, [], read).explanations[0].causes
    ()

    References
    ----------
    MacKay, Information Theory, Inference, and Learning Algorithms, chapter 28 (evidence and Occam factors);
    how often each cause is found at first is common practice, no source.
    """
    names = _checked(readings)
    offset = {**dict.fromkeys(names, 0.0), **(offsets_K or {})}
    expected = {name: one + offset[name] for name, one in expected_at(cryostat, elements, names).items()}
    found = [one for one in suspects(cryostat, elements) if _can_be_seen(one, names)]
    sigma = np.array([readings[name].sigma for name in names])
    shift = np.array([readings[name].value - expected[name] for name in names])
    case = Case(cryostat, tuple(elements), names, shift / sigma, sigma, _log_prior(found, often or {}))
    told = explained(case, curves(cryostat, elements, found, names), NOTHING, UNKNOWN, TWO_AT_ONCE)
    return Diagnosis(tuple(_told(case, one) for one in told[:MOST]), expected)


def _checked(readings: Mapping[str, Reading]) -> tuple[str, ...]:
    names = tuple(name for name in WITNESSES if name in readings)
    if not names or len(names) != len(readings):
        raise Unphysical(f"readings must be of some of {', '.join(WITNESSES)}.")
    for name in names:
        check_finite(**{name: readings[name].value})
        check_positive(**{f"sigma of {name}": readings[name].sigma})
    return names


def _can_be_seen(suspect: Suspect, names: Sequence[str]) -> bool:
    """A wrong thermometer that was not read explains nothing."""
    return suspect.cause != "thermometer-wrong" or suspect.where in names


def _log_prior(found: Sequence[Suspect], often: Mapping[str, float]) -> np.ndarray:
    """Each cause as often as it was found here, plus once; its places share that evenly."""
    places = {cause: sum(one.cause == cause for one in found) for cause in CAUSES}
    weight = np.array([(1.0 + often.get(one.cause, 0.0)) / places[one.cause] for one in found])
    return np.asarray(np.log(weight / weight.sum()))


def _told(case: Case, found: Found) -> Explanation:
    causes = tuple(
        Fitted(one, size, alike)
        for one, size, alike in zip(found.causes, found.sizes, found.alike, strict=True)
    )
    left = dict(zip(case.names, (case.read - found.shift).tolist(), strict=True))
    shifts = dict(zip(case.names, (found.shift * case.sigma).tolist(), strict=True))
    return Explanation(causes, found.known, found.probability, shifts, left)
