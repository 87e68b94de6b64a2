"""The page of the laboratory's standing order. Like the settings it stands behind the application's guard."""

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Forbidden, Refused
from server.laboratory import orders
from server.laboratory.routes import Signed
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "laboratory/orders.html"


@router.get("/laboratory/orders")
def show(request: Request, person: Signed, session: ReadSession) -> Response:
    """What holds, and every version before it."""
    versions = orders.versions(session, orders.LABORATORY)
    text = versions[0].text if versions else ""
    return render(request, PAGE, versions, may_write=person.steward, typed=text, faults={})


@router.post("/laboratory/orders")
def write(request: Request, person: Signed, session: WriteSession, form: SentForm) -> Response:
    """Store the next version."""
    if not person.steward:
        raise Forbidden("Only a steward may write a standing order.")
    text = form.text("text")
    try:
        row = orders.write(session, person, orders.LABORATORY, text, form.whole("after") or 0, now())
    except (Refused, Conflict) as problem:
        session.rollback()
        faults = problem.fields or {"text": problem.message}
        versions = orders.versions(session, orders.LABORATORY)
        return render(
            request, PAGE, versions, status=problem.status, may_write=True, typed=text, faults=faults
        )
    return done(request, "/laboratory/orders", f"Version {row.number} of the order stored.")
