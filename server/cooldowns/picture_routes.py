"""Photographs of a cooldown: files decoded before the write session opens."""

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from server.cooldowns import pictures, service, views
from server.cooldowns.pictures import MOST_AT_ONCE, Sent
from server.cooldowns.views import Trouble
from server.cryostats import guards
from server.cryostats.rules import OPERATE
from server.db import WriteSession, now, reading
from server.errors import Refused
from server.files import pictures as files
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/cooldowns/{number}")


def prepared(request: Request, slug: str, number: int, person: CurrentPerson, sent: SentUpload) -> Sent:
    """Decode what was sent while anybody else can still write."""
    with reading(request.app.state.engine) as session:
        cryostat = guards.find(session, slug)
        guards.need(session, person, cryostat, OPERATE)
        service.find(session, cryostat, number)
    uploads = sent.under("files")
    if len(uploads) > MOST_AT_ONCE:
        return Sent(sent.form.text("caption"), (), {"files": f"Send at most {MOST_AT_ONCE} files at once"})
    found, wrong = [], []
    for upload in uploads:
        try:
            found.append((upload.name, files.clean(upload.content, documents=False)))
        except Refused as refused:
            wrong.append(f"{upload.name or 'The file'}: {refused.message}")
    return Sent(sent.form.text("caption"), found, {"files": " ".join(wrong)} if wrong else {})


@router.post("/photographs")
def add(
    request: Request,
    slug: str,
    number: int,
    person: CurrentPerson,
    sent: Annotated[Sent, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Put photographs in: all of the form, or nothing."""
    home: Path = request.app.state.settings.home
    at = now()
    try:
        counted = pictures.add(session, person, slug, number, sent, home, at)
    except Refused as refused:
        session.rollback()
        sheet = service.find(session, guards.find(session, slug), number)
        trouble = Trouble("photographs", refused.fields, {"caption": sent.caption})
        return render(
            request, "cooldowns/show.html", views.show(session, person, sheet, at, trouble), status=422
        )
    words = "1 photograph" if counted == 1 else f"{counted} photographs"
    return done(request, f"/cryostats/{slug}/cooldowns/{number}#photographs", f"{words} kept.")
