"""In and out: a configuration as document, wire list, wire map and budget; a file brought in as a change."""

import json
import re
from typing import Annotated
from urllib.parse import quote_plus

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cryostats import (
    budget,
    budget_table,
    change_views,
    contents,
    exchange,
    exchange_views,
    guards,
    incoming,
    service,
    tabular,
    wire_map,
)
from server.cryostats.change_form import InHand
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, Change
from server.db import ReadSession, now
from server.errors import Refused
from server.files.uploads import Sent, SentUpload
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.render import environment, render

router = APIRouter(prefix="/cryostats/{slug}")
Number = Annotated[int | None, Query(ge=0, le=2**31 - 1)]
PAGE = "cryostats/exchange.html"
HELD_ROOM_BYTES = 100_000
"""What the change page sends besides the elements it holds."""
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}


@router.get("/exchange")
def show(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """What can be taken out of the book, and the form for bringing something in."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    return render(request, PAGE, exchange_views.page(session, person, cryostat, number))


@router.get("/configuration.json")
def document(slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None) -> Response:
    """The document of a revision."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    text = json.dumps(exchange.document_of(session, cryostat, number), indent=2, ensure_ascii=False)
    return _file(text + "\n", "application/json", f"{slug}-revision-{number}.json")


@router.get("/wire-list.csv")
def wires(
    slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None, style: str = "comma"
) -> Response:
    """The wire list of a revision."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    text = exchange.wires_of(session, cryostat, number, _style(style))
    return _file(tabular.MARK + text, "text/csv", f"{slug}-revision-{number}-wires.csv")


@router.get("/budget.csv")
def heat(
    slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None, style: str = "comma"
) -> Response:
    """The newest heat budget of a revision."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    elements = contents.elements(session, cryostat, number)
    found = budget.of_revision(session, cryostat, number)
    text = budget_table.write(cryostat, number, elements, found, _style(style))
    return _file(tabular.MARK + text, "text/csv", f"{slug}-revision-{number}-budget.csv")


@router.get("/wire-map")
def map_page(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """The wire map as a sheet to print."""
    return render(request, "cryostats/wire_map.html", _wire_map(session, slug, revision))


@router.get("/wire-map.svg")
def map_drawing(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """The wire map as a drawing of its own, with its title block."""
    view = _wire_map(session, slug, revision)
    template = environment().get_template("cryostats/wire_map.svg")
    text = template.render(view=view, laboratory=request.state.laboratory)
    return _file(text, "image/svg+xml", f"{slug}-revision-{view.number}-wires.svg")


@router.post("/exchange")
def bring_in(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, sent: SentUpload
) -> Response:
    """Read a file and open the change page with what it would alter. Nothing is stored."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPEN)
    try:
        change = _change(session, cryostat, sent)
        in_hand = InHand(cryostat.revision, change.reason, put=change.put, remove=change.remove)
        _refuse_long(in_hand, request.app.state.settings.body_limit_bytes)
    except Refused as refused:
        return _refused(request, session, person, cryostat, sent, refused)
    return render(
        request, "cryostats/change.html", change_views.change(session, person, cryostat, in_hand, [])
    )


def _change(session: Session, cryostat: Cryostat, sent: Sent) -> Change:
    files = sent.under("file")
    content = files[0].content if files else sent.form.text("text").encode(errors="replace")
    if not content.strip():
        raise Refused("Nothing was brought in.", {"file": "Choose a file, or paste its text"})
    found = incoming.read(content, contents.elements(session, cryostat, cryostat.revision))
    name = f" {files[0].name}" if files and files[0].name else ""
    reason = sent.form.text("reason") or f"Brought in from the file{name}"
    return exchange.change_from(session, cryostat, found, reason, take_others=sent.form.has("take_others"))


def _refuse_long(in_hand: InHand, limit_bytes: int) -> None:
    """The change page carries what it holds; what it could not send back is said here, not lost there."""
    if len(quote_plus(in_hand.held)) + HELD_ROOM_BYTES > limit_bytes:
        raise Refused(
            "Nothing was brought in.",
            {"file": f"The file alters {len(in_hand.put)} elements; bring it in in smaller parts"},
        )


def _refused(
    request: Request, session: Session, person: Person, cryostat: Cryostat, sent: Sent, refused: Refused
) -> Response:
    view = exchange_views.page(session, person, cryostat, cryostat.revision, sent.form, refused)
    return render(request, PAGE, view, status=422)


def _wire_map(session: Session, slug: str, revision: int | None) -> wire_map.WireMapView:
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    row = service.revision(session, cryostat, number) if number else None
    return wire_map.sheet(cryostat, number, row, contents.elements(session, cryostat, number), now())


def _number(session: Session, cryostat: Cryostat, revision: int | None) -> int:
    number = cryostat.revision if revision is None else revision
    if number:
        service.revision(session, cryostat, number)
    return number


def _style(name: str) -> tabular.Style:
    return tabular.STYLES.get(name, tabular.STYLES["comma"])


def _file(text: str, media_type: str, name: str) -> Response:
    """A file to keep: never shown in the page's own place, and shut in should somebody open it there."""
    plain = re.sub(r"[^a-z0-9.-]", "-", name)
    disposition = {"Content-Disposition": f'attachment; filename="{plain}"'}
    return Response(text.encode(), media_type=f"{media_type}; charset=utf-8", headers=SHUT_IN | disposition)
