"""The sample and what carries it: whose, what, what hazard, how it is attached, and what became of it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from server.cryostats import contents, guards, rules
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, STEWARD, Put
from server.cryostats.samples_models import Sample, SampleStep
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.people.models import Person

ATTACH = {
    "varnish": "cryogenic varnish",
    "grease": "grease",
    "indium": "indium",
    "silver-paint": "silver paint",
    "epoxy": "epoxy",
    "clip": "clip",
    "other": "otherwise, see the note",
    "unknown": "unknown",
}
HARMLESS = "none-known"
HAZARDS = {
    HARMLESS: "none known",
    "toxic": "toxic, such as an arsenide",
    "powder": "powder",
    "nano": "nanomaterial",
    "unknown": "unknown",
}
APPROVED, TAKEN_OUT = "approved", "taken out"
LONGEST_LINE = 200
ONE_LINE = ("what", "if_breaks", "carrier", "mount")
LARGEST_KEY = 2**31 - 1
NOT_STORED = "The sample was not stored."


@dataclass(frozen=True)
class Described:
    """A sample as somebody enters it; `revision` is the one it has been inside since."""

    what: str
    owner_id: int
    hazard: str
    attach: str
    revision: int
    if_breaks: str = ""
    carrier: str = ""
    attached_on: date | None = None
    mount: str = ""
    note: str = ""


@dataclass(frozen=True)
class Inside:
    """A sample that is inside, with its owner and its approval."""

    sample: Sample
    owner_active: bool
    approval: SampleStep | None

    @property
    def needs_approval(self) -> bool:
        """True when its hazard asks for the steward's yes and there is none."""
        return self.sample.hazard != HARMLESS and self.approval is None


def inside(session: Session, cryostats: Iterable[Cryostat]) -> Mapping[int, tuple[Inside, ...]]:
    """Cryostat key → the samples in it, oldest first, for all of them in two queries."""
    keys = [row.id for row in cryostats]
    query = (
        select(Sample, Person.active)
        .join(Person, col(Person.id) == col(Sample.owner_id))
        .where(col(Sample.cryostat_id).in_(keys))
        .order_by(col(Sample.id))
    )
    rows = session.exec(query).all()
    steps = _steps(session, [row.id for row, _ in rows])
    found: dict[int, tuple[Inside, ...]] = {}
    for sample, active in rows:
        if (sample.id, TAKEN_OUT) not in steps:
            here = Inside(sample, active, steps.get((sample.id, APPROVED)))
            found[sample.cryostat_id] = (*found.get(sample.cryostat_id, ()), here)
    return found


def gone(session: Session, cryostat: Cryostat) -> Sequence[tuple[Sample, SampleStep]]:
    """The samples taken out, newest first."""
    query = (
        select(Sample, SampleStep)
        .join(SampleStep, col(SampleStep.sample_id) == col(Sample.id))
        .where(Sample.cryostat_id == cryostat.id, SampleStep.what == TAKEN_OUT)
    )
    return session.exec(query.order_by(col(SampleStep.id).desc()).limit(100)).all()


def _steps(session: Session, keys: Sequence[int | None]) -> dict[tuple[int | None, str], SampleStep]:
    query = select(SampleStep).where(col(SampleStep.sample_id).in_(keys))
    return {(row.sample_id, row.what): row for row in session.exec(query).all()}


def mounts(elements: Mapping[str, Put]) -> list[tuple[str, str]]:
    """Key and title of every joint a sample may sit on, as it is configured."""
    return [(put.key, put.title) for put in elements.values() if put.kind == "joint"]


def put_in(
    session: Session,
    person: Person,
    slug: str,
    said: Described,
    at: datetime,
    today: date,
    faults: Mapping[str, str] | None = None,
) -> Sample:
    """Write down a sample that is inside; `today` is the laboratory's day."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    known = 0 <= said.revision <= cryostat.revision
    ground = contents.elements(session, cryostat, said.revision if known else cryostat.revision)
    found = {} if known else {"revision": f"Enter a revision from 0 to {cryostat.revision}"}
    if said.attached_on is not None and said.attached_on > today:
        found["attached_on"] = "It was attached today or earlier"
    owner = checked(session, said, ground, found | dict(faults or {}))
    return enter(session, person, cryostat, said, owner, at)


def checked(
    session: Session, said: Described, ground: Mapping[str, Put], faults: Mapping[str, str]
) -> Person:
    """Whose sample it is; Refused with every fault at once."""
    owner = session.get(Person, said.owner_id) if 0 < said.owner_id <= LARGEST_KEY else None
    found = _faults(said, ground) | dict(faults)
    if owner is None:
        found["owner"] = "Choose whose it is"
    if found or owner is None:
        raise Refused(NOT_STORED, found)
    return owner


def enter(
    session: Session, person: Person, cryostat: Cryostat, said: Described, owner: Person, at: datetime
) -> Sample:
    """A sample that was checked, as inside since `said.revision`."""
    assert cryostat.id is not None
    row = Sample(
        cryostat_id=cryostat.id,
        revision=said.revision,
        at=at,
        by_name=person.name,
        by_id=person.id,
        **told(said, owner),
    )
    session.add(row)
    session.flush()
    line = f"Sample in: {row.what}, of {owner.name}"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, at)
    return row


def told(said: Described, owner: Person) -> dict[str, Any]:
    """What was said of a sample, as its columns have it."""
    texts = {name: getattr(said, name).strip() for name in (*ONE_LINE, "note")}
    kept = {name: getattr(said, name) for name in ("hazard", "attach", "attached_on")}
    return {**texts, **kept, "owner_id": owner.id, "owner_name": owner.name}


def _faults(said: Described, ground: Mapping[str, Put]) -> dict[str, str]:
    found: dict[str, str] = {}
    for name in ONE_LINE:
        found |= rules.text_faults(name, "it", getattr(said, name), LONGEST_LINE)
    found |= rules.text_faults("note", "the note", said.note, rules.LONGEST_NOTE)
    if not said.what.strip():
        found["what"] = "Enter what it is"
    if said.hazard not in HAZARDS:
        found["hazard"] = "Choose the hazard"
    elif said.hazard != HARMLESS and not said.if_breaks.strip():
        found["if_breaks"] = "Enter what is to be done if it breaks"
    if said.attach not in ATTACH:
        found["attach"] = "Choose how it is attached"
    if said.mount and said.mount not in dict(mounts(ground)):
        found["mount"] = "Choose one of the mount joints that are configured"
    return found


def need_in(session: Session, cryostat: Cryostat, number: int) -> None:
    """NotFound unless the sample is one of this cryostat's."""
    sample = session.get(Sample, number) if 0 < number <= LARGEST_KEY else None
    if sample is None or sample.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no sample {number}.")


def approve(session: Session, person: Person, number: int, note: str, at: datetime) -> SampleStep:
    """The steward has asked what it is and what happens if it breaks, and says yes."""
    return _step(session, person, number, APPROVED, note, at, STEWARD)


def take_out(session: Session, person: Person, number: int, note: str, at: datetime) -> SampleStep:
    """It is not inside any more."""
    return _step(session, person, number, TAKEN_OUT, note, at, OPEN)


def _step(
    session: Session, person: Person, number: int, what: str, note: str, at: datetime, grade: int
) -> SampleStep:
    sample = session.get(Sample, number) if 0 < number <= LARGEST_KEY else None
    if sample is None:
        raise NotFound(f"There is no sample {number}.")
    cryostat = session.get(Cryostat, sample.cryostat_id)
    assert cryostat is not None
    guards.find(session, cryostat.slug, lock=True)
    guards.need(session, person, cryostat, grade)
    found = rules.text_faults("note", "the note", note, rules.LONGEST_NOTE)
    if found:
        raise Refused("Nothing was stored.", found)
    done = _steps(session, [number])
    for past in (what, TAKEN_OUT):
        if (number, past) in done:
            raise Conflict(f"{sample.what} is {past} already, by {done[(number, past)].by_name}.")
    row = SampleStep(
        sample_id=number,
        what=what,
        note=note.strip(),
        revision=contents.revision_at(session, cryostat, at),
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    history.note(session, person, f"cryostat/{cryostat.slug}", f"Sample {what}: {sample.what}", at)
    return row
