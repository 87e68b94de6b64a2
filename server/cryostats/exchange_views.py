"""What the page of going in and out shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cryostats import budget, contents, guards, wire_list
from server.cryostats.incoming import BadFile, Fault
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, OPERATE, Put
from server.errors import Refused
from server.materials import service as materials
from server.people.models import Person
from server.web.forms import Form


@dataclass(frozen=True)
class ExchangeView:
    """Files of a revision to take out, and the form to bring one in, with what was to mend in the last."""

    cryostat: Cryostat
    number: int
    elements: int
    runs: int
    has_cooler: bool
    own: tuple[str, ...]
    """Materials of this laboratory that the elements name and no other program knows."""
    may_draw: bool
    may_change: bool
    reason: str
    text: str
    take_others: bool
    faults: Mapping[str, str]
    in_file: tuple[Fault, ...]
    left_out: int


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    number: int,
    form: Form | None = None,
    refused: Refused | None = None,
) -> ExchangeView:
    """The page, as it is or as somebody sent it."""
    elements = contents.elements(session, cryostat, number)
    form = form or Form([])
    grade = guards.grade_of(session, person, cryostat)
    bad = refused if isinstance(refused, BadFile) else None
    faults = {"file": refused.message} if bad and refused else refused.fields if refused else {}
    return ExchangeView(
        cryostat=cryostat,
        number=number,
        elements=len(elements),
        runs=len(wire_list.runs(elements.values())),
        has_cooler=budget.cooler(session, cryostat) is not None,
        own=_own(elements, materials.names(session)),
        may_draw=grade >= OPERATE,
        may_change=grade >= OPEN,
        reason=form.text("reason"),
        text=form.text("text"),
        take_others=form.has("take_others"),
        faults=faults,
        in_file=tuple(bad.faults) if bad else (),
        left_out=bad.left_out if bad else 0,
    )


def _own(elements: Mapping[str, Put], names: Sequence[str]) -> tuple[str, ...]:
    named = {value for put in elements.values() for value in put.data.values() if isinstance(value, str)}
    return tuple(name for name in names if name in named)
