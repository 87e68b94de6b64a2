"""The page of what reaches somebody: the letter of the day, calendars of due days; and those calendars."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.notices import digest, feeds
from server.notices.models import DueFeed
from server.people import mailing
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "notices/show.html"


@dataclass(frozen=True)
class NoticesView:
    """What reaches somebody."""

    wanted: bool
    address: str
    sends: bool
    opens: str
    feeds: Sequence[DueFeed]
    made: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)


def _view(
    request: Request,
    session: Session,
    person: Person,
    made: str = "",
    faults: Mapping[str, str] | None = None,
) -> NoticesView:
    key = person.id or 0
    return NoticesView(
        wanted=digest.wanted(session, key),
        address=mailing.address_of(session, key),
        sends=bool(request.app.state.settings.mail_host),
        opens=f"{request.state.laboratory.opens:%H:%M}",
        feeds=feeds.of(session, person),
        made=made,
        faults=faults or {},
    )


@router.get("/notices")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """What reaches the person signed in."""
    return render(request, PAGE, _view(request, session, person))


@router.post("/notices/digest")
def choose(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Ask for the letter of the day, or for none."""
    want = form.has("wanted")
    digest.choose(session, person, want, now())
    line = "You get a letter on each day on which something waits." if want else "You get no letter."
    return done(request, "/notices", line)


@router.post("/notices/feeds")
def make(request: Request, person: CurrentPerson, session: WriteSession) -> Response:
    """Make an address and show it this once."""
    try:
        text = feeds.make(session, person, now())
    except Refused as refused:
        view = _view(request, session, person, faults=refused.fields)
        return render(request, PAGE, view, status=refused.status)
    session.flush()
    address = str(request.base_url.replace(path=f"/due/{text}.ics", query=""))
    return render(request, PAGE, _view(request, session, person, address), status=201)


@router.post("/notices/feeds/{number}/revoke")
def revoke(request: Request, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """Make an address worthless."""
    feeds.revoke(session, person, number, now())
    return done(request, "/notices", "The address is revoked; nothing is read there any more.")


@router.get("/due/{token}.ics")
@router.head("/due/{token}.ics")
def read(request: Request, token: str, session: ReadSession) -> Response:
    """The calendar at a secret address; 304 when the reader has it already."""
    text = feeds.read(session, token, str(request.base_url), now())
    mark = f'"{sha256(text).hexdigest()[:32]}"'
    headers = {"ETag": mark, "Cache-Control": "private, no-cache"}
    known = [word.strip().removeprefix("W/") for word in request.headers.get("If-None-Match", "").split(",")]
    if mark in known or "*" in known:
        return Response(status_code=304, headers=headers)
    return Response(text, media_type="text/calendar; charset=utf-8", headers=headers)
