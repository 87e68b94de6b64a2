"""Pages of the people, for stewards; and, included here, those of sign-in and of one's own account."""

from datetime import timedelta

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people import account_routes, api_tokens, invitations, service, sign_in_routes, views
from server.people.guards import Steward
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
router.include_router(sign_in_routes.router)
router.include_router(account_routes.router)


@router.get("/people")
def index(request: Request, _steward: Steward, session: ReadSession) -> Response:
    """Everybody, and who was invited."""
    return render(request, "people/index.html", views.people(session, now()))


@router.post("/people/invitations")
def invite(request: Request, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Make a link for a new person and show it this once."""
    name, at = form.text("for_name"), now()
    try:
        token = invitations.invite(session, steward, name, at, _invitation_lasts(request))
    except Refused as refused:
        session.rollback()
        view = views.people(session, at, for_name=name, faults=refused.fields)
        return render(request, "people/index.html", view, status=refused.status)
    view = views.people(session, at, for_name=name, link=_link(request, token))
    return _shown_once(render(request, "people/index.html", view, status=201))


@router.post("/people/invitations/{invitation_id}/withdraw")
def withdraw(request: Request, steward: Steward, session: WriteSession, invitation_id: int) -> Response:
    """Make a link worthless."""
    row = invitations.withdraw(session, steward, invitation_id, now())
    return done(request, "/people", f"The invitation of {row.for_name} is withdrawn.")


@router.get("/people/{person_id}")
def show(request: Request, _steward: Steward, session: ReadSession, person_id: int) -> Response:
    """One person."""
    return render(request, "people/person.html", views.person(session, person_id))


@router.post("/people/{person_id}/name")
def rename(
    request: Request, steward: Steward, session: WriteSession, person_id: int, form: SentForm
) -> Response:
    """Give a person another name."""
    name = form.text("name")
    try:
        service.rename(session, steward, person_id, name, now())
    except Refused as refused:
        session.rollback()
        view = views.person(session, person_id, name=name, faults=refused.fields)
        return render(request, "people/person.html", view, status=refused.status)
    return done(request, f"/people/{person_id}", "Name stored.")


@router.post("/people/{person_id}/active")
def set_active(
    request: Request, steward: Steward, session: WriteSession, person_id: int, form: SentForm
) -> Response:
    """Keep a person out, or let them in again."""
    active = form.text("active") == "yes"
    try:
        found = service.set_active(session, steward, person_id, active, now())
    except Refused as refused:
        return _refused(request, session, person_id, refused)
    words = "may sign in again" if active else "is deactivated; sign-ins and tokens have ended"
    return done(request, f"/people/{person_id}", f"{found.name} {words}.")


@router.post("/people/{person_id}/safety")
def set_safety(
    request: Request, steward: Steward, session: WriteSession, person_id: int, form: SentForm
) -> Response:
    """Say that a person answers for safety, or does no longer."""
    given = form.text("safety") == "yes"
    try:
        found = service.set_safety(session, steward, person_id, given, now())
    except Refused as refused:
        return _refused(request, session, person_id, refused)
    words = "answers for safety now" if given else "answers for safety no longer"
    return done(request, f"/people/{person_id}", f"{found.name} {words}.")


@router.post("/people/{person_id}/steward")
def set_steward(
    request: Request, steward: Steward, session: WriteSession, person_id: int, form: SentForm
) -> Response:
    """Make a person steward, or take it from them."""
    given = form.text("steward") == "yes"
    try:
        found = service.set_steward(session, steward, person_id, given, now())
    except Refused as refused:
        return _refused(request, session, person_id, refused)
    return done(
        request, f"/people/{person_id}", f"{found.name} is {'now' if given else 'no longer'} steward."
    )


@router.post("/people/{person_id}/password-link")
def renew_password(request: Request, steward: Steward, session: WriteSession, person_id: int) -> Response:
    """Make a link for a new password and show it this once."""
    try:
        _whose, token = invitations.renew_password(
            session, steward, person_id, now(), _invitation_lasts(request)
        )
    except Refused as refused:
        return _refused(request, session, person_id, refused)
    view = views.person(session, person_id, link=_link(request, token))
    return _shown_once(render(request, "people/person.html", view, status=201))


@router.post("/people/{person_id}/tokens/{token_id}/revoke")
def revoke_token(
    request: Request, steward: Steward, session: WriteSession, person_id: int, token_id: int
) -> Response:
    """Make somebody's token worthless."""
    owner = service.person(session, person_id)
    row = api_tokens.revoke(session, steward, owner, token_id, now())
    return done(request, f"/people/{person_id}", f"Token “{row.name}” revoked.")


def _refused(request: Request, session: WriteSession, person_id: int, refused: Refused) -> Response:
    session.rollback()
    view = views.person(session, person_id, refused=refused.message)
    return render(request, "people/person.html", view, status=refused.status)


def _invitation_lasts(request: Request) -> timedelta:
    return timedelta(days=request.app.state.settings.invitation_days)


def _link(request: Request, token: str) -> str:
    return f"{request.base_url}invitation/{token}"


def _shown_once(answer: Response) -> Response:
    answer.headers["Cache-Control"] = "no-store"
    return answer
