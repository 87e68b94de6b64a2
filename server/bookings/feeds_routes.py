"""Calendar feeds: the page of one's addresses, and the feeds themselves, which a secret address opens."""

from hashlib import sha256

from fastapi import APIRouter, Request, Response

from server.bookings import feeds, feeds_views
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "bookings/feeds.html"


@router.get("/plan/feeds")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """One's own addresses."""
    return render(request, PAGE, feeds_views.page(session, person))


@router.post("/plan/feeds")
def make(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Make an address and show it this once."""
    try:
        _row, text = feeds.make(session, person, form.text("kind"), form.text("cryostat"), now())
    except Refused as refused:
        session.rollback()
        view = feeds_views.page(session, person, form.under(""), refused.fields)
        return render(request, PAGE, view, status=422)
    address = str(request.base_url.replace(path=f"/feeds/{text}.ics", query=""))
    return render(request, PAGE, feeds_views.page(session, person, made=address), status=201)


@router.post("/plan/feeds/{number}/revoke")
def revoke(request: Request, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """Make an address worthless."""
    feeds.revoke(session, person, number, now())
    return done(request, "/plan/feeds", "The address is revoked; nothing is read there any more.")


@router.get("/feeds/{token}.ics")
@router.head("/feeds/{token}.ics")
def read(request: Request, token: str, session: ReadSession) -> Response:
    """The calendar at a secret address; 304 when the reader has it already."""
    text = feeds.read(session, token, now())
    mark = f'"{sha256(text).hexdigest()[:32]}"'
    headers = {"ETag": mark, "Cache-Control": "private, no-cache"}
    known = [word.strip().removeprefix("W/") for word in request.headers.get("If-None-Match", "").split(",")]
    if mark in known or "*" in known:
        return Response(status_code=304, headers=headers)
    return Response(text, media_type="text/calendar; charset=utf-8", headers=headers)
