"""Pages of the photographs: looking at them, putting some in, withdrawing one."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response

from server.cryostats import guards, photograph_views, photographs
from server.cryostats.photograph_views import Wanted
from server.cryostats.photographs import About, Picture
from server.cryostats.rules import OPEN
from server.db import ReadSession, WriteSession, now, reading
from server.errors import Refused
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter(prefix="/cryostats/{slug}")
PAGE = "cryostats/photographs.html"
Number = Annotated[int, Query(ge=0, le=2**31 - 1)]


@dataclass(frozen=True)
class Prepared:
    """A form whose files were looked into: what may be kept, and what is wrong."""

    about: About
    pictures: tuple[Picture, ...]
    faults: Mapping[str, str]


def prepared(request: Request, slug: str, person: CurrentPerson, sent: SentUpload) -> Prepared:
    """Decode what was sent before the write session opens: while it is open nobody else can write."""
    with reading(request.app.state.engine) as session:
        cryostat = guards.find(session, slug)
        guards.need(session, person, cryostat, OPEN)
        newest = cryostat.revision
    faults: dict[str, str] = {}
    about = _about(sent.form, newest, faults)
    uploads = [(upload.name, upload.content) for upload in sent.under("files")]
    pictures, wrong = photographs.decoded(uploads, documents=about.kind == "drawing")
    return Prepared(about, pictures, faults | ({"files": wrong} if wrong else {}))


def _about(form: Form, newest: int, faults: dict[str, str]) -> About:
    revision: int | None = newest
    try:
        revision = form.whole("revision")
    except Refused as refused:
        faults |= refused.fields
    return About(
        newest if revision is None else max(-1, min(revision, newest + 1)),
        form.text("kind") or "photograph",
        form.text("caption"),
        form.text("element"),
        form.text("stage"),
    )


@router.get("/photographs")
def show(
    request: Request,
    slug: str,
    person: CurrentPerson,
    session: ReadSession,
    revision: Number | None = None,
    element: str = "",
    before: Number | None = None,
) -> Response:
    """The photographs of a cryostat, of one revision, or of one element."""
    cryostat = guards.find(session, slug)
    wanted = Wanted(revision, element.replace("\x00", ""), before)
    view = photograph_views.page(session, person, cryostat, wanted)
    return render(request, PAGE, view)


@router.post("/photographs")
def add(
    request: Request,
    slug: str,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Put photographs in: all of the form, or nothing."""
    home: Path = request.app.state.settings.home
    try:
        rows = photographs.add(session, person, slug, sent.about, sent.pictures, home, now(), sent.faults)
    except Refused as refused:
        session.rollback()
        cryostat = guards.find(session, slug)
        view = photograph_views.page(session, person, cryostat, about=sent.about, faults=refused.fields)
        return render(request, PAGE, view, status=422)
    counted = "1 picture" if len(rows) == 1 else f"{len(rows)} pictures"
    line = f"{counted} kept with {photographs.of_what(sent.about)}."
    return done(request, f"/cryostats/{slug}/photographs?revision={sent.about.revision}", line)


@router.post("/photographs/{photograph_id}/withdraw")
def withdraw(
    request: Request,
    slug: str,
    photograph_id: int,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """Mark one withdrawn, with the reason."""
    try:
        photographs.withdraw(session, person, slug, photograph_id, form.text("reason"), now())
    except Refused as refused:
        session.rollback()
        if not refused.fields:
            raise
        faults = {f"reason.{photograph_id}": text for text in refused.fields.values()}
        view = photograph_views.page(
            session, person, guards.find(session, slug), faults=faults, refused_plate=photograph_id
        )
        return render(request, PAGE, view, status=422)
    return done(request, f"/cryostats/{slug}/photographs", "Withdrawn. It stays in the book and says so.")


@router.get("/revisions/{number}/photographs")
def of_revision(
    request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession
) -> Response:
    """The photographs of one revision: a part for another page, or the way to the page of all."""
    cryostat = guards.find(session, slug)
    if not wants_part(request):
        return Response(
            status_code=303, headers={"Location": f"/cryostats/{slug}/photographs?revision={number}"}
        )
    return render(
        request, "cryostats/_photographs.html", photograph_views.part(session, person, cryostat, number)
    )
