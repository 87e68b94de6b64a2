"""The page of one list of a cryostat: reading it, and wording it anew."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.checklists import forms, list_views, lists
from server.checklists.lists import Wanted
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web.forms import WHOLE, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/checklists/{list_key}")
PAGE = "checklists/list.html"
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@router.get("")
def show(
    request: Request,
    slug: str,
    list_key: str,
    person: CurrentPerson,
    session: ReadSession,
    version: Number = None,
) -> Response:
    """One list, at its newest version or an earlier one."""
    view = list_views.page(session, person, guards.find(session, slug), list_key, now(), version)
    return render(request, PAGE, view)


@router.post("")
def alter(
    request: Request,
    slug: str,
    list_key: str,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """Store a new version."""
    lines, faults = forms.read(form)
    after = form.text("after")
    wanted = Wanted(lines, form.text("reason"), int(after) if WHOLE.fullmatch(after) else 0)
    try:
        row = lists.alter(session, person, slug, list_key, wanted, now(), faults)
    except Refused as refused:
        session.rollback()
        cryostat = guards.find(session, slug)
        view = list_views.page(
            session, person, cryostat, list_key, now(), wanted=wanted, faults=refused.fields
        )
        return render(request, PAGE, view, status=422)
    line = f"Version {row.number} holds from now on. What was answered stays as it was worded."
    return done(request, f"/cryostats/{slug}/checklists/{list_key}", line)
