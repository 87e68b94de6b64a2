"""The JSON face of drafts. SI throughout, elements as in a document."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from server.cryostats import draft_steps, drafts, guards, rules
from server.cryostats.api import REFUSALS, ChangeOut, change_out, stale
from server.cryostats.documents import put_of, written
from server.cryostats.draft_rules import APPROVED, ASKED, FREEZE, SENT_BACK, WITHDRAWN, Clash
from server.cryostats.draft_steps import Ask, Said
from server.cryostats.drafts import Drawn, Sheet
from server.cryostats.rules import Change, Difference, Put
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, NotFound
from server.people.guards import ApiPerson

router = APIRouter(tags=["drafts"])
Whole = Annotated[int, Field(ge=0, le=2**31 - 1)]


class PartyOut(BaseModel):
    """One of those who share a draft."""

    id: int
    name: str
    said_yes: bool


class DraftOut(BaseModel):
    """A draft as it stands."""

    id: int
    cryostat: str
    name: str
    house: bool
    by: str
    version: int
    stored_at: datetime
    state: str
    agreed_at: datetime | None
    build_on: date | None
    freeze_on: date | None
    conditions: str
    override: str
    parties: list[PartyOut]
    reason: str
    base_revision: int
    put: list[dict[str, Any]]
    remove: list[str]


class DifferenceOut(BaseModel):
    """What building it would change in what is inside now."""

    revision: int
    put: list[dict[str, Any]]
    remove: list[str]


class WholeDraftOut(DraftOut):
    """A draft with its budget and its difference to what is inside now."""

    budget: dict[str, Any]
    to_now: DifferenceOut
    conflicts: list[dict[str, Any]]


class DraftsOut(BaseModel):
    """The drafts of a cryostat."""

    drafts: list[DraftOut]


class DraftIn(BaseModel):
    """A draft as somebody wants it; `parties` are keys of people who must each say yes."""

    model_config = ConfigDict(extra="forbid")

    name: str
    reason: str
    base_revision: Whole
    put: list[dict[str, Any]] = []
    remove: list[str] = []
    parties: list[Whole] = []


class NewDraftIn(DraftIn):
    """A new draft; `house` makes it the cryostat's own."""

    house: bool = False


class VersionIn(DraftIn):
    """The next version; `version` is the one it was made from."""

    version: Whole


class StepIn(BaseModel):
    """What is said with a step; the days belong to asking, approving and freezing."""

    model_config = ConfigDict(extra="forbid")

    version: Whole
    note: str = ""
    build_on: date | None = None
    freeze_on: date | None = None
    override: str = ""


class BuildIn(BaseModel):
    """A wish to build. Each conflict needs a choice, made looking at `base_revision`."""

    model_config = ConfigDict(extra="forbid")

    version: Whole
    base_revision: Whole | None = None
    choices: dict[str, Literal["draft", "now"]] = {}
    reason: str = ""
    done_at: AwareDatetime | None = None


@router.get("/cryostats/{slug}/drafts", responses=REFUSALS)
def index(slug: str, _person: ApiPerson, session: ReadSession) -> DraftsOut:
    """Its drafts, the house draft first, then the newest."""
    rows = drafts.of_cryostat(session, guards.find(session, slug))
    return DraftsOut(drafts=[DraftOut(**_about(row)) for row in rows])


@router.post("/cryostats/{slug}/drafts", status_code=201, responses=REFUSALS)
def make(slug: str, sent: NewDraftIn, person: ApiPerson, session: WriteSession) -> WholeDraftOut:
    """Draw a draft."""
    drawn, faults = _drawn(sent, sent.house)
    return _whole(session, drafts.make(session, person, slug, drawn, now(), faults))


@router.get("/drafts/{number}", responses=REFUSALS)
def show(number: int, _person: ApiPerson, session: ReadSession) -> WholeDraftOut:
    """One draft, with its budget and its difference to now."""
    return _whole(session, drafts.find(session, number))


@router.put("/drafts/{number}", responses=REFUSALS)
def alter(number: int, sent: VersionIn, person: ApiPerson, session: WriteSession) -> WholeDraftOut:
    """Store the next version; it is asked for again."""
    drawn, faults = _drawn(sent, house=False)
    return _whole(session, drafts.alter(session, person, number, drawn, sent.version, now(), faults))


@router.post("/drafts/{number}/build", status_code=201, responses=REFUSALS, response_model=ChangeOut)
def build(number: int, sent: BuildIn, person: ApiPerson, session: WriteSession) -> ChangeOut | JSONResponse:
    """Make it a change on what is inside now."""
    ask = Ask(sent.version, sent.base_revision, sent.choices, sent.reason, sent.done_at)
    try:
        logged = draft_steps.build(session, person, number, ask, now())
    except Conflict as conflict:
        session.rollback()
        return _refusal(conflict)
    return change_out(drafts.find(session, number).cryostat.slug, logged)


STEPS = {
    "ask": ASKED,
    "yes": "yes",
    "approve": APPROVED,
    "freeze": FREEZE,
    "send-back": SENT_BACK,
    "withdraw": WITHDRAWN,
}


@router.post("/drafts/{number}/{step}", responses=REFUSALS)
def take(number: int, step: str, sent: StepIn, person: ApiPerson, session: WriteSession) -> WholeDraftOut:
    """Make a step: ask, yes, approve, freeze, send-back, withdraw."""
    if step not in STEPS:
        raise NotFound(f"A draft has no step “{step}”; it has {', '.join(STEPS)} and build.")
    said = Said(sent.note, sent.build_on, sent.freeze_on, sent.override)
    return _whole(session, draft_steps.take(session, person, number, STEPS[step], sent.version, said, now()))


def _refusal(conflict: Conflict) -> JSONResponse:
    if isinstance(conflict.current, list):
        return stale(conflict)
    rows = conflict.current if isinstance(conflict.current, tuple) else ()
    body = {"error": conflict.message, "fields": [], "conflicts": [_clash(row) for row in rows]}
    return JSONResponse(body, status_code=409)


def _clash(row: Clash) -> dict[str, Any]:
    states = {"base": row.base, "now": row.now, "draft": row.draft}
    return {"key": row.key} | {name: written(put) if put else None for name, put in states.items()}


def _drawn(sent: DraftIn, house: bool) -> tuple[Drawn, dict[str, str]]:
    puts: list[Put] = []
    faults: dict[str, str] = {}
    for number, row in enumerate(sent.put):
        put, wrong = put_of(row, f"put.{number}")
        puts.append(put)
        faults |= wrong
    change = Change(sent.reason, sent.base_revision, tuple(puts), tuple(sent.remove))
    return Drawn(sent.name, change, tuple(sent.parties), house), faults


def _about(sheet: Sheet) -> dict[str, Any]:
    draft, version, standing = sheet.draft, sheet.version, sheet.standing
    said_yes = {step.by_id for step in sheet.steps if step.version == version.number and step.what == "yes"}
    parties = [PartyOut(**row, said_yes=row["id"] in said_yes) for row in version.parties]
    return {
        **draft.model_dump(include={"id", "name", "house"}),
        **version.model_dump(include={"reason", "base_revision", "put", "remove"}),
        "cryostat": sheet.cryostat.slug,
        "by": draft.by_name,
        "version": version.number,
        "stored_at": version.at,
        "state": standing.state,
        "agreed_at": standing.agreed_at,
        "build_on": standing.build_on,
        "freeze_on": standing.freeze_on,
        "conditions": standing.conditions,
        "override": standing.override,
        "parties": parties,
    }


def _whole(session: ReadSession, sheet: Sheet) -> WholeDraftOut:
    difference = drafts.difference_to_now(session, sheet)
    return WholeDraftOut(
        **_about(sheet),
        budget=drafts.budget_of(session, sheet.version).data,
        to_now=_difference(sheet, difference),
        conflicts=[_clash(row) for row in drafts.clashes(session, sheet)],
    )


def _difference(sheet: Sheet, difference: Difference) -> DifferenceOut:
    return DifferenceOut(
        revision=sheet.cryostat.revision,
        put=[written(put) for put in rules.puts_of(difference)],
        remove=[put.key for put in difference.taken],
    )
