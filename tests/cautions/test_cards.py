"""The words of the cards, and what the program never says."""

import ast
import re
from pathlib import Path

import pytest

from server.cautions.cards import CARDS, Words
from server.settings import HOUSE
from server.web.render import environment

DEFERS = "Local rules and your safety officer decide; this card reminds."
TEMPLATES = sorted((HOUSE / "templates").rglob("*.html"))
SOURCES = sorted((HOUSE / "server").rglob("*.py"))
CLAIM = re.compile(r"\b(un)?safe(ly|r|st)?\b", re.IGNORECASE)
"""“Safety officer” is a person; “safe” is a claim."""


def test_there_is_a_card_for_each_hazard_once() -> None:
    assert [card.code for card in CARDS] == [f"S{number:02}" for number in range(1, 21)]
    assert len({card.title for card in CARDS}) == len(CARDS)


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.code)
def test_a_card_says_what_to_do_and_where_it_belongs_and_is_read_at_a_glance(card: Words) -> None:
    assert card.words.endswith(".")
    assert 60 < len(card.words) < 320
    assert card.places
    assert card.title[0].islower(), "it follows the word Caution"


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.code)
def test_no_card_says_that_anything_is_safe(card: Words) -> None:
    assert not CLAIM.search(f"{card.title} {card.words} {card.places}")


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.relative_to(HOUSE).as_posix())
def test_no_page_says_that_anything_is_safe(path: Path) -> None:
    """The filter of that name would also let unescaped text through."""
    assert not CLAIM.search(path.read_text())


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(HOUSE).as_posix())
def test_no_message_of_the_program_says_that_anything_is_safe(path: Path) -> None:
    assert [text for text in _texts(ast.parse(path.read_text())) if CLAIM.search(text)] == []


def _texts(tree: ast.Module) -> list[str]:
    """Every text but the docstrings, which speak to those who read the code (of safe methods of HTTP)."""
    found = [
        node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [str(node.value) for node in found if id(node) not in alone]


def test_a_claim_is_seen_where_there_is_one() -> None:
    assert CLAIM.search("It is Safe to vent.")
    assert CLAIM.search("{{ words | safe }}")
    assert not CLAIM.search("your safety officer decides; use safeguards")
    assert _texts(ast.parse('"""It is safe."""\nline = "It is safe."')) == ["It is safe."]


def test_however_a_card_is_shown_the_last_it_says_is_who_decides() -> None:
    """Every page shows cards by this one macro."""
    card = {"code": "S01", "title": "t", "text": "w", "owner": "The steward", "review_on": "2027-03-01"}
    shown = environment().from_string("{{ ui.caution_card(card) }}").render(card=card)
    assert "The steward keeps this card; to be reviewed by 2027-03-01." in shown
    assert re.sub(r"<[^>]*>", "", shown).strip().endswith(DEFERS)
