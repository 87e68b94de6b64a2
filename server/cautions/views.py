"""What the pages of the cards show, as typed views."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from server.cautions import service
from server.cautions.models import Card
from server.cautions.rules import overdue
from server.errors import Refused
from server.history import service as history
from server.history.models import Entry
from server.people.models import Person
from server.web.forms import Form


@dataclass(frozen=True)
class CardsView:
    """All cards, each with whether its review is overdue."""

    rows: Sequence[tuple[Card, bool]]


def cards(session: Session, today: date) -> CardsView:
    """All cards as they are."""
    return CardsView([(card, overdue(card.review_on, today)) for card in service.every(session)])


@dataclass(frozen=True)
class CardView:
    """One card, and for a steward the form of its local part."""

    card: Card
    overdue: bool
    may_alter: bool
    local_text: str
    owner: str
    review_on: str
    faults: dict[str, str]
    record: Sequence[Entry]


def card(
    session: Session,
    person: Person,
    code: str,
    today: date,
    form: Form | None = None,
    refused: Refused | None = None,
) -> CardView:
    """One card as it is, with what somebody typed and has to mend; NotFound."""
    found = service.card(session, code)
    kept = {
        "local_text": found.local_text,
        "owner": found.owner,
        "review_on": found.review_on.isoformat() if found.review_on else "",
    }
    shown = {name: form.text(name) if form else value for name, value in kept.items()}
    return CardView(
        card=found,
        overdue=overdue(found.review_on, today),
        may_alter=person.steward,
        faults=refused.fields if refused else {},
        record=history.of(session, service.subject(code), limit=50),
        **shown,
    )
