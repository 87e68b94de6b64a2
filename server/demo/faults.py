"""The story's faults and checklists: two things somebody saw, and a list gone through before closing."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlmodel import Session

from server.checklists import service as checklists
from server.checklists.lines import COUNT, NUMBER, SPRINGS, TEXT, TORQUE, Line
from server.checklists.service import Said
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.faults import service as faults
from server.faults.rules import Step, Where
from server.people.models import Person

MINUTE = timedelta(minutes=1)


def tell(session: Session, people: Mapping[str, Person], at: datetime) -> None:
    """What was seen on one bench in the weeks before `at`, and its last list before closing."""
    cryostat = guards.find(session, "bench-a")
    steward, maren = people["quill"], people["maren"]
    where = Where("nitrogen rack")
    words = "The purge stood open over lunch; the door was open as well"
    faults.report(session, maren, cryostat.id, words, where, at - timedelta(days=47), "near-miss")
    _close(session, steward, cryostat, at - timedelta(days=46))  # the day before it was pumped and cooled
    seen = at - timedelta(days=20)
    hose = faults.report(
        session,
        maren,
        cryostat.id,
        "A line near 1.4 Hz at the sample; the spot walks when the compressor runs",
        Where("helium hose at the wall bracket"),
        seen,
        "disturbs",
    )
    number = hose.id or 0
    faults.add(
        session, steward, number, Step("I walk round", "looked-at", owner_login="quill"), seen + MINUTE
    )
    words = "The hose lies on the bracket"
    faults.cause_found(session, steward, number, "hose-contact", words, seen + 30 * MINUTE)
    mended = Step("Hose hung free, a loop clamped to the table; the line is gone", "mended")
    faults.add(session, steward, number, mended, seen + 50 * MINUTE)


def _close(session: Session, person: Person, cryostat: Cryostat, at: datetime) -> None:
    row = checklists.start(session, person, cryostat, "before-closing", "the opening of that week", at)
    for number, line in enumerate(checklists.lines_of(row), 1):
        said = Said("done", _record(line))
        if line.key == "coax":
            said = Said("skipped", {}, "The second clamp hides behind the mount; seen before that went in")
        elif line.key == "paper-gap":
            said = Said("failed", {}, "The strip catches at the window side")
        checklists.answer(session, person, row.id or 0, line.key, said, at + number * MINUTE)


def _record(line: Line) -> dict[str, object]:
    """What was written down at a line of this kind."""
    of = line.of or 4
    kept: dict[str, dict[str, object]] = {
        NUMBER: {"value": 820e3 if line.unit == "kohm" else 0.4},
        TORQUE: {"value": line.stated_N_m or 0.56},
        COUNT: {"n": of, "of": of},
        SPRINGS: {"n": of, "of": of, "right_way_up": True},
        TEXT: {"text": "as the order says"},
    }
    return kept.get(line.record, {}) | ({"second": "Maren Tolle"} if line.second else {})
