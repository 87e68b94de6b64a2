"""The JSON face of going in and out: a configuration as a document, and one brought in as a change."""

from typing import Annotated, Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from server.cryostats import api, contents, draft_api, drafts, exchange, guards, incoming, service
from server.cryostats.api import REFUSALS, At, ChangeIn, ChangeOut
from server.cryostats.documents import written
from server.cryostats.draft_api import NewDraftIn, WholeDraftOut
from server.cryostats.rules import OPEN, OPERATE
from server.db import ReadSession, WriteSession
from server.errors import Conflict
from server.materials import service as materials
from server.people.guards import ApiPerson

router = APIRouter(tags=["cryostats"])


class DocumentIn(BaseModel):
    """A document to make the configuration of; with `take_others` what it does not name is taken out."""

    model_config = ConfigDict(extra="forbid")

    reason: str
    base_revision: Annotated[int, Field(ge=0)]
    document: dict[str, Any]
    take_others: bool = False


class DraftDocumentIn(DocumentIn):
    """A document to make a draft of; `parties` are keys of people who must each say yes."""

    name: str
    parties: list[Annotated[int, Field(ge=0, le=2**31 - 1)]] = []


@router.get("/cryostats/{slug}/document", responses=REFUSALS)
def document(slug: str, _person: ApiPerson, session: ReadSession, revision: At = None) -> dict[str, Any]:
    """The document of a revision, as `coldstead schema` describes it and `coldstead heat` reads it."""
    cryostat = guards.find(session, slug)
    number = cryostat.revision if revision is None else revision
    if number:
        service.revision(session, cryostat, number)
    return exchange.document_of(session, cryostat, contents.elements(session, cryostat, number))


@router.get("/drafts/{number}/document", responses=REFUSALS)
def draft(number: int, _person: ApiPerson, session: ReadSession) -> dict[str, Any]:
    """The document of what would be inside, were the draft's newest version built on its own base."""
    sheet = drafts.find(session, number)
    elements = drafts.intended(session, sheet.cryostat, sheet.version)
    return exchange.document_of(session, sheet.cryostat, elements)


@router.post("/cryostats/{slug}/document", status_code=201, responses=REFUSALS, response_model=ChangeOut)
def bring_in(
    slug: str, sent: DocumentIn, person: ApiPerson, session: WriteSession
) -> ChangeOut | JSONResponse:
    """Log what differs between a document and what is inside, as one change: all of it, or nothing."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    found = incoming.of_document(sent.document, own=materials.in_force(session))
    change = exchange.change_from(session, cryostat, found, sent.reason, take_others=sent.take_others)
    rows = [written(put) for put in change.put]
    wanted = ChangeIn(
        reason=sent.reason, base_revision=sent.base_revision, put=rows, remove=list(change.remove)
    )
    return api.changes(slug, wanted, person, session)


@router.post("/cryostats/{slug}/document/drafts", status_code=201, responses=REFUSALS)
def bring_in_as_a_draft(
    slug: str, sent: DraftDocumentIn, person: ApiPerson, session: WriteSession
) -> WholeDraftOut:
    """Draw what differs between a document and what is inside, as a draft: all of it, or nothing."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    if sent.base_revision != cryostat.revision:
        raise Conflict(
            f"{cryostat.name} is at revision {cryostat.revision} now; look at it, then send again."
        )
    found = incoming.of_document(sent.document, own=materials.in_force(session))
    change = exchange.change_from(session, cryostat, found, sent.reason, take_others=sent.take_others)
    wanted = NewDraftIn(
        name=sent.name,
        reason=sent.reason,
        base_revision=cryostat.revision,
        put=[written(put) for put in change.put],
        remove=list(change.remove),
        parties=sent.parties,
    )
    return draft_api.make(slug, wanted, person, session)
