"""Safety cards: laid out, found for a step of the work, given their local words."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cautions.cards import CARDS, Words
from server.cautions.forms import Local, faults
from server.cautions.models import Card
from server.errors import NotFound, Refused
from server.history import service as history

BY_CODE = {words.code: words for words in CARDS}


def seed(session: Session) -> None:
    """Bring every card of the program into the database, and its words up to date; local words stay."""
    present = {card.code: card for card in session.exec(select(Card)).all()}
    for words in CARDS:
        card = present.get(words.code) or _blank(words)
        card.title, card.words, card.places = words.title, words.words, words.places
        session.add(card)
    session.flush()


def every(session: Session) -> Sequence[Card]:
    """All cards, by code."""
    return for_codes(session, BY_CODE)


def for_codes(session: Session, codes: Iterable[str]) -> Sequence[Card]:
    """The cards with these codes, each once, in this order; NotFound for a code there is no card for.

    A card that was not laid out yet is shown with the program's own words rather than left away.
    """
    wanted = list(dict.fromkeys(codes))
    present = {row.code: row for row in session.exec(select(Card).where(col(Card.code).in_(wanted))).all()}
    return [present.get(code) or _blank(_words(code)) for code in wanted]


def card(session: Session, code: str) -> Card:
    """One card; NotFound."""
    return for_codes(session, [code])[0]


def _words(code: str) -> Words:
    found = BY_CODE.get(code)
    if found is None:
        raise NotFound(f"There is no caution “{code}”.")
    return found


def _blank(words: Words) -> Card:
    return Card(code=words.code, title=words.title, words=words.words, places=words.places)


def alter(session: Session, author: history.Author, code: str, local: Local, at: datetime) -> Card:
    """Store the laboratory's own words, owner and review date of a card; Refused with the fields to mend."""
    wrong = faults(local)
    if wrong:
        raise Refused("The card was not stored.", wrong)
    found = card(session, code)
    before = {
        "local_text": found.local_text,
        "owner": found.owner,
        "review_on": found.review_on.isoformat() if found.review_on else None,
    }
    found.local_text, found.owner, found.review_on = local.local_text, local.owner, local.review_on
    session.add(found)
    history.note(session, author, subject(code), f"Card {code} altered", at, {"before": before})
    return found


def subject(code: str) -> str:
    """Under which name the history keeps what concerns a card."""
    return f"caution/{code}"
