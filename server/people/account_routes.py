"""Somebody's own account: password, tokens, sign-ins."""

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people import api_tokens, door, rules, service, sign_ins, views
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "people/account.html"


@router.get("/account")
def account(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The account as it is."""
    return render(request, PAGE, views.account(session, person, request.state.sign_in_id, now()))


@router.post("/account/password")
def alter_password(
    request: Request, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Store a new password; every other sign-in ends."""
    here, at = request.state.sign_in_id, now()
    try:
        _check_present(request, person.login, form)
        service.set_password(session, person, form.text("password"), at, keep=here)
    except Refused as refused:
        session.rollback()
        view = views.account(session, person, here, at, faults=refused.fields)
        return render(request, PAGE, view, status=refused.status)
    return done(request, "/account", "Password altered. Your other sign-ins have ended.")


def _check_present(request: Request, login: str, form: Form) -> None:
    """Refused unless the present password is right and the new one was typed twice and keeps the rules."""
    new = form.text("password")
    wrong = rules.password_faults(new, login) or rules.repeated_faults(new, form.text("again"))
    if wrong:
        raise Refused("The password was not altered.", wrong)
    address = request.client.host if request.client else ""
    try:
        door.recognise(request.app.state.engine, login, form.text("present"), address, now())
    except Refused as refused:
        words = "Enter the password you have now" if refused.status == Refused.status else refused.message
        refused.fields = {"present": words}
        raise


@router.post("/account/tokens")
def make_token(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Make a token and show it this once."""
    here, at, name = request.state.sign_in_id, now(), form.text("token_name")
    try:
        _row, text = api_tokens.make(session, person, name, at)
    except Refused as refused:
        session.rollback()
        view = views.account(session, person, here, at, faults=refused.fields, token_name=name)
        return render(request, PAGE, view, status=refused.status)
    answer = render(request, PAGE, views.account(session, person, here, at, new_token=text), status=201)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(request: Request, person: CurrentPerson, session: WriteSession, token_id: int) -> Response:
    """Make one of one's own tokens worthless."""
    row = api_tokens.revoke(session, person, person, token_id, now())
    return done(request, "/account", f"Token “{row.name}” revoked.")


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(request: Request, person: CurrentPerson, session: WriteSession, sign_in_id: int) -> Response:
    """End one of one's own sign-ins."""
    sign_ins.end(session, person, sign_in_id, now())
    return done(request, "/account", "That sign-in has ended.")
