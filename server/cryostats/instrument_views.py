"""What the pages of the instruments show, as typed views."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cryostats import budget, cooler_form, guards, instruments
from server.cryostats.models import CoolerVersion, Cryostat, StateEntry
from server.cryostats.rules import GRADES, STAGES, STATES, STEWARD
from server.errors import Refused
from server.history import service as history
from server.history.models import Entry
from server.people.models import Person
from server.physics.statistics import Band
from server.units import show
from server.web.forms import Form

NO_FAULTS: Mapping[str, str] = {}


@dataclass(frozen=True)
class IndexRow:
    """One cryostat on the list."""

    cryostat: Cryostat
    state: StateEntry | None
    state_words: str
    coldest: str
    """The stage whose temperature is shown: the platform where there is one."""
    coldest_K: Band | None
    status: str
    lids: Sequence[tuple[str, str]]
    """Lid or window → its state."""


@dataclass(frozen=True)
class IndexView:
    """All cryostats."""

    rows: tuple[IndexRow, ...]
    may_make: bool


def index(session: Session, person: Person) -> IndexView:
    """The list, in a number of queries that does not grow with the cryostats."""
    states = instruments.states_now(session)
    budgets = budget.newest_of_all(session)
    open_things = budget.shutters_of_all(session)
    rows = [
        _index_row(row, states.get(row.id or 0), budgets.get(row.id or 0), open_things.get(row.id or 0, ()))
        for row in instruments.all_of(session)
    ]
    return IndexView(tuple(rows), person.steward)


def _index_row(
    row: Cryostat, state: StateEntry | None, found: budget.Brief | None, lids: Sequence[tuple[str, str]]
) -> IndexRow:
    coldest = "platform" if "platform" in row.stages else row.stages[-1]
    return IndexRow(
        cryostat=row,
        state=state,
        state_words=STATES[state.state] if state else "not entered yet",
        coldest=coldest,
        coldest_K=found.temperatures.get(coldest) if found else None,
        status=found.worst if found else "incomplete",
        lids=lids,
    )


@dataclass(frozen=True)
class DescribeView:
    """The form of a description."""

    cryostat: Cryostat | None
    name: str
    place: str
    stages: tuple[str, ...]
    limits: Mapping[str, str]
    vessel: str
    faults: Mapping[str, str] = field(default_factory=dict)
    every_stage: tuple[str, ...] = STAGES[1:]


def describing(cryostat: Cryostat | None, form: Form | None, refused: Refused | None = None) -> DescribeView:
    """The description as it is, or as somebody typed it."""
    if form is None and cryostat is not None:
        limits = {stage: show(limit_K, "K") for stage, limit_K in cryostat.limits_K.items()}
        stages = tuple(cryostat.stages[1:])
        return DescribeView(
            cryostat, cryostat.name, cryostat.place, stages, limits, show(cryostat.vessel_K, "K")
        )
    typed = form or Form([])
    return DescribeView(
        cryostat=cryostat,
        name=typed.text("name"),
        place=typed.text("place"),
        stages=tuple(typed.all("stages")) if refused else STAGES[1:],
        limits=typed.under("limit."),
        vessel=typed.text("vessel_K") or "295 K",
        faults=refused.fields if refused else NO_FAULTS,
    )


@dataclass(frozen=True)
class CoolerView:
    """The cooler's versions and the form for the next."""

    cryostat: Cryostat
    may_enter: bool
    versions: tuple[tuple[CoolerVersion, Sequence[tuple[str, str]], Sequence[Sequence[str]]], ...]
    """Each with its key facts and its points as rows of texts."""
    doubts: Mapping[int, Sequence[str]]
    """Version → what is unlikely in it."""
    form: cooler_form.CoolerForm
    faults: Mapping[str, str]


def cooler(
    session: Session, person: Person, cryostat: Cryostat, form: Form | None, refused: Refused | None = None
) -> CoolerView:
    """The cooler as it is known."""
    versions = instruments.cooler_versions(session, cryostat)
    return CoolerView(
        cryostat=cryostat,
        may_enter=person.steward,
        versions=tuple(
            (row, cooler_form.facts(row.data["cooler"]), cooler_form.points(row.data["cooler"]))
            for row in versions
        ),
        doubts={row.number: budget.cooler_doubts(cryostat, row.data) for row in versions},
        form=cooler_form.shown(form, cryostat, versions[0].data["cooler"] if versions else None),
        faults=cooler_form.cells(form, refused.fields) if refused and form else NO_FAULTS,
    )


@dataclass(frozen=True)
class GradesView:
    """Who may do what on one cryostat."""

    cryostat: Cryostat
    rows: Sequence[tuple[Person, int]]
    may_give: bool
    grades: tuple[tuple[int, str], ...] = tuple(
        (grade, f"{grade} · {word}") for grade, word in GRADES.items()
    )


def grades(session: Session, person: Person, cryostat: Cryostat) -> GradesView:
    """The list of people with their grade here."""
    may_give = guards.grade_of(session, person, cryostat) >= STEWARD
    return GradesView(cryostat, guards.grade_rows(session, cryostat), may_give)


@dataclass(frozen=True)
class HistoryView:
    """Everything anybody did to one cryostat, newest first."""

    cryostat: Cryostat
    entries: Sequence[Entry]


def record(session: Session, cryostat: Cryostat) -> HistoryView:
    """The append-only record of this cryostat."""
    return HistoryView(cryostat, history.of(session, instruments.subject(cryostat), limit=500))
