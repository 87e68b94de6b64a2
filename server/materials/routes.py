"""Pages of the materials: what is known of each, and the laboratory's own."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.files.uploads import SentUpload
from server.materials import forms, service, views
from server.people.guards import CurrentPerson, Steward
from server.web.render import done, render

router = APIRouter(prefix="/materials")
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.get("")
def index(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """All of them."""
    return render(request, "materials/index.html", views.index(session, person))


@router.get("/new")
def begin(request: Request, _steward: Steward) -> Response:
    """The empty form of an own material."""
    return render(request, "materials/form.html", views.new())


@router.post("")
def add(request: Request, steward: Steward, session: WriteSession, sent: SentUpload) -> Response:
    """Store an own material."""
    texts = forms.typed(sent)
    try:
        row = service.add(session, steward, forms.read_new(texts), now())
    except Refused as refused:
        session.rollback()
        return render(request, "materials/form.html", views.new(texts, refused), status=refused.status)
    return done(request, f"/materials/{row.name}", f"Material {row.name} stored.")


@router.get("/{name}")
def show(
    request: Request, name: str, person: CurrentPerson, session: ReadSession, version: Number = None
) -> Response:
    """One material."""
    return render(request, "materials/show.html", views.show_material(session, person, name, version))


@router.get("/{name}/correction")
def begin_correction(request: Request, name: str, _steward: Steward, session: ReadSession) -> Response:
    """The form of the next version of an own material."""
    return render(request, "materials/form.html", views.correction(session, name))


@router.post("/{name}/correction")
def correct(
    request: Request, name: str, steward: Steward, session: WriteSession, sent: SentUpload
) -> Response:
    """Store the next version of an own material."""
    texts = forms.typed(sent)
    try:
        own, base = forms.read_correction(texts, name), sent.form.whole("base")
        row = service.correct(session, steward, own, base, texts.reason, now())
    except Refused as refused:
        session.rollback()
        view = views.correction(session, name, texts, refused)
        return render(request, "materials/form.html", view, status=refused.status)
    return done(request, f"/materials/{name}", f"Material {name} is at version {row.number}.")
