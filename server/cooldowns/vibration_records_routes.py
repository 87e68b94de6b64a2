"""The page of a cryostat's vibration records."""

from fastapi import APIRouter, Request, Response

from server.cooldowns import vibration_records, vibration_records_views
from server.cooldowns.vibration_records import About
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
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


@router.post("")
def keep(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, sent: SentUpload
) -> Response:
    """Keep one record."""
    cryostat, home = guards.find(session, slug), request.app.state.settings.home
    files = sent.under("file")
    name, content = (files[0].name, files[0].content) if files else ("", b"")
    about, wrong = _about(sent.form, name, request.state.laboratory.zone)
    try:
        row = vibration_records.keep(session, home, person, cryostat, content, about, now(), wrong)
    except Refused as refused:
        session.rollback()
        cryostat, typed = guards.find(session, slug), dict(sent.form.under(""))
        fields = refused.fields | wrong
        view = vibration_records_views.page(session, person, cryostat, fields, typed)
        return render(request, PAGE, view, status=422)
    line = f"Kept: {row.samples:,} samples at {row.rate_Hz:.6g} Hz."
    return done(request, f"/cryostats/{slug}/vibration-records", line)


def _about(form: Form, name: str, zone: str) -> tuple[About, dict[str, str]]:
    rate_Hz, taken_at, wrong = None, None, {}
    try:
        rate_Hz = _rate_Hz(form.text("rate_Hz"))
    except BadNumber as problem:
        wrong["rate_Hz"] = str(problem)
    try:
        taken_at = form.moment("taken_at", zone)
    except Refused as refused:
        wrong |= refused.fields
    about = About(
        unit=form.text("unit"),
        rate_Hz=rate_Hz,
        place=form.text("place"),
        axis=form.text("axis"),
        cooler=form.text("cooler"),
        pump=form.text("pump"),
        taken_at=taken_at,
        note=form.text("note"),
        sent_name=name,
    )
    return about, wrong


def _rate_Hz(text: str) -> float | None:
    if not text:
        return None
    found = parse_quantity(text, "Hz", "Hz")
    if found is None or isinstance(found, Band):
        raise BadNumber("Enter one rate such as 2 kHz, or leave it empty where the file says it")
    return found
