"""The hand-over slip and the door card, for paper and for a phone."""

from dataclasses import dataclass, field

from fastapi import APIRouter, Request, Response

from server.bookings import sheets
from server.bookings.sheets import Slip
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.people.guards import CurrentPerson
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
SLIP = "bookings/slip.html"


@dataclass(frozen=True)
class SlipView:
    """The slip, with what somebody typed and has to mend."""

    slip: Slip
    left: str = ""
    note: str = ""
    faults: dict[str, str] = field(default_factory=dict)
    conflict: str = ""
    choices: tuple[tuple[str, str], ...] = tuple(sheets.LEFT.items())
    lines: tuple[str, ...] = sheets.MORE


@router.get("/cryostats/{slug}/door")
def door(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The card on the door."""
    return render(request, "bookings/door.html", sheets.door(session, slug, now()))


@router.get("/bookings/{number}/slip")
def slip(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """The hand-over slip."""
    return render(request, SLIP, SlipView(sheets.slip(session, person, number, now())))


@router.post("/bookings/{number}/slip")
def hand_over(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Write down how it was left."""
    left, note = form.text("left"), form.text("note")
    try:
        sheets.hand_over(session, person, number, left, note, now())
    except (Refused, Conflict) as problem:
        session.rollback()
        conflict = problem.message if isinstance(problem, Conflict) else ""
        found = sheets.slip(session, person, number, now())
        view = SlipView(found, left, note, dict(problem.fields), conflict)
        return render(request, SLIP, view, status=problem.status)
    return done(request, f"/bookings/{number}/slip", "Written down; the next owner is told.")
