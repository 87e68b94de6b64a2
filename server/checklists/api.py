"""The JSON face of checklists. Values are SI; a torque is N·m."""

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session

from server.checklists import lists, service
from server.checklists.lines import Line, as_json
from server.checklists.models import Answer, Checklist
from server.checklists.own_words import LISTS
from server.checklists.rules import standing_of
from server.checklists.service import Said
from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.cryostats.models import Cryostat
from server.db import ReadSession, WriteSession, now
from server.people.guards import ApiPerson

router = APIRouter(tags=["checklists"])
Whole = Annotated[int, Field(ge=0, le=9999)]


class StandingOut(BaseModel):
    """Where a checklist stands. `gate_open` false: some line holds something back; `reasons` say which."""

    answered: int
    failing: list[str]
    skipped: list[str]
    open_lines: list[str]
    gate_open: bool
    reasons: list[str]


class AnswerOut(BaseModel):
    """The answer of a line that counts, with the line's text as it was worded then."""

    text: str
    outcome: str
    record: dict[str, Any]
    words: str
    remarks: list[str]
    fault: int | None
    at: datetime
    by: str


class LineOut(BaseModel):
    """One line as it was worded when the list was begun. Limits and stated torque are SI."""

    key: str
    text: str
    why: str = ""
    record: str = "tick"
    unit: str = ""
    low: float | None = None
    high: float | None = None
    of: int | None = None
    thread: str = ""
    stated_N_m: float | None = None
    second: bool = False
    gate: bool = False
    cautions: list[str] = []
    element: str = ""
    part: str = ""
    answer: AnswerOut | None = None


class ChecklistOut(BaseModel):
    """One list gone through."""

    id: int
    cryostat: str
    list_key: str
    about: str
    revision: int
    begun_at: datetime
    begun_by: str
    standing: StandingOut
    lines: list[LineOut]


class ListOut(BaseModel):
    """One of the five lists, at the version that holds."""

    key: str
    title: str
    version: int
    lines: list[dict[str, Any]]


class ListsOut(BaseModel):
    """The lists of a cryostat, and the numbers of those gone through last."""

    cryostat: str
    lists: list[ListOut]
    checklists: list[int]


class StartIn(BaseModel):
    """Which list is begun, and what it belongs to."""

    model_config = ConfigDict(extra="forbid")

    list_key: str
    about: str = ""


class AnswerIn(BaseModel):
    """An answer; of the record what the line asks for: `value` in SI, `n` of `of`, `text`, `second`."""

    model_config = ConfigDict(extra="forbid")

    line: str
    outcome: Literal["done", "failed", "skipped"]
    words: str = ""
    value: Annotated[float | None, Field(allow_inf_nan=False)] = None
    n: Whole | None = None
    of: Whole | None = None
    right_way_up: bool | None = None
    text: str = ""
    second: str = ""


@router.get("/cryostats/{slug}/checklists", responses=REFUSALS)
def index(slug: str, _person: ApiPerson, session: ReadSession) -> ListsOut:
    """The five lists as they hold now, and what was gone through."""
    cryostat = guards.find(session, slug)
    rows = []
    for key, own in LISTS.items():
        version = lists.newest(session, cryostat, key)
        rows.append(ListOut(key=key, title=own.title, version=version.number, lines=version.lines))
    numbers = [row.id or 0 for row in service.of_cryostat(session, cryostat, 100)]
    return ListsOut(cryostat=slug, lists=rows, checklists=numbers)


@router.post("/cryostats/{slug}/checklists", status_code=201, responses=REFUSALS)
def start(slug: str, sent: StartIn, person: ApiPerson, session: WriteSession) -> ChecklistOut:
    """Begin a list."""
    cryostat = guards.find(session, slug)
    return _checklist(session, service.start(session, person, cryostat, sent.list_key, sent.about, now()))


@router.get("/checklists/{number}", responses=REFUSALS)
def show(number: int, _person: ApiPerson, session: ReadSession) -> ChecklistOut:
    """One checklist with its lines, their answers, and where it stands."""
    return _checklist(session, service.find(session, number))


@router.post("/checklists/{number}/answers", status_code=201, responses=REFUSALS)
def answer(number: int, sent: AnswerIn, person: ApiPerson, session: WriteSession) -> AnswerOut:
    """Answer one line."""
    asked = sent.model_dump(exclude={"line", "outcome", "words"})
    record = {name: value for name, value in asked.items() if value not in (None, "")}
    said = Said(sent.outcome, record, sent.words)
    return _answer(service.answer(session, person, number, sent.line, said, now()))


def _checklist(session: Session, row: Checklist) -> ChecklistOut:
    assert row.id is not None
    lines, answers = service.lines_of(row), service.answers(session, [row.id])[row.id]
    stands = standing_of(row.list_key, lines, answers)
    return ChecklistOut(
        id=row.id,
        cryostat=session.get_one(Cryostat, row.cryostat_id).slug,
        list_key=row.list_key,
        about=row.about,
        revision=row.revision,
        begun_at=row.at,
        begun_by=row.by_name,
        standing=StandingOut(
            answered=stands.answered,
            failing=list(stands.failing),
            skipped=list(stands.skipped),
            open_lines=list(stands.open_lines),
            gate_open=stands.gate_open,
            reasons=list(stands.reasons),
        ),
        lines=[_line(line, answers.get(line.key)) for line in lines],
    )


def _line(line: Line, found: Answer | None) -> LineOut:
    kept = {name: value for name, value in as_json(line).items() if name != "each"}
    return LineOut(**kept, answer=_answer(found) if found else None)


def _answer(row: Answer) -> AnswerOut:
    kept = row.model_dump(include={"text", "outcome", "record", "words", "remarks", "at"})
    return AnswerOut(**kept, fault=row.fault_id, by=row.by_name)
