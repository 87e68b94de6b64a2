"""The JSON face of drift. SI throughout; a ratio stands as its natural logarithm against the first values."""

import math
from collections.abc import Sequence
from datetime import datetime

from fastapi import APIRouter
from pydantic import BaseModel

from server.cooldowns import drift
from server.cooldowns.drift import Chart, Stretch
from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.db import ReadSession
from server.people.guards import ApiPerson
from server.physics.statistics import Band, Sizes

router = APIRouter(prefix="/cryostats/{slug}/drift", tags=["cooldowns"])
Ends = list[float | None]


class PointOut(BaseModel):
    """One cooldown; kelvin above the prediction for stages, Pa and s for the others."""

    cooldown: int
    revision: int
    begun_at: datetime
    values: dict[str, float]
    why_not: str


class ChartOut(BaseModel):
    """Both control charts of a witness; `cooldowns` and the lists go together."""

    cooldowns: list[int]
    values: list[float]
    target: float
    average: list[float]
    lower: list[float]
    upper: list[float]
    beyond_average: list[int]
    beyond_sums: list[int]


class SizesOut(BaseModel):
    """Low, best and high of the slope in a day, of each declared step and of the event; and what is left."""

    slope_per_day: Ends
    steps: list[Ends]
    event: Ends
    unexplained: Ends


class StretchOut(BaseModel):
    """The cooldowns between two breaks.

    `declared` and `opened` are cooldowns before which a change was declared, or an event may lie;
    `by_slips` says whether slips of openings tell that.
    """

    begun_by: str
    cooldowns: list[PointOut]
    charts: dict[str, ChartOut]
    declared: list[int]
    opened: list[int]
    by_slips: bool
    slope_probability: float | None
    event_probability: dict[int, float]
    sizes: dict[str, SizesOut]


@router.get("", responses=REFUSALS)
def show(slug: str, _person: ApiPerson, session: ReadSession) -> list[StretchOut]:
    """How a cryostat drifts over its cooldowns, the oldest stretch first."""
    return [_stretch(one) for one in drift.of(session, guards.find(session, slug))]


def _stretch(one: Stretch) -> StretchOut:
    parted = one.parted
    numbers = [point.sheet.cooldown.number for point in one.points]
    chances = parted.event_probability if parted else {}
    return StretchOut(
        begun_by=one.begun_by.reason if one.begun_by else "",
        cooldowns=_points(one),
        charts={chart.name: _chart(chart, numbers) for chart in one.charts},
        declared=[numbers[place] for place in one.steps],
        opened=[numbers[place] for place in one.open_places],
        by_slips=one.by_slips,
        slope_probability=parted.slope_probability if parted else None,
        event_probability={numbers[place]: chance for place, chance in chances.items()},
        sizes={name: _sizes(row) for name, row in zip(one.names, parted.witnesses, strict=True)}
        if parted
        else {},
    )


def _points(one: Stretch) -> list[PointOut]:
    return [
        PointOut(
            cooldown=point.sheet.cooldown.number,
            revision=point.sheet.expectation.revision,
            begun_at=point.sheet.cooldown.begun_at,
            values=point.values,
            why_not=point.why_not,
        )
        for point in one.points
    ]


def _chart(one: Chart, numbers: Sequence[int]) -> ChartOut:
    places = [numbers[place] for place in one.places]
    return ChartOut(
        cooldowns=places,
        values=list(one.values),
        target=one.target,
        average=one.average.average.tolist(),
        lower=one.average.lower.tolist(),
        upper=one.average.upper.tolist(),
        beyond_average=[places[place] for place in one.average.outside],
        beyond_sums=[places[place] for place in one.sums.outside],
    )


def _sizes(one: Sizes) -> SizesOut:
    return SizesOut(
        slope_per_day=_ends(one.slope),
        steps=[_ends(step) for step in one.steps],
        event=_ends(one.event),
        unexplained=[None if math.isnan(value) else value for value in one.unexplained],
    )


def _ends(band: Band) -> Ends:
    return [band.low, band.best, band.high]
