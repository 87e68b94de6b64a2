"""Who is asking. A route that wants a person asks for one of these.

`CurrentPerson` for pages (by the cookie), `Steward` for pages of the steward, `ApiPerson` for the API (by a
bearer token). Each leaves `person` and `laboratory` in `request.state`, where pages find them.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from server.db import now, reading, writing
from server.errors import Forbidden, SignInNeeded
from server.laboratory import service as laboratory
from server.people import api_tokens, sign_ins
from server.people.models import Person

COOKIE = "coldstead_sign_in"
_bearer = HTTPBearer(auto_error=False, scheme_name="token", description="A token from the account page.")


def current_person(request: Request) -> Person:
    """Whoever is signed in in this browser; SignInNeeded.

    The session of this look ends before the route's own begins, so that no request holds two connections.
    """
    at = now()
    with reading(request.app.state.engine) as session:
        found = sign_ins.find(session, request.cookies.get(COOKIE, ""), at)
        if found is None:
            raise SignInNeeded("Nobody is signed in here, or the sign-in has ended.")
        row, person = found
        _remember(request, session, person)
    request.state.sign_in_id = row.id
    if at - row.seen_at >= sign_ins.SEEN_AGAIN:
        _write_down(request, lambda session: sign_ins.seen(session, row, at))
    return person


CurrentPerson = Annotated[Person, Depends(current_person)]


def steward(person: CurrentPerson) -> Person:
    """Whoever is signed in, if a steward; Forbidden."""
    if not person.steward:
        raise Forbidden("Only a steward may do this.")
    return person


Steward = Annotated[Person, Depends(steward)]


def api_person(
    request: Request, sent: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)]
) -> Person:
    """Whoever the bearer token belongs to; SignInNeeded."""
    at = now()
    with reading(request.app.state.engine) as session:
        found = api_tokens.find(session, sent.credentials) if sent else None
        if found is None:
            raise SignInNeeded("Send a token of yours that works: Authorization: Bearer coldstead_…")
        row, person = found
        _remember(request, session, person)
    if _aged(row.used_at, at):
        _write_down(request, lambda session: api_tokens.used(session, row, at))
    return person


ApiPerson = Annotated[Person, Depends(api_person)]


def _aged(last: datetime | None, at: datetime) -> bool:
    return last is None or at - last >= sign_ins.SEEN_AGAIN


def _remember(request: Request, session: Session, person: Person) -> None:
    request.state.person = person
    request.state.laboratory = laboratory.get(session)


def _write_down(request: Request, write: Callable[[Session], None]) -> None:
    """A note of use, which is let go when the database is busy with something that matters."""
    with suppress(OperationalError), writing(request.app.state.engine) as session:
        write(session)
        session.commit()
