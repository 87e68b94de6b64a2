"""The page of the laboratory.

People stand above the laboratory, so their guards cannot be asked for here: the application puts
`current_person` before this router, and what it left in the request is read. Without it nobody gets in.
"""

from datetime import time
from typing import Annotated, Protocol

from fastapi import APIRouter, Depends, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Forbidden, Refused, SignInNeeded
from server.history.service import Author
from server.laboratory import forms, rules, service, views
from server.laboratory.working_days import WorkingWeek, country_faults
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()


class Visitor(Author, Protocol):
    """Whoever is signed in."""

    @property
    def steward(self) -> bool:
        """True for those who may alter the settings."""


def visitor(request: Request) -> Visitor:
    """Whoever the guard before this router let in; SignInNeeded."""
    found: Visitor | None = getattr(request.state, "person", None)
    if found is None:
        raise SignInNeeded("Nobody is signed in here.")
    return found


Signed = Annotated[Visitor, Depends(visitor)]


@router.get("/laboratory")
def show(request: Request, person: Signed, session: ReadSession) -> Response:
    """The settings."""
    return render(request, "laboratory/settings.html", views.settings(session, person.steward))


@router.post("/laboratory")
def alter(request: Request, person: Signed, session: WriteSession, form: SentForm) -> Response:
    """Store new settings."""
    if not person.steward:
        raise Forbidden("Only a steward may alter the laboratory's settings.")
    try:
        _store(session, person, forms.read(form))
    except Refused as refused:
        session.rollback()
        view = views.settings(session, True, form, refused)
        return render(request, "laboratory/settings.html", view, status=refused.status)
    return done(request, "/laboratory", "Settings stored.")


def _store(session: WriteSession, person: Visitor, typed: forms.Typed) -> None:
    """Store what was typed; Refused with every field to mend, those that cannot be read among them."""
    opens, closes = typed.opens or time.min, typed.closes or time.max
    wrong = rules.faults(typed.name, typed.zone, typed.working_days, opens, closes) | forms.unreadable(typed)
    wrong |= country_faults(typed.country)
    if wrong:
        raise Refused("The laboratory's settings were not stored.", wrong)
    service.alter(
        session,
        person,
        now(),
        name=typed.name,
        zone=typed.zone,
        week=WorkingWeek(typed.working_days, typed.country),
        opens=opens,
        closes=closes,
    )
