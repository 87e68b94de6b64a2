"""The page on which one searches: by words, by day, by thing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request, Response

from server.cryostats import parts, searching
from server.cryostats.search_rules import LONGEST, words_in
from server.cryostats.searching import Hit, OnDay
from server.db import ReadSession
from server.people.guards import CurrentPerson
from server.web.render import render

router = APIRouter(prefix="/search")


@dataclass(frozen=True)
class SearchView:
    """What was searched for, and what was found."""

    words: str
    day: date | None
    typed_day: str
    hits: tuple[Hit, ...]
    days: tuple[OnDay, ...]
    things: Sequence[tuple[str, str]]
    faults: dict[str, str]

    @property
    def asked(self) -> bool:
        """True when there was something to look for."""
        return bool(self.words or self.typed_day)

    @property
    def at_most(self) -> bool:
        """True when there may be more than is shown."""
        return len(self.hits) >= searching.MOST_HITS


@router.get("")
def search(
    request: Request, _person: CurrentPerson, session: ReadSession, q: str = "", day: str = ""
) -> Response:
    """Look for words, and for what was inside on a day."""
    faults: dict[str, str] = {}
    words, typed = q.replace("\x00", "").strip()[:LONGEST], day.strip()[:20]
    chosen = _day(typed, faults)
    if words and not words_in(words):
        faults["q"] = "Enter at least one word of letters or digits"
    view = SearchView(
        words=words,
        day=chosen,
        typed_day=typed,
        hits=searching.by_words(session, words),
        days=searching.on_day(session, chosen, request.state.laboratory.zone) if chosen else (),
        things=[(row.tag, f"{row.tag}: {row.name}") for row in parts.listed(session)],
        faults=faults,
    )
    return render(request, "cryostats/search.html", view, status=422 if faults else 200)


def _day(text: str, faults: dict[str, str]) -> date | None:
    try:
        found = date.fromisoformat(text) if text else None
    except ValueError:
        found = None
    if text and (found is None or not 1970 <= found.year <= 9000):
        faults["day"] = "Enter a day such as 2026-03-14"
        return None
    return found
