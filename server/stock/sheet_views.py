"""What the count sheet, the labels, the first set and the exchange of lists show, as typed views."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from server.people.models import Person
from server.stock import counting, guards
from server.stock.columns import HEAD
from server.stock.counting import AT_ONCE, Thing
from server.stock.models import Item
from server.stock.rules import shown
from server.stock.spec import Spec
from server.stock.starter import is_empty, starter

SHEETS = {"": f"The next {AT_ONCE}", "all": "Everything", "again": "To count again"}


@dataclass(frozen=True)
class CountView:
    """One sheet of things to count, by place."""

    places: Sequence[tuple[str, Sequence[Thing]]]
    number: int
    total: int
    again: int
    which: str
    key: str
    sheets: Mapping[str, str]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    may_move: bool
    once: str


def count(
    session: Session,
    person: Person,
    now: datetime,
    once: str,
    which: str = "",
    key: str = "",
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> CountView:
    """The things of one sheet; what was typed and has to be mended stays."""
    every = counting.things(session, now)
    shown_here = counting.sheet(every, which, key)
    if typed:
        # What somebody counted stays before them, whatever was counted elsewhere meanwhile.
        shown_here = [thing for thing in every if thing.field in typed]
    places: dict[str, list[Thing]] = {}
    for thing in sorted(shown_here, key=lambda thing: thing.place):
        places.setdefault(thing.place, []).append(thing)
    return CountView(
        places=list(places.items()),
        number=len(shown_here),
        total=len(every),
        again=sum(bool(thing.again) for thing in every),
        which=which if which in SHEETS else "",
        key=key,
        sheets=SHEETS,
        typed=typed or {},
        faults=faults or {},
        may_move=guards.may_move(session, person),
        once=once,
    )


@dataclass(frozen=True)
class LabelsView:
    """Items whose labels are to be printed."""

    items: Sequence[Item]
    choices: Sequence[tuple[str, str]]
    chosen: Sequence[str]


def labels(session: Session, keys: Sequence[str]) -> LabelsView:
    """The labels of these items, or of all."""
    every = session.exec(select(Item).where(col(Item.retired).is_(False)).order_by(Item.name)).all()
    wanted = [item for item in every if not keys or item.key in keys]
    return LabelsView(wanted, [(item.key, item.name) for item in every], keys)


@dataclass(frozen=True)
class StarterView:
    """The first set, to be ticked."""

    rows: Sequence[tuple[Spec, str]]
    ticked: Sequence[str]
    empty: bool
    faults: Mapping[str, str]


def first_set(
    session: Session, ticked: Sequence[str] | None = None, faults: Mapping[str, str] | None = None
) -> StarterView:
    """The first set, everything ticked unless somebody chose."""
    rows = [(row, _levels(row)) for row in starter()]
    chosen = [row.key for row in starter()] if ticked is None else ticked
    return StarterView(rows, chosen, is_empty(session), faults or {})


def _levels(row: Spec) -> str:
    if row.full is None:
        return ""
    return f"{shown(row.floor)} to {shown(row.full, row.unit)}"


@dataclass(frozen=True)
class ExchangeView:
    """Lists out, and the form of a list in."""

    columns: Sequence[str]
    steward: bool
    text: str
    faults: Mapping[str, str]


def exchange(person: Person, text: str = "", faults: Mapping[str, str] | None = None) -> ExchangeView:
    """The page of lists."""
    return ExchangeView(HEAD, person.steward, text, faults or {})
