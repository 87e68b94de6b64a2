"""What was in it on that day: the page, and the same to take along. It changes nothing."""

import io
import zipfile

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, now
from server.errors import Refused
from server.files import store
from server.people.guards import CurrentPerson
from server.record import rules, views
from server.record.views import Record
from server.web import tabular
from server.web.forms import Form
from server.web.render import render

router = APIRouter(prefix="/record")
PAGE = "record/show.html"
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}
ENDS = {"image/jpeg": "jpg", "image/png": "png", "application/pdf": "pdf"}


@router.get("")
def show(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """The record of a day or a cooldown, or the form that asks for it."""
    view = views.page(session, _typed(request), request.state.laboratory.zone, now())
    return render(request, PAGE, view, status=422 if view.faults else 200)


@router.get("/text")
def text(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """The whole record as plain text."""
    found = _asked(request, session)
    content = rules.text(found.title, found.reference, found.sections)
    return _file(content.encode(), "text/plain; charset=utf-8", f"{found.reference}.txt")


@router.get("/table")
def table(request: Request, _person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """The whole record as one table."""
    found = _asked(request, session)
    return _file(_table(found, style).encode(), "text/csv; charset=utf-8", f"{found.reference}.csv")


@router.get("/archive")
def archive(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """Text, table and images in one file."""
    found = _asked(request, session)
    to = io.BytesIO()
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("record.txt", rules.text(found.title, found.reference, found.sections))
        made.writestr("record.csv", _table(found, "comma"))
        for number, (_, file) in enumerate(found.files, 1):
            content = store.get(request.app.state.settings.home, file.digest)
            made.writestr(
                f"images/{number:02d}-{file.digest[:12]}.{ENDS.get(file.media_type, 'bin')}", content
            )
    return _file(to.getvalue(), "application/zip", f"{found.reference}.zip")


def _table(found: Record, style: str) -> str:
    chosen = tabular.STYLES.get(style, tabular.STYLES["comma"])
    return tabular.MARK + rules.table(found.sections, chosen)


def _typed(request: Request) -> Form:
    return Form(request.query_params.multi_items())


def _asked(request: Request, session: ReadSession) -> Record:
    typed = _typed(request)
    if not typed.text("cryostat"):
        raise Refused("Which cryostat?", {"cryostat": "Choose a cryostat"})
    return views.record(session, typed, request.state.laboratory.zone, now())


def _file(content: bytes, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=SHUT_IN | disposition)
