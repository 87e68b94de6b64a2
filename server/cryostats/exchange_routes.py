"""In and out: a configuration as document, wire list, wire map and budget; a file brought in as a change."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import quote_plus

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cryostats import (
    beside_views,
    budget,
    budget_table,
    change_views,
    contents,
    draft_views,
    drafts,
    exchange,
    exchange_views,
    guards,
    incoming,
    service,
    wire_list,
    wire_map,
)
from server.cryostats.change_form import InHand
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, OPERATE, Change, Put
from server.db import ReadSession, now
from server.errors import Refused
from server.files.uploads import Sent, SentUpload
from server.materials import service as materials
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web import tabular
from server.web.render import environment, render

router = APIRouter()
Number = Annotated[int | None, Query(ge=0, le=2**31 - 1)]
PAGE = "cryostats/exchange.html"
HELD_ROOM_BYTES = 100_000
"""What the change page sends besides the elements it holds."""
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}


@router.get("/cryostats/{slug}/exchange")
def show(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """What can be taken out of the book, and the form for bringing something in."""
    source = _revision(session, slug, revision)
    return render(request, PAGE, exchange_views.page(session, person, source.cryostat, source.number))


@router.get("/cryostats/{slug}/configuration.json")
def document(slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None) -> Response:
    """The document of a revision."""
    return _document(session, _revision(session, slug, revision))


@router.get("/cryostats/{slug}/wire-list.csv")
def wires(
    slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None, style: str = "comma"
) -> Response:
    """The wire list of a revision."""
    return _wires(_revision(session, slug, revision), style)


@router.get("/cryostats/{slug}/budget.csv")
def heat(
    slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None, style: str = "comma"
) -> Response:
    """The newest heat budget of a revision."""
    source = _revision(session, slug, revision)
    found = budget.of_revision(session, source.cryostat, source.number)
    text = budget_table.write(source.cryostat, source.number, source.elements, found, _style(style))
    return _file(tabular.MARK + text, "text/csv", f"{source.name}-budget.csv")


@router.get("/cryostats/{slug}/wire-map")
def map_page(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """The wire map as a sheet to print."""
    return render(request, "cryostats/wire_map.html", _wire_map(session, _revision(session, slug, revision)))


@router.get("/cryostats/{slug}/wire-map.svg")
def map_drawing(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, revision: Number = None
) -> Response:
    """The wire map as a drawing of its own, with its title block."""
    source = _revision(session, slug, revision)
    template = environment().get_template("cryostats/wire_map.svg")
    text = template.render(view=_wire_map(session, source), laboratory=request.state.laboratory)
    return _file(text, "image/svg+xml", f"{source.name}-wires.svg")


@router.get("/drafts/{number}/document.json")
def draft_document(number: int, _person: CurrentPerson, session: ReadSession) -> Response:
    """The document of what would be inside, were the draft's newest version built on its own base."""
    return _document(session, _draft(session, number))


@router.get("/drafts/{number}/wire-list.csv")
def draft_wires(number: int, _person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """The wire list of a draft's newest version."""
    return _wires(_draft(session, number), style)


@router.get("/drafts/{number}/budget.csv")
def draft_heat(number: int, _person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """The newest heat budget of a draft's newest version."""
    source, version = _draft(session, number), drafts.find(session, number).version
    words = f"draft {number}, version {version.number}, on revision {version.base_revision}"
    found = drafts.budget_of(session, version)
    text = budget_table.write(source.cryostat, words, source.elements, found, _style(style))
    return _file(tabular.MARK + text, "text/csv", f"{source.name}-budget.csv")


@router.get("/drafts/{number}/wire-map")
def draft_map_page(request: Request, number: int, _person: CurrentPerson, session: ReadSession) -> Response:
    """The wire map of a draft's newest version as a sheet to print."""
    return render(request, "cryostats/wire_map.html", _draft_map(session, number))


@router.get("/drafts/{number}/wire-map.svg")
def draft_map_drawing(
    request: Request, number: int, _person: CurrentPerson, session: ReadSession
) -> Response:
    """The wire map of a draft's newest version as a drawing of its own."""
    view = _draft_map(session, number)
    template = environment().get_template("cryostats/wire_map.svg")
    text = template.render(view=view, laboratory=request.state.laboratory)
    return _file(text, "image/svg+xml", f"{_draft(session, number).name}-wires.svg")


@router.post("/cryostats/{slug}/exchange")
def bring_in(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, sent: SentUpload
) -> Response:
    """Read a file and open the page of a change, or of a draft, with what it alters. Nothing is stored."""
    cryostat = guards.find(session, slug)
    drawing = sent.form.text("do") == "draft"
    guards.need(session, person, cryostat, OPERATE if drawing else OPEN)
    try:
        change = _change(session, cryostat, sent)
        in_hand = InHand(cryostat.revision, change.reason, put=change.put, remove=change.remove)
        _refuse_long(in_hand, request.app.state.settings.body_limit_bytes)
    except Refused as refused:
        return _refused(request, session, person, cryostat, sent, refused)
    if drawing:
        empty = draft_views.Drawing("", (), house=False, after=0)
        view, around = draft_views.draw(session, person, cryostat, in_hand, empty, None)
        return render(request, "cryostats/draft_change.html", view, around=around)
    changing = change_views.change(session, person, cryostat, in_hand)
    beside = beside_views.beside(session, cryostat)
    return render(request, "cryostats/change.html", changing, beside=beside)


def _change(session: Session, cryostat: Cryostat, sent: Sent) -> Change:
    files = sent.under("file")
    content = files[0].content if files else sent.form.text("text").encode(errors="replace")
    if not content.strip():
        raise Refused("Nothing was brought in.", {"file": "Choose a file, or paste its text"})
    inside = contents.elements(session, cryostat, cryostat.revision)
    found = incoming.read(content, inside, materials.in_force(session))
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


@dataclass(frozen=True)
class Source:
    """What is taken out: the elements of a revision or a draft, and the name its files begin with."""

    cryostat: Cryostat
    number: int
    elements: Mapping[str, Put]
    name: str


def _revision(session: Session, slug: str, revision: int | None) -> Source:
    cryostat = guards.find(session, slug)
    number = cryostat.revision if revision is None else revision
    if number:
        service.revision(session, cryostat, number)
    return Source(cryostat, number, contents.elements(session, cryostat, number), f"{slug}-revision-{number}")


def _draft(session: Session, number: int) -> Source:
    sheet = drafts.find(session, number)
    elements = drafts.intended(session, sheet.cryostat, sheet.version)
    name = f"{sheet.cryostat.slug}-draft-{number}-version-{sheet.version.number}"
    return Source(sheet.cryostat, sheet.version.base_revision, elements, name)


def _document(session: Session, source: Source) -> Response:
    value = exchange.document_of(session, source.cryostat, source.elements)
    text = json.dumps(value, indent=2, ensure_ascii=False)
    return _file(text + "\n", "application/json", f"{source.name}.json")


def _wires(source: Source, style: str) -> Response:
    text = wire_list.write(list(source.elements.values()), source.cryostat.stages, _style(style))
    return _file(tabular.MARK + text, "text/csv", f"{source.name}-wires.csv")


def _wire_map(session: Session, source: Source) -> wire_map.WireMapView:
    row = service.revision(session, source.cryostat, source.number) if source.number else None
    return wire_map.sheet(source.cryostat, source.number, row, source.elements, now())


def _draft_map(session: Session, number: int) -> wire_map.WireMapView:
    found, source = drafts.find(session, number), _draft(session, number)
    version = found.version
    drawn = wire_map.Planned(
        number, found.draft.name, version.number, version.reason, version.by_name, version.at
    )
    return wire_map.sheet(source.cryostat, source.number, None, source.elements, now(), drawn)


def _style(name: str) -> tabular.Style:
    return tabular.STYLES.get(name, tabular.STYLES["comma"])


def _file(text: str, media_type: str, name: str) -> Response:
    """A file to keep: never shown in the page's own place, and shut in should somebody open it there."""
    plain = re.sub(r"[^a-z0-9.-]", "-", name)
    disposition = {"Content-Disposition": f'attachment; filename="{plain}"'}
    return Response(text.encode(), media_type=f"{media_type}; charset=utf-8", headers=SHUT_IN | disposition)
