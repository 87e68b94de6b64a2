"""What the page of one list shows: its versions, its lines, and for the steward the form."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from server.cautions import service as cautions
from server.checklists import lists, service
from server.checklists.forms import typed
from server.checklists.lines import EACH, RECORDS, SPRINGS, Line
from server.checklists.lists import Wanted
from server.checklists.models import ListVersion
from server.checklists.own_words import GATES
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.remarks import THREADS
from server.cryostats.rules import STEWARD
from server.people.models import Person

IDLE = timedelta(days=730)
"""After two years without a failure a line is asked about (common practice, no source)."""
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
    failed_at: datetime | None
    idle: bool
    """True when nobody found it not right in two years of going through it: is it still worth a line?"""


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
    now: datetime,
    number: int | None = None,
    *,
    wanted: Wanted | None = None,
    faults: Mapping[str, str] | None = None,
) -> ListView:
    """One list at its newest version, or at `number`; with `wanted` as somebody typed it."""
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
        lines=_forms(
            list_key,
            wanted.lines if wanted else lists.lines_of(shown),
            alters,
            _past(session, cryostat, list_key, now),
        ),
        may_alter=alters,
        reason=wanted.reason if wanted else "",
        faults=faults or {},
        cautions=[(card.code, f"{card.code} {card.title}") for card in cautions.every(session)],
    )


@dataclass(frozen=True)
class _Past:
    """What going through a list has shown so far."""

    failed: Mapping[str, datetime]
    begun: datetime | None
    now: datetime

    def idle(self, key: str) -> bool:
        """True for a line that nobody found not right for long, in a list gone through for as long."""
        since = self.failed.get(key, self.begun)
        return since is not None and self.now - since > IDLE


def _past(session: Session, cryostat: Cryostat, list_key: str, now: datetime) -> _Past:
    failed = service.last_failed(session, cryostat, list_key)
    return _Past(failed, service.first_begun(session, cryostat, list_key), now)


def _forms(list_key: str, lines: Sequence[Line], alters: bool, past: _Past) -> list[LineForm]:
    gates = GATES.get(list_key, ())
    found = [
        LineForm(
            number=number,
            line=line,
            fields=typed(line, number + 1),
            may_gate=line.key in gates,
            new=False,
            failed_at=past.failed.get(line.key),
            idle=past.idle(line.key),
        )
        for number, line in enumerate(lines)
    ]
    if alters:
        blank = Line("", "")
        empty = range(len(lines), len(lines) + NEW_LINES)
        found += [
            LineForm(number, blank, typed(blank, number + 1), False, True, None, False) for number in empty
        ]
    return found
