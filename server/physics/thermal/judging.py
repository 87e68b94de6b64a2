"""How stages stand to their limits, and what a person should look at in a balance."""

from collections.abc import Iterable, Iterator, Mapping

from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.cooler import COOLED, HeaterTest
from server.physics.thermal.copper import LAG_HARDLY_HELPS, lag_hardly_helps
from server.physics.thermal.recipe import INDEX, PLATFORM, SHIELD, Place
from server.physics.thermal.remarks import no_lid
from server.physics.thermal.results import Gap, Margin, Warning_
from server.physics.thermal.runs import Run
from server.physics.thermal.state import State

MUCH_TOO_WARM_K = 3.0
"""A rise of a sample above its stage beyond which its joint would conduct better than it was measured."""

COLDER_W = 0.02
"""Part of the tested watts by which a cooler may have less to do than bare before that is remarked."""


def margins(state: State, temperatures: Mapping[str, Band]) -> dict[str, Margin]:
    """Margin of every stage but the vessel."""
    incomplete = incomplete_from(state.gaps)
    found = {}
    for stage in state.cryostat.stages[1:]:
        limit_K, band = state.cryostat.limits_K.get(stage), temperatures.get(stage)
        if INDEX[stage] >= incomplete or band is None:
            found[stage] = Margin(limit_K, None if band is None else _margin(limit_K, band), "incomplete")
        elif limit_K is None:
            found[stage] = Margin(None, None, "no limit")
        else:
            margin_K = _margin(limit_K, band)
            found[stage] = Margin(limit_K, margin_K, _status(limit_K, band), _spare(state, stage, margin_K))
    return found


def incomplete_from(gaps: Iterable[Gap]) -> int:
    """The warmest stage that a gap concerns: it and all that is colder reads incomplete. 5 if there is none.

    What lands on mount or sample goes on to the platform, so a gap there concerns the platform as well.
    """
    first = len(fields.STAGES)
    for gap in gaps:
        if gap.key is None and gap.stage in ("mount", "sample"):
            first = min(first, INDEX[gap.stage])
        else:
            first = min(first, min(INDEX[gap.stage], PLATFORM) if gap.stage else SHIELD)
    return first


def _margin(limit_K: float | None, band: Band) -> Band | None:
    return None if limit_K is None else band.scaled(-1.0).shifted(limit_K)


def _status(limit_K: float, band: Band) -> str:
    if band.low is not None and band.low > limit_K:
        return "over"
    if band.high is None:
        return "more than"
    return "within" if band.high <= limit_K else "may exceed"


def _spare(state: State, stage: str, margin_K: Band | None) -> Band | None:
    """Heat that would use up the margin, by the slope at the answer and how well that is known.

    Beyond what the cooler was tested with nobody can say: then it is *more than* what is left of the test.
    """
    kelvin_per_W = float(state.response_K_W[INDEX[stage], INDEX[stage]])
    column = min(INDEX[stage], PLATFORM) - SHIELD
    if margin_K is None or kelvin_per_W <= 0.0 or COOLED[column] in state.problem.lift.untested:
        return None
    spare_W = margin_K.scaled(1.0 / kelvin_per_W)
    unsure_W = _slope_uncertainty(state) * abs(spare_W.middle)
    left_W = float(state.problem.lift.tested_W[column] - state.load_W[0, column])
    return _as_far_as_tested(spare_W.plus(Band(-unsure_W, 0.0, unsure_W)), max(left_W, 0.0))


def _slope_uncertainty(state: State) -> float:
    cooler = state.cryostat.cooler
    return cooler.slope_uncertainty if isinstance(cooler, HeaterTest) else cooler.capacity_uncertainty


def _as_far_as_tested(spare_W: Band, left_W: float) -> Band:
    """An upper end beyond the test goes; of a stage that may be beyond it already, it stays."""
    if spare_W.high is None or spare_W.high <= left_W or spare_W.low is None:
        return spare_W
    low_W = min(spare_W.low, left_W)
    known = spare_W.best is not None and spare_W.best <= left_W
    return Band(low_W, spare_W.best if known else None, None)


def warnings(state: State, temperatures: Mapping[str, Band]) -> tuple[Warning_, ...]:
    """What a person should look at: of the cooler and the stages first, then of every element."""
    now = state.inventory.elements[: int(state.inventory.now.sum())]
    lid = no_lid(state.cryostat.stages, now)
    found = [*_of_stages(state, temperatures), *_of_cooler(state), *lid]
    for number in range(len(now)):
        found += state.recipes[number].warnings
        if state.recipes[number].nature.copper:
            found.append(_of_copper(state, number))
    gaps = [gap for gap in state.gaps if " is known from " in gap.reason]
    return (*found, *(Warning_(gap.key, "outside-data", gap.reason) for gap in gaps))


def _of_stages(state: State, temperatures: Mapping[str, Band]) -> Iterator[Warning_]:
    for stage, band in temperatures.items():
        limit_K = state.cryostat.limits_K.get(stage)
        if limit_K is not None and band.low is not None and band.low > limit_K:
            yield Warning_(None, "over-limit", f"The {stage} is over its limit of {limit_K:g} K.")
        if stage in COOLED and band.high is None and band.best is not None:
            text = f"The warm end of what the {stage} may reach lies beyond the heater test."
            yield Warning_(None, "band-beyond-heater-test", text)
    for stage in ("mount", "sample"):
        rise_K = state.T_K[INDEX[stage]] - state.T_K[PLATFORM]
        if stage in temperatures and rise_K > MUCH_TOO_WARM_K:
            text = (
                f"The {stage} is much too warm. How warm is over-estimated: its joint conducts better warm."
            )
            yield Warning_(None, "much-too-warm", text)


def _of_cooler(state: State) -> Iterator[Warning_]:
    beyond = state.tested_K[1]
    load_W = state.load_W[0]
    for number, stage in enumerate(COOLED):
        limit_W = state.problem.lift.tested_W[number]
        if not state.problem.cooled[INDEX[stage]]:
            continue
        if beyond[INDEX[stage]]:
            text = f"The {stage} gets more heat than the cooler was tested with"
            yield Warning_(None, "beyond-heater-test", f"{text}: more than this, nobody can say better.")
        elif stage in state.problem.lift.untested:
            text = f"Nobody heated the {stage} to test the cooler: its slope is that of an ordinary one."
            yield Warning_(None, "no-heater-test", text)
        elif load_W[number] < state.problem.lift.coldest_W[number] - COLDER_W * limit_W:
            text = f"The {stage} gets less heat than the cooler was tested with."
            yield Warning_(None, "below-heater-test", text)


def _of_copper(state: State, number: int) -> Warning_:
    """Copper raises the base; lagged, it hardly raises it less."""
    run = state.inventory.elements[number]
    assert isinstance(run, Run)
    place = Place(tuple(stage in state.cryostat.stages for stage in fields.STAGES), tuple(state.T_K.tolist()))
    if lag_hardly_helps(run, place):
        return Warning_(run.key, "copper-lagged", f"{LAG_HARDLY_HELPS} Change the metal.")
    return Warning_(run.key, "copper", "Copper conducts best between 10 and 40 K: it raises the base.")
