"""Cards in the database."""

from datetime import UTC, date, datetime

import pytest
from sqlmodel import Session, select

from server.cautions import service
from server.cautions.forms import Local
from server.cautions.models import Card
from server.errors import NotFound, Refused
from server.history import service as history
from server.people.service import CommandLine

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
HERE = Local("Extraction arm at the left bench.", "The steward", date(2027, 3, 1))


def test_laying_out_twice_is_as_good_as_once(session: Session) -> None:
    service.seed(session)
    service.seed(session)
    assert len(session.exec(select(Card)).all()) == 20


def test_laying_out_again_brings_new_words_and_keeps_local_ones(session: Session) -> None:
    service.seed(session)
    service.alter(session, CommandLine(), "S12", HERE, AT)
    row = session.exec(select(Card).where(Card.code == "S12")).one()
    row.words = "Words of an earlier version."
    service.seed(session)
    assert row.words.startswith("Draw off the fume")
    assert (row.local_text, row.owner, row.review_on) == (HERE.local_text, HERE.owner, HERE.review_on)


def test_cards_come_in_the_order_asked_for_and_each_once(session: Session) -> None:
    service.seed(session)
    found = service.for_codes(session, ["S10", "S08", "S10"])
    assert [card.code for card in found] == ["S10", "S08"]


def test_no_codes_bring_no_cards(session: Session) -> None:
    assert service.for_codes(session, []) == []


def test_a_card_that_was_not_laid_out_is_shown_all_the_same(session: Session) -> None:
    """A caution must not be missing because somebody forgot a step."""
    assert service.for_codes(session, ["S10"])[0].words.startswith("Use parts as they were supplied")
    assert session.exec(select(Card)).all() == []


def test_a_code_there_is_no_card_for_is_not_found(session: Session) -> None:
    with pytest.raises(NotFound, match="S99"):
        service.for_codes(session, ["S01", "S99"])


def test_local_words_stand_after_the_words_of_the_card(session: Session) -> None:
    before = service.card(session, "S12").text
    altered = service.alter(session, CommandLine(), "S12", HERE, AT)
    assert altered.text == f"{before} Here: {HERE.local_text}"


def test_what_stood_on_a_card_before_is_in_the_history(session: Session) -> None:
    service.seed(session)
    service.alter(session, CommandLine(), "S12", HERE, AT)
    service.alter(session, CommandLine(), "S12", Local("", "", None), AT)
    session.flush()
    newest, first = history.of(session, service.subject("S12"))
    assert newest.detail["before"] == {
        "local_text": HERE.local_text,
        "owner": HERE.owner,
        "review_on": "2027-03-01",
    }
    assert (first.person_name, first.what) == ("command line", "Card S12 altered")


def test_a_card_is_not_stored_against_the_rules(session: Session) -> None:
    with pytest.raises(Refused):
        service.alter(session, CommandLine(), "S12", Local("", "The steward", None), AT)
