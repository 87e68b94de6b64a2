"""The JSON face of bookings: what is booked, what is free, taking a slot, cancelling."""

from datetime import datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from server.bookings import asking, checks, free, lines, reading, service
from server.bookings.checks import AS_IS, DRAFT, Ask
from server.bookings.finding import Slot
from server.bookings.models import Booking
from server.bookings.rules import Phase
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.db import reading as read_beside
from server.errors import Conflict
from server.people.guards import ApiPerson

router = APIRouter(tags=["bookings"])
Whole = Annotated[int, Field(ge=0, le=2**31 - 1)]
Hours = Annotated[float, Field(ge=checks.SHORTEST_H, le=checks.LONGEST_H, allow_inf_nan=False)]
AHEAD = timedelta(weeks=26)


class FaultOut(BaseModel):
    """One field to mend."""

    field: str
    message: str


class ProblemOut(BaseModel):
    """Why nothing was done."""

    error: str
    fields: list[FaultOut]


class PhaseOut(BaseModel):
    """One phase of a chain."""

    kind: str
    starts: datetime
    ends: datetime
    hands_on: bool


class SlotOut(BaseModel):
    """A place for a wish."""

    cold_starts: datetime
    cold_ends: datetime
    starts: datetime
    ends: datetime
    slack_hours: float | None
    """How far hands-on work may slip within its day; null where any hour will do."""
    change: str
    joins: bool
    phases: list[PhaseOut]


class SlotsOut(BaseModel):
    """The first places, earliest first."""

    slots: list[SlotOut]


class TakenOut(ProblemOut):
    """The time is not free; the next that is, or null within the weeks that may be booked."""

    next_free: SlotOut | None


class BookingOut(BaseModel):
    """A booking as everybody may see it."""

    id: int
    uid: str
    sequence: int
    cryostat: str
    state: str
    owner: str
    group: str
    want: str
    draft: int | None
    cold_hours: float
    cold_starts: datetime | None
    cold_ends: datetime | None
    tentative: bool
    change: str
    phases: list[PhaseOut]
    purpose: str | None
    """Null for those it does not concern."""


class BookingsOut(BaseModel):
    """The bookings of a cryostat."""

    bookings: list[BookingOut]


class BookingIn(BaseModel):
    """Cold hours that somebody wants from a moment on; without a draft, as it is."""

    model_config = ConfigDict(extra="forbid")

    cold_starts: AwareDatetime
    cold_hours: Hours
    purpose: str
    want: Literal["as-is", "house", "draft"] | None = None
    draft: Whole | None = None
    hazards: str = ""
    wanted_K: float | None = Field(default=None, gt=0, le=400)
    group: Whole | None = None
    helper: Whole | None = None


REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": ProblemOut, "description": words}
    for status, words in {
        401: "No token, or one that does not work.",
        403: "The grade on this cryostat does not cover it.",
        404: "There is no such thing.",
        422: "Fields to mend.",
    }.items()
}
CONFLICT: dict[int | str, dict[str, Any]] = {409: {"model": ProblemOut, "description": "It moved on."}}
TAKEN: dict[int | str, dict[str, Any]] = {409: {"model": TakenOut, "description": "Somebody has this time."}}


@router.get("/cryostats/{slug}/bookings", responses=REFUSALS)
def index(
    slug: str,
    person: ApiPerson,
    session: ReadSession,
    first: Annotated[AwareDatetime | None, Query(alias="from")] = None,
    last: Annotated[AwareDatetime | None, Query(alias="to")] = None,
) -> BookingsOut:
    """What is booked, from now on unless said otherwise."""
    cryostat = guards.find(session, slug)
    begins = first or now()
    rows = reading.of_cryostat(session, cryostat, begins, last or begins + AHEAD)
    sees = reading.sees(session, person)
    return BookingsOut(bookings=[_out(slug, row, sees(row)) for row in rows])


@router.post(
    "/cryostats/{slug}/bookings", status_code=201, response_model=BookingOut, responses=REFUSALS | TAKEN
)
def book(
    request: Request, slug: str, sent: BookingIn, person: ApiPerson, session: WriteSession
) -> BookingOut | JSONResponse:
    """Take a slot. 409 with `next_free` when the time is not free for it."""
    at, ask = now(), _ask(sent)
    try:
        _look_first(request, slug, sent.cold_starts, ask, at)
        made = service.book(session, person, slug, ask, sent.cold_starts, at)
    except Conflict as conflict:
        session.rollback()
        return _taken(request, slug, ask, conflict)
    return _out(slug, made, True)


@router.get("/cryostats/{slug}/slots", responses=REFUSALS)
def slots(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    cold_hours: Annotated[float, Query(ge=checks.SHORTEST_H, le=checks.LONGEST_H, allow_inf_nan=False)],
    draft: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None,
    earliest: AwareDatetime | None = None,
    latest: AwareDatetime | None = None,
) -> SlotsOut:
    """The first places for so many cold hours, as it is or with a draft."""
    ask = Ask(cold_hours, "-", DRAFT if draft is not None else AS_IS, draft, earliest=earliest, latest=latest)
    found = asking.slots(session, guards.find(session, slug), ask, now())
    return SlotsOut(slots=[slot_out(row) for row in found])


@router.delete("/bookings/{number}", responses=REFUSALS | CONFLICT)
def cancel(number: int, person: ApiPerson, session: WriteSession, note: str = "") -> BookingOut:
    """Cancel a booking; it is kept as cancelled."""
    row = service.cancel(session, person, number, now(), note)
    return _out(reading.desk_of(session, row, now()).cryostat.slug, row, True)


def _ask(sent: BookingIn) -> Ask:
    want = sent.want or (DRAFT if sent.draft is not None else AS_IS)
    return Ask(
        cold_hours=sent.cold_hours,
        purpose=sent.purpose,
        want=want,
        draft_id=sent.draft,
        hazards=sent.hazards,
        wanted_K=sent.wanted_K,
        group_id=sent.group,
        helper_id=sent.helper,
    )


def _look_first(request: Request, slug: str, cold_starts: datetime, ask: Ask, at: datetime) -> None:
    """Conflict when it is plain that the time is taken, before anybody is kept waiting for a write.

    A time of no year that is ours is left to the rules.

    The session of this look ends before the route's own begins, so that no request holds two connections.
    """
    if checks.typed_moment_faults("cold_starts", cold_starts):
        return
    with read_beside(request.app.state.engine) as session:
        cryostat = guards.find(session, slug)
        ends = cold_starts + timedelta(hours=ask.cold_hours)
        if reading.taken(session, cryostat, max(cold_starts, at), ends):
            raise Conflict("This time is not free: somebody has it.")


def _taken(request: Request, slug: str, ask: Ask, conflict: Conflict) -> JSONResponse:
    slot = free.answers(request.app.state).next_free(request.app.state.engine, slug, ask, now())
    out = TakenOut(error=conflict.message, fields=[], next_free=slot_out(slot) if slot else None)
    return JSONResponse(out.model_dump(mode="json"), status_code=409)


def _phase(row: Phase) -> PhaseOut:
    return PhaseOut(kind=row.kind, starts=row.starts, ends=row.ends, hands_on=row.hands_on)


def slot_out(slot: Slot) -> SlotOut:
    """A slot as it is sent."""
    chain = slot.chain
    return SlotOut(
        cold_starts=chain.window.starts,
        cold_ends=chain.window.ends,
        starts=chain.starts,
        ends=chain.ends,
        slack_hours=None if chain.slack is None else chain.slack / timedelta(hours=1),
        change=chain.change,
        joins=slot.joins,
        phases=[_phase(row) for row in chain.phases],
    )


def _out(slug: str, row: Booking, sees: bool) -> BookingOut:
    return BookingOut(
        **row.model_dump(
            include={"id", "uid", "sequence", "state", "want", "cold_hours", "tentative", "change"}
        ),
        cryostat=slug,
        owner=row.owner_name,
        group=row.group_name,
        draft=row.draft_id,
        cold_starts=row.window_starts,
        cold_ends=row.window_ends,
        phases=[_phase(phase) for phase in lines.phases_of(row)],
        purpose=row.purpose if sees else None,
    )
