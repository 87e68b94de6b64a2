"""Pages of the feed-throughs: ports, pins, the count, and continuity with isolation."""

from datetime import date

from fastapi import APIRouter, Request, Response

from server.cryostats import guards, port_views, ports
from server.cryostats.port_rules import DC, Entered, Readings, pin_numbers, resistance, table
from server.cryostats.ports import Said
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.files.uploads import Sent, SentUpload
from server.people.guards import CurrentPerson
from server.units import BadNumber
from server.web import tabular
from server.web.forms import Form, SentForm
from server.web.moments import today
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/ports")
PAGE = "cryostats/ports.html"


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Ports with their pins, the count against what is inside and every draft, and the tests."""
    cryostat = guards.find(session, slug)
    return render(request, PAGE, port_views.page(session, person, cryostat, today(request, now())))


@router.post("")
def add(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A port."""
    try:
        pins, carries = form.whole("pins"), form.text("carries") or DC
        said = Entered(form.text("name"), form.text("kind"), pins, form.text("note"), carries)
        port = ports.add(session, person, slug, said, now())
    except Refused as refused:
        return _again(request, session, person, slug, form, refused)
    return done(request, f"/cryostats/{slug}/ports", f"Port {port.name} is in the book.")


@router.post("/{number}/pins")
def connect(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """What is on some pins from now on."""
    try:
        said = Said(
            _numbers(form),
            form.text("state"),
            form.text("line"),
            form.text("element"),
            form.text("pin_note"),
        )
        rows = ports.connect(session, person, slug, number, said, now())
    except Refused as refused:
        fields = {f"{name}.{number}": text for name, text in refused.fields.items()}
        return _again(request, session, person, slug, form, Refused(refused.message, fields), number)
    count = "1 pin" if len(rows) == 1 else f"{len(rows)} pins"
    return done(request, f"/cryostats/{slug}/ports", f"{count} written down.")


def _numbers(form: Form) -> tuple[int, ...]:
    try:
        return pin_numbers(form.text("pin"))
    except BadNumber as problem:
        raise Refused("Nothing was stored.", {"pin": str(problem)}) from None


@router.post("/{number}/retire")
def retire(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A port is no longer there."""
    try:
        ports.retire(session, person, slug, number, form.text("reason"), now())
    except Refused as refused:
        fields = {f"{name}.{number}": text for name, text in refused.fields.items()}
        return _again(request, session, person, slug, form, Refused(refused.message, fields), number)
    return done(request, f"/cryostats/{slug}/ports", "The port is retired; what was on it stays in the book.")


@router.post("/tests")
def measure(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, sent: SentUpload
) -> Response:
    """A table of continuity and isolation, typed, pasted, or from a file."""
    at, form = now(), sent.form
    day = today(request, at)
    text, wrong = _table(sent)
    said, faults = _readings(form, text, day)
    faults |= wrong
    try:
        test = ports.measure(session, person, slug, said, at, day, faults)
    except Refused as refused:
        return _again(request, session, person, slug, form, refused)
    return done(request, f"/cryostats/{slug}/ports/tests/{test.id}", "The test is in the book.")


def _table(sent: Sent) -> tuple[str, dict[str, str]]:
    """The table as text, from the one place where it is; and what is wrong with the file."""
    text, files = sent.form.text("table"), sent.under("file")
    if not files:
        return text, {}
    if text or len(files) > 1:
        return text, {"file": "Send one file, or paste the table; not both"}
    try:
        return tabular.decoded(files[0].content), {}
    except tabular.Unreadable as problem:
        where = f"line {problem.line}: " if problem.line else ""
        return "", {"file": f"{files[0].name or 'The file'}, {where}{problem}"}


def _readings(form: Form, text: str, today_is: date) -> tuple[Readings, dict[str, str]]:
    lines, faults = table(text) if text else ((), {})
    mount_shield_ohm, more, day = None, False, today_is
    try:
        mount_shield_ohm, more = resistance(form.text("mount_shield"))
    except BadNumber as problem:
        faults["mount_shield"] = str(problem)
    try:
        day = date.fromisoformat(form.text("on_day")) if form.text("on_day") else today_is
    except ValueError:
        faults["on_day"] = "Enter a day such as 2026-03-14"
    said = Readings(day, form.text("lid"), lines, mount_shield_ohm, more, form.text("test_note"))
    return said, faults


@router.get("/tests/{number}")
def test(request: Request, slug: str, number: int, _person: CurrentPerson, session: ReadSession) -> Response:
    """One test with its lines."""
    view = port_views.test(session, guards.find(session, slug), number)
    return render(request, "cryostats/port_test.html", view)


def _again(
    request: Request,
    session: WriteSession,
    person: CurrentPerson,
    slug: str,
    form: Form,
    refused: Refused,
    port: int | None = None,
) -> Response:
    """The page again with what was typed and what is to be mended."""
    session.rollback()
    typed = dict(form.under(""))
    if port is not None:
        typed = {f"{name}.{port}": text for name, text in typed.items()}
    cryostat = guards.find(session, slug)
    view = port_views.page(session, person, cryostat, today(request, now()), refused.fields, typed)
    return render(request, PAGE, view, status=422)
