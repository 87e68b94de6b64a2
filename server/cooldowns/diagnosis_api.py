"""The JSON face of a diagnosis. SI throughout; ratios as natural logarithms."""

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict

from server.cooldowns import diagnosis, diagnosis_rules, diagnosis_sigmas, service
from server.cooldowns.diagnosis import Diagnosed
from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import ApiPerson
from server.physics.thermal.diagnosis import Explanation
from server.web.forms import Form

router = APIRouter(prefix="/cryostats/{slug}/cooldowns/{number}/diagnosis", tags=["cooldowns"])


class WitnessOut(BaseModel):
    """One witness; `usual` is kelvin above the prediction for a stage, else the usual reading."""

    name: str
    read: float | None
    usual: float | None
    cooldowns_before: int
    sigma: float
    shift: float | None
    reason: str


class CauseOut(BaseModel):
    """One cause; `size` is low, best, high in the unit of the cause, `alike` look the same."""

    key: str
    words: str
    unit: str
    size: list[float | None] | None
    alike: list[str]


class ExplanationOut(BaseModel):
    """Causes, likeliest first; none and `known`: nothing is wrong; none and not `known`: not named here."""

    causes: list[CauseOut]
    known: bool
    probability: float
    shifts: dict[str, float]
    left_sigmas: dict[str, float]


class DiagnosisOut(BaseModel):
    """A diagnosis; `gap` says why there is none."""

    witnesses: list[WitnessOut]
    explanations: list[ExplanationOut]
    implied_loads_W: dict[str, list[float | None]]
    gap: str


class FoundIn(BaseModel):
    """What was found, by the key of a fault's cause."""

    model_config = ConfigDict(extra="forbid")
    cause: str
    words: str = ""


class FoundOut(BaseModel):
    """The fault that was written."""

    fault: int
    cause: str


@router.get("", responses=REFUSALS)
def show(request: Request, slug: str, number: int, _person: ApiPerson, session: ReadSession) -> DiagnosisOut:
    """The diagnosis of a cooldown; `sigma_platform=20 mK` and the like choose standard deviations."""
    sheet = service.find(session, guards.find(session, slug), number)
    sigmas, wrong = diagnosis_sigmas.read(Form(request.query_params.multi_items()))
    if wrong:
        raise Refused("A standard deviation cannot be read.", wrong)
    return _out(diagnosis.of(session, sheet, sigmas))


@router.post("/found", status_code=201, responses=REFUSALS)
def found(slug: str, number: int, sent: FoundIn, person: ApiPerson, session: WriteSession) -> FoundOut:
    """What was found behind it."""
    row = diagnosis.found(session, person, slug, number, sent.cause, sent.words, now())
    return FoundOut(fault=row.fault_id, cause=row.cause)


def _out(told: Diagnosed) -> DiagnosisOut:
    rows = [
        WitnessOut(
            name=row.name,
            read=row.read,
            usual=row.usual,
            cooldowns_before=row.count,
            sigma=row.sigma,
            shift=told.seen.get(row.name),
            reason=row.reason,
        )
        for row in told.witnesses
    ]
    explanations = told.diagnosis.explanations if told.diagnosis else ()
    loads = {row.stage: [row.heat_W.low, row.heat_W.best, row.heat_W.high] for row in told.loads}
    return DiagnosisOut(
        witnesses=rows,
        explanations=[_explanation(told, row) for row in explanations],
        implied_loads_W=loads,
        gap=told.gap,
    )


def _explanation(told: Diagnosed, one: Explanation) -> ExplanationOut:
    causes = [
        CauseOut(
            key=row.suspect.key,
            words=diagnosis_rules.said(row.suspect, told.titles),
            unit=row.suspect.unit,
            size=[row.size.low, row.size.best, row.size.high] if row.size else None,
            alike=[other.key for other in row.alike],
        )
        for row in one.causes
    ]
    return ExplanationOut(
        causes=causes,
        known=one.known,
        probability=one.probability,
        shifts=dict(one.shifts),
        left_sigmas=dict(one.left_sigmas),
    )
