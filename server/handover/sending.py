"""A book made now, and its archive as an answer."""

import tempfile
from collections.abc import Sequence
from pathlib import Path

from fastapi import Request, Response
from fastapi.responses import FileResponse
from sqlmodel import Session
from starlette.background import BackgroundTask

from server.cryostats.models import Cryostat
from server.db import now
from server.handover import book, packing
from server.handover.book import Book
from server.handover.rules import Clock
from server.laboratory import service as laboratory

SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}


def book_of(session: Session, benches: Sequence[Cryostat]) -> Book:
    """The book of these cryostats as it stands now."""
    return book.of(session, benches, Clock(now(), laboratory.get(session).zone))


def archive(request: Request, session: Session, benches: Sequence[Cryostat]) -> Response:
    """The archive as an answer; its file is gone once it was sent, or could not be made."""
    made = book_of(session, benches)
    with tempfile.NamedTemporaryFile(suffix=".zip", delete=False) as kept:
        at = Path(kept.name)
    try:
        packing.write(session, made, request.app.state.settings.home, at)
    except BaseException:
        at.unlink()
        raise
    return FileResponse(
        at,
        media_type="application/zip",
        filename=f"handover-{made.reference}.zip",
        headers=SHUT_IN | {"Cache-Control": "no-store"},
        background=BackgroundTask(at.unlink),
    )
