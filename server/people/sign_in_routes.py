"""Coming in and going out: sign-in, sign-out, and the link of an invitation."""

from datetime import timedelta

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people import door, invitations, rules, service, sign_ins
from server.people.guards import COOKIE, CurrentPerson
from server.people.models import Person
from server.people.views import InvitationView, SignInView
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()


@router.get("/sign-in")
def ask(request: Request, session: ReadSession) -> Response:
    """The form to sign in with."""
    onward = rules.onward(request.query_params.get("next", "/"))
    view = SignInView(nobody_yet=not service.anybody(session), onward=onward)
    return render(request, "people/sign_in.html", view)


@router.post("/sign-in")
def sign_in(request: Request, session: WriteSession, form: SentForm) -> Response:
    """Sign in, and go on to the page that was wanted."""
    login, onward, at = form.text("login"), rules.onward(form.text("next")), now()
    address = request.client.host if request.client else ""
    try:
        person, newer = door.recognise(request.app.state.engine, login, form.text("password"), address, at)
        answer = Response(status_code=303, headers={"Location": onward})
        _let_in(request, answer, session, person)
    except Refused as refused:
        session.rollback()
        view = SignInView(nobody_yet=False, login=login, onward=onward, faults=refused.fields)
        return render(request, "people/sign_in.html", view, status=refused.status)
    if newer:
        service.refresh_hash(session, person, newer)
    return answer


@router.post("/sign-out")
def sign_out(request: Request, person: CurrentPerson, session: WriteSession) -> Response:
    """End the sign-in of this browser."""
    sign_ins.end(session, person, request.state.sign_in_id, now())
    answer = done(request, "/sign-in", "You are signed out.")
    answer.delete_cookie(COOKIE, httponly=True, samesite="lax", secure=request.url.scheme == "https")
    return answer


@router.get("/invitation/{token}")
def invited(request: Request, token: str, session: ReadSession) -> Response:
    """The form behind a link that works once."""
    invitation, whose = invitations.find(session, token, now())
    view = InvitationView(invitation, whose, name=invitation.for_name)
    return render(request, "people/invitation.html", view)


@router.post("/invitation/{token}")
def accept(
    request: Request, token: str, look: ReadSession, session: WriteSession, form: SentForm
) -> Response:
    """Make the account or store the new password, and sign in."""
    at = now()
    invitation, whose = invitations.find(look, token, at)
    name, login, password = form.text("name"), form.text("login"), form.text("password")
    try:
        repeated = rules.repeated_faults(password, form.text("again"))
        if repeated:
            raise Refused("The passwords differ.", repeated)
        person = invitations.accept(
            session, invitation, whose, login=login, name=name, password=password, at=at
        )
    except Refused as refused:
        session.rollback()
        view = InvitationView(invitation, whose, name=name, login=login, faults=refused.fields)
        return render(request, "people/invitation.html", view, status=refused.status)
    answer = done(request, "/", f"Welcome, {person.name}.")
    _let_in(request, answer, session, person)
    return answer


def _let_in(request: Request, answer: Response, session: Session, person: Person) -> None:
    """A new sign-in for this browser, instead of the one it came with."""
    lasts = timedelta(days=request.app.state.settings.sign_in_days)
    token = sign_ins.begin(session, person, now(), lasts, request.cookies.get(COOKIE, ""))
    answer.set_cookie(
        COOKIE,
        token,
        max_age=int(lasts.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
    )
