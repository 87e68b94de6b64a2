"""The page of a cryostat's vibration records."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from server.cooldowns import vibration_files, vibration_records, vibration_records_views
from server.cooldowns.vibration_files import Content
from server.cooldowns.vibration_records import About
from server.cryostats import guards
from server.cryostats.rules import OPERATE
from server.db import ReadSession, WriteSession, now, reading
from server.errors import Refused
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web.forms import Form
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/vibration-records")
PAGE = "cooldowns/vibration_records.html"


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The records, and the form of a new one."""
    return render(request, PAGE, vibration_records_views.page(session, person, guards.find(session, slug)))


@dataclass(frozen=True)
class Prepared:
    """A form whose file was opened: what was said, what it holds, what is wrong."""

    about: About
    content: Content | None
    faults: Mapping[str, str]
    typed: Mapping[str, str]


def prepared(request: Request, slug: str, person: CurrentPerson, sent: SentUpload) -> Prepared:
    """Open what was sent before the write session opens: while it is open nobody else can write."""
    with reading(request.app.state.engine) as session:
        guards.need(session, person, guards.find(session, slug), OPERATE)
    files = sent.under("file")
    about, faults = _about(sent.form, files[0].name if files else "", request.state.laboratory.zone)
    content = None
    try:
        content = vibration_files.opened(files[0].content if files else b"", about.unit)
    except Refused as refused:
        faults |= refused.fields
    return Prepared(about, content, faults, dict(sent.form.under("")))


@router.post("")
def keep(
    request: Request,
    slug: str,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Keep one record."""
    cryostat, home = guards.find(session, slug), request.app.state.settings.home
    try:
        row = vibration_records.keep(
            session, home, person, cryostat, sent.content, sent.about, now(), sent.faults
        )
    except Refused as refused:
        session.rollback()
        cryostat = guards.find(session, slug)
        view = vibration_records_views.page(session, person, cryostat, refused.fields, sent.typed)
        return render(request, PAGE, view, status=422)
    line = f"Kept: {vibration_records.size_words(row)}."
    return done(request, f"/cryostats/{slug}/vibration-records", line)


def _about(form: Form, name: str, zone: str) -> tuple[About, dict[str, str]]:
    taken_at, wrong = None, {}
    found: dict[str, float | None] = {}
    for field in ("rate_Hz", "bandwidth_Hz"):
        try:
            found[field] = _hertz(form.text(field))
        except BadNumber as problem:
            wrong[field] = str(problem)
    try:
        taken_at = form.moment("taken_at", zone)
    except Refused as refused:
        wrong |= refused.fields
    about = About(
        unit=form.text("unit"),
        rate_Hz=found.get("rate_Hz"),
        place=form.text("place"),
        axis=form.text("axis"),
        cooler=form.text("cooler"),
        pump=form.text("pump"),
        taken_at=taken_at,
        note=form.text("note"),
        sent_name=name,
        bandwidth_Hz=found.get("bandwidth_Hz"),
    )
    return about, wrong


def _hertz(text: str) -> float | None:
    if not text:
        return None
    found = parse_quantity(text, "Hz", "Hz")
    if found is None or isinstance(found, Band):
        raise BadNumber("Enter one number such as 2 kHz, or leave it empty")
    return found
