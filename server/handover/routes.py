"""The hand-over book of the steward: to read, to print, and as plain files. It changes nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat
from server.db import ReadSession
from server.handover import sending
from server.people.guards import Steward
from server.web.render import render

router = APIRouter()


@dataclass(frozen=True)
class ChooseView:
    """Of what a book can be made."""

    cryostats: Sequence[Cryostat]


@router.get("/handover")
def choose(request: Request, _person: Steward, session: ReadSession) -> Response:
    """Which book, and which archive."""
    return render(request, "handover/index.html", ChooseView(instruments.all_of(session)))


@router.get("/handover/book")
def whole(request: Request, _person: Steward, session: ReadSession) -> Response:
    """The book of the laboratory with all its cryostats."""
    return render(request, "handover/book.html", sending.book_of(session, instruments.all_of(session)))


@router.get("/handover.zip")
def whole_archive(request: Request, _person: Steward, session: ReadSession) -> Response:
    """The same as plain files."""
    return sending.archive(request, session, instruments.all_of(session))


@router.get("/cryostats/{slug}/handover")
def one(request: Request, slug: str, _person: Steward, session: ReadSession) -> Response:
    """The book of one cryostat, with what the laboratory shares."""
    return render(request, "handover/book.html", sending.book_of(session, [guards.find(session, slug)]))


@router.get("/cryostats/{slug}/handover.zip")
def one_archive(request: Request, slug: str, _person: Steward, session: ReadSession) -> Response:
    """The same as plain files."""
    return sending.archive(request, session, [guards.find(session, slug)])
