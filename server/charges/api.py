"""The JSON face of the charges: the lines of a month that a person may see."""

from datetime import date

from fastapi import APIRouter
from pydantic import BaseModel

from server.charges import counting, finding
from server.charges.models import ChargeLine
from server.cryostats.api import REFUSALS
from server.db import ReadSession
from server.laboratory import service as laboratory
from server.people.guards import ApiPerson

router = APIRouter(tags=["charges"], prefix="/charges")


class LineOut(BaseModel):
    """A charge line or a correction of one. Money in hundredths of the currency, time in seconds."""

    id: int
    corrects: int | None
    day: date
    payer: str
    group_kind: str
    account: str
    cryostat: str
    booking: int
    what: str
    seconds: int
    cents_per_hour: int
    cents: int
    currency: str
    basis: str
    why: str
    state: str


class MonthOut(BaseModel):
    """The lines of a month."""

    month: str
    lines: list[LineOut]


@router.get("", responses=REFUSALS)
def index(month: str, person: ApiPerson, session: ReadSession) -> MonthOut:
    """The lines of a month such as `2026-03`, corrections behind what they correct."""
    counting.span(month, laboratory.get(session).zone)
    rows = finding.of_month(session, person, month)
    return MonthOut(
        month=month,
        lines=[_out(told, line) for told in rows for line in (told.line, *told.corrections)],
    )


def _out(told: finding.Told, line: ChargeLine) -> LineOut:
    known = line.model_dump(include=set(LineOut.model_fields))
    return LineOut(**known, cryostat=told.cryostat, booking=line.booking_id, state=told.state)
