"""Finding by words in all that was written, and what was inside on a day."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from server.cryostats.dirt_models import DirtEntry
from server.cryostats.draft_models import Draft, DraftStep, DraftVersion
from server.cryostats.models import Cryostat, ElementRow, Revision
from server.cryostats.part_models import Part, PartEntry, PartLoan
from server.cryostats.port_models import ContinuityLine, ContinuityTest, PinEntry, Port
from server.cryostats.samples_models import Sample, SampleStep
from server.cryostats.search_models import INDEX
from server.cryostats.search_rules import (
    Done,
    for_postgresql,
    for_sqlite,
    in_force,
    out_of_order,
    span_of,
    words_in,
)
from server.history.models import Entry

MOST_HITS = 100
FIND = {
    "sqlite": f"SELECT source, row_id FROM {INDEX} WHERE {INDEX} MATCH :wanted ORDER BY rank LIMIT :most",  # noqa: S608
    "postgresql": (
        f"SELECT source, row_id FROM {INDEX} WHERE found @@ to_tsquery('simple', :wanted) "  # noqa: S608
        "ORDER BY ts_rank(found, to_tsquery('simple', :wanted)) DESC, row_id DESC LIMIT :most"
    ),
}


@dataclass(frozen=True)
class Hit:
    """One thing found: what kind of thing, its words, where it stands, and when it was written."""

    kind: str
    words: str
    place: str
    address: str
    at: datetime | None = None
    by: str = ""


@dataclass(frozen=True)
class OnDay:
    """What was in one cryostat on a day: at its beginning, at its end, and every step between."""

    cryostat: Cryostat
    first: int
    last: int
    steps: tuple[Revision, ...]
    late: tuple[int, ...] = ()
    """Revisions that were done later than one with a greater number: look at both."""


def by_words(session: Session, text: str) -> tuple[Hit, ...]:
    """What has every word of `text`, each as the beginning of a word, the best first."""
    words = words_in(text)
    if not words:
        return ()
    dialect = session.get_bind().dialect.name
    wanted = for_sqlite(words) if dialect == "sqlite" else for_postgresql(words)
    rows = session.execute(sa.text(FIND[dialect]), {"wanted": wanted, "most": MOST_HITS}).all()
    keys: dict[str, list[int]] = {}
    for source, row_id in rows:
        keys.setdefault(source, []).append(row_id)
    found = {(source, number): hit for source in keys for number, hit in HITS[source](session, keys[source])}
    return tuple(found[source, number] for source, number in rows if (source, number) in found)


Hits = list[tuple[int, Hit]]


def _cryostats(session: Session) -> Mapping[int, Cryostat]:
    return {row.id: row for row in session.exec(select(Cryostat)).all() if row.id is not None}


def _rows(session: Session, model: Any, keys: Sequence[int]) -> Sequence[Any]:
    return session.exec(select(model).where(col(model.id).in_(keys))).all()


def _elements(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    return [(row.id, _element(row, homes[row.cryostat_id])) for row in _rows(session, ElementRow, keys)]


def _element(row: ElementRow, home: Cryostat) -> Hit:
    words = f"{row.label or row.key}, {row.kind}{f'. {row.note}' if row.note else ''}"
    place = f"{home.name}, {_span(row.from_revision, row.to_revision)}"
    return Hit("element", words, place, f"/cryostats/{home.slug}/revisions/{row.from_revision}")


def _span(first: int, gone: int | None) -> str:
    """The revisions something was inside, `gone` being the first without it."""
    if gone is None:
        return f"from revision {first} on"
    return f"revision {first} only" if gone == first + 1 else f"revisions {first} to {gone - 1}"


def _revisions(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    found = []
    for row in _rows(session, Revision, keys):
        home = homes[row.cryostat_id]
        address = f"/cryostats/{home.slug}/revisions/{row.number}"
        hit = Hit(
            "change", row.reason, f"{home.name}, revision {row.number}", address, row.done_at, row.by_name
        )
        found.append((row.id, hit))
    return found


def _parts(session: Session, keys: Sequence[int]) -> Hits:
    return [
        (row.id, Hit("part", f"{row.name}, {row.kind}", f"part {row.tag}", f"/parts/{row.tag}"))
        for row in _rows(session, Part, keys)
    ]


def _part_entries(session: Session, keys: Sequence[int]) -> Hits:
    return _of_parts(session, PartEntry, keys, _part_entry)


def _part_entry(row: PartEntry) -> str:
    said = " ".join(words for words in (row.test, row.result, row.note) if words)
    return f"{row.what}: {said}" if said else row.what


def _loans(session: Session, keys: Sequence[int]) -> Hits:
    return _of_parts(session, PartLoan, keys, lambda row: f"lent to {row.to_whom}. {row.note}")


def _of_parts(session: Session, model: Any, keys: Sequence[int], words: Callable[[Any], str]) -> Hits:
    query = select(model, Part).join(Part, col(Part.id) == model.part_id).where(col(model.id).in_(keys))
    return [
        (row.id, Hit("part", words(row), f"part {part.tag}", f"/parts/{part.tag}", row.at, row.by_name))
        for row, part in session.exec(query).all()
    ]


def _dirt(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    found = []
    for row in _rows(session, DirtEntry, keys):
        home = homes[row.cryostat_id]
        place = f"{home.name}, entry {row.id}"
        address = f"/cryostats/{home.slug}/dirt?before={row.id + 1}"
        words = f"{row.what}. {row.note}"
        found.append((row.id, Hit("dirt and gas", words, place, address, row.done_at, row.by_name)))
    return found


def _tests(session: Session, keys: Sequence[int]) -> Hits:
    return [(row.id, _test(session, row, row.note)) for row in _rows(session, ContinuityTest, keys)]


def _test_lines(session: Session, keys: Sequence[int]) -> Hits:
    query = select(ContinuityLine, ContinuityTest).join(
        ContinuityTest, col(ContinuityTest.id) == col(ContinuityLine.test_id)
    )
    found = session.exec(query.where(col(ContinuityLine.id).in_(keys))).all()
    return [
        (row.id, _test(session, test, f"{row.port} {row.pin}: {row.line} {row.note}"))
        for row, test in found
        if row.id is not None
    ]


def _test(session: Session, test: ContinuityTest, words: str) -> Hit:
    home = session.get_one(Cryostat, test.cryostat_id)
    address = f"/cryostats/{home.slug}/ports/tests/{test.id}"
    return Hit("continuity", words, f"{home.name}, {test.on_day}", address, test.at, test.by_name)


def _pins(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    query = select(PinEntry, Port).join(Port, col(Port.id) == col(PinEntry.port_id))
    found: Hits = []
    for row, port in session.exec(query.where(col(PinEntry.id).in_(keys))).all():
        home = homes[port.cryostat_id]
        place = f"{home.name}, port {port.name}, pin {row.pin}"
        words = f"{row.line} {row.note}".strip()
        hit = Hit("pin", words, place, f"/cryostats/{home.slug}/ports", row.at, row.by_name)
        found.append((row.id or 0, hit))
    return found


def _draft_versions(session: Session, keys: Sequence[int]) -> Hits:
    found: Hits = []
    for row, draft, home in _of_drafts(session, DraftVersion, keys):
        address = f"/drafts/{draft.id}?version={row.number}"
        place = f"{home.name}, draft {draft.id}, version {row.number}"
        words = f"{draft.name}. {row.reason}"
        found.append((row.id, Hit("draft", words, place, address, row.at, row.by_name)))
    return found


def _draft_steps(session: Session, keys: Sequence[int]) -> Hits:
    found: Hits = []
    for row, draft, home in _of_drafts(session, DraftStep, keys):
        address = f"/drafts/{draft.id}?version={row.version}"
        place = f"{home.name}, draft {draft.id}, version {row.version}"
        words = f"{draft.name}, {row.what}: {row.note}"
        found.append((row.id, Hit("draft", words, place, address, row.at, row.by_name)))
    return found


def _of_drafts(session: Session, model: Any, keys: Sequence[int]) -> Sequence[Any]:
    query = (
        select(model, Draft, Cryostat)
        .join(Draft, col(Draft.id) == model.draft_id)
        .join(Cryostat, col(Cryostat.id) == Draft.cryostat_id)
    )
    return session.exec(query.where(col(model.id).in_(keys))).all()


def _samples(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    return [(row.id, _sample(row, homes[row.cryostat_id], row)) for row in _rows(session, Sample, keys)]


def _sample_steps(session: Session, keys: Sequence[int]) -> Hits:
    homes = _cryostats(session)
    query = select(SampleStep, Sample).join(Sample, col(Sample.id) == col(SampleStep.sample_id))
    rows = session.exec(query.where(col(SampleStep.id).in_(keys))).all()
    return [(row.id or 0, _sample(sample, homes[sample.cryostat_id], row)) for row, sample in rows]


def _sample(sample: Sample, home: Cryostat, row: Sample | SampleStep) -> Hit:
    told = f"{row.what}: {row.note}" if isinstance(row, SampleStep) else row.note
    words = f"{sample.what}, of {sample.owner_name}{f'. {told}' if told else ''}"
    place = f"{home.name}, revision {row.revision}"
    return Hit("sample", words, place, f"/cryostats/{home.slug}/samples", row.at, row.by_name)


def _record(session: Session, keys: Sequence[int]) -> Hits:
    """Lines of the record about a cryostat that are not found as a change or a draft already."""
    found = []
    for row in _rows(session, Entry, keys):
        kind, _, slug = row.subject.partition("/")
        if kind != "cryostat" or {"revision", "draft"} & row.detail.keys():
            continue
        address = f"/cryostats/{slug}/history"
        found.append((row.id, Hit("record", row.what, row.subject, address, row.at, row.person_name)))
    return found


HITS: Mapping[str, Callable[[Session, Sequence[int]], Hits]] = {
    "element": _elements,
    "revision": _revisions,
    "part": _parts,
    "part_entry": _part_entries,
    "part_loan": _loans,
    "dirt_entry": _dirt,
    "continuity_test": _tests,
    "continuity_line": _test_lines,
    "pin_entry": _pins,
    "history_entry": _record,
    "draft_version": _draft_versions,
    "draft_step": _draft_steps,
    "sample": _samples,
    "sample_step": _sample_steps,
}


def on_day(session: Session, day: date, zone: str) -> tuple[OnDay, ...]:
    """What was in each cryostat on `day`, as the laboratory counts days."""
    begins, ends = span_of(day, zone)
    query = select(Cryostat).order_by(Cryostat.name)
    return tuple(_on_day(session, cryostat, begins, ends) for cryostat in session.exec(query).all())


def _on_day(session: Session, cryostat: Cryostat, begins: datetime, ends: datetime) -> OnDay:
    query = select(Revision.number, Revision.done_at).where(Revision.cryostat_id == cryostat.id)
    done = [Done(number, done_at) for number, done_at in session.exec(query).all()]
    # The day is half open: what was done at the midnight that ends it is of the next.
    last_moment = ends - timedelta(microseconds=1)
    before, last = in_force(done, begins - timedelta(microseconds=1)), in_force(done, last_moment)
    steps = select(Revision).where(
        Revision.cryostat_id == cryostat.id,
        col(Revision.done_at) >= begins,
        col(Revision.done_at) < ends,
    )
    rows = session.exec(steps.order_by(col(Revision.done_at), col(Revision.number))).all()
    return OnDay(cryostat, before, last, tuple(rows), out_of_order(done, last, last_moment))
