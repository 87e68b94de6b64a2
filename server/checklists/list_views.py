"""What the page of one list shows: its versions, its lines, and for the steward the form."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cautions import service as cautions
from server.checklists import lists
from server.checklists.forms import typed
from server.checklists.lines import EACH, RECORDS, SPRINGS, Line
from server.checklists.models import ListVersion
from server.checklists.own_words import GATES
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.remarks import THREADS
from server.cryostats.rules import STEWARD
from server.people.models import Person

NEW_LINES = 2
"""Empty lines at the end of the form, to be filled or left."""


@dataclass(frozen=True)
class LineForm:
    """One line of the list with what its fields hold."""

    number: int
    line: Line
    fields: Mapping[str, str]
    may_gate: bool
    new: bool


@dataclass(frozen=True)
class ListView:
    """The page of one list of a cryostat."""

    cryostat: Cryostat
    key: str
    title: str
    when: str
    version: ListVersion
    versions: Sequence[ListVersion]
    newest: bool
    lines: Sequence[LineForm]
    may_alter: bool
    reason: str
    faults: Mapping[str, str]
    cautions: Sequence[tuple[str, str]]
    records: Sequence[tuple[str, str]] = tuple(RECORDS.items())
    each: Sequence[tuple[str, str]] = tuple(EACH.items())
    threads: Sequence[tuple[str, str]] = (("", "not said"), *((name, name) for name in THREADS.values()))

    @property
    def record_words(self) -> Mapping[str, str]:
        """What each kind of record is called, shortly."""
        return {**RECORDS, SPRINGS: "n of n, right way up"}


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    list_key: str,
    number: int | None = None,
    *,
    lines: Sequence[Line] | None = None,
    reason: str = "",
    faults: Mapping[str, str] | None = None,
) -> ListView:
    """One list at its newest version, or at `number`; with `lines` as somebody wants them."""
    own, version = lists.about(list_key), lists.newest(session, cryostat, list_key)
    versions = lists.versions(session, cryostat, list_key) or [version]
    shown = next((row for row in versions if row.number == number), version)
    newest = shown.number == version.number
    alters = newest and guards.grade_of(session, person, cryostat) >= STEWARD
    return ListView(
        cryostat=cryostat,
        key=list_key,
        title=own.title,
        when=own.when,
        version=shown,
        versions=versions,
        newest=newest,
        lines=_forms(list_key, lists.lines_of(shown) if lines is None else lines, alters),
        may_alter=alters,
        reason=reason,
        faults=faults or {},
        cautions=[(card.code, f"{card.code} {card.title}") for card in cautions.every(session)],
    )


def _forms(list_key: str, lines: Sequence[Line], alters: bool) -> list[LineForm]:
    gates = GATES.get(list_key, ())
    found = [
        LineForm(number, line, typed(line, number + 1), line.key in gates, False)
        for number, line in enumerate(lines)
    ]
    if alters:
        blank = Line("", "")
        empty = range(len(lines), len(lines) + NEW_LINES)
        found += [LineForm(number, blank, typed(blank, number + 1), False, True) for number in empty]
    return found
