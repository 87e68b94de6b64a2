"""The page of a diagnosis, and what was found."""

from fastapi import APIRouter, Request, Response

from server.cooldowns import diagnosis, diagnosis_sigmas, diagnosis_views, service
from server.cooldowns.views import Trouble
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/cooldowns/{number}/diagnosis")
PAGE = "cooldowns/diagnosis.html"


@router.get("")
def show(request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """The diagnosis; `sigma_platform=20 mK` and the like choose standard deviations."""
    sheet = service.find(session, guards.find(session, slug), number)
    typed = Form(request.query_params.multi_items())
    sigmas, wrong = diagnosis_sigmas.read(typed)
    trouble = Trouble("sigmas", wrong, dict(typed.under("")))
    view = diagnosis_views.page(session, person, sheet, sigmas, trouble)
    return render(request, PAGE, view, status=422 if wrong else 200)


@router.post("/found")
def found(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """What was found."""
    try:
        row = diagnosis.found(session, person, slug, number, form.text("cause"), form.text("words"), now())
    except Refused as refused:
        session.rollback()
        sheet = service.find(session, guards.find(session, slug), number)
        trouble = Trouble("found", refused.fields, dict(form.under("")))
        view = diagnosis_views.page(session, person, sheet, {}, trouble)
        return render(request, PAGE, view, status=422)
    line = f"Written down as fault {row.fault_id}. The next diagnosis of this cryostat knows of it."
    return done(request, f"/cryostats/{slug}/cooldowns/{number}/diagnosis", line)
