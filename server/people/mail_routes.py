"""One's own address for letters, and the outbox as a steward sees it."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.mail import outbox, rules
from server.mail.models import Letter
from server.people import mailing
from server.people.guards import CurrentPerson, Steward
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "people/mail.html"


@dataclass(frozen=True)
class MailView:
    """Somebody's address, and whether this server sends letters at all."""

    address: str
    sends: bool
    fault: str = ""


@dataclass(frozen=True)
class OutboxView:
    """The newest letters, without their text."""

    letters: Sequence[Letter]
    sends: bool

    def words(self, letter: Letter) -> str:
        """Where a letter stands."""
        return rules.WORDS[letter.state]


@router.get("/account/mail")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """One's own address."""
    view = MailView(mailing.address_of(session, person.id or 0), bool(request.app.state.settings.mail_host))
    return render(request, PAGE, view)


@router.post("/account/mail")
def store(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Store it."""
    address = form.text("address")
    try:
        mailing.set_address(session, person, address, now())
    except Refused as refused:
        session.rollback()
        view = MailView(address, bool(request.app.state.settings.mail_host), refused.fields["address"])
        return render(request, PAGE, view, status=422)
    return done(request, "/account/mail", "Stored." if address else "You get no letters any more.")


@router.get("/people/outbox")
def show_outbox(request: Request, _person: Steward, session: ReadSession) -> Response:
    """The newest letters and what became of them."""
    view = OutboxView(outbox.newest(session), bool(request.app.state.settings.mail_host))
    return render(request, "people/outbox.html", view)
