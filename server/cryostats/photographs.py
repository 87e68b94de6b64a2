"""Photographs and drawings of a configuration: put in, looked at, marked withdrawn, never deleted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cryostats import contents, guards
from server.cryostats.models import Cryostat
from server.cryostats.photograph_models import Photograph, Withdrawal
from server.cryostats.rules import OPEN, STEWARD, Put
from server.errors import Forbidden, NotFound, Refused
from server.files import service as files
from server.files.models import StoredFile
from server.files.pictures import PDF, Clean, clean
from server.history import service as history
from server.people.models import Person
from server.physics import thermal

KINDS = {"photograph": "Photograph", "drawing": "Drawing"}
MOST_AT_ONCE = 8
LONGEST_CAPTION = 500


@dataclass(frozen=True)
class About:
    """What the pictures show: a revision, or one element of it, or one lag of that element."""

    revision: int
    kind: str = "photograph"
    caption: str = ""
    element_key: str = ""
    lag_stage: str = ""


@dataclass(frozen=True)
class Picture:
    """One file that may be kept, with the name it had where it came from."""

    name: str
    cleaned: Clean


@dataclass(frozen=True)
class Shown:
    """A photograph with its file, and why it was withdrawn where it was."""

    photograph: Photograph
    file: StoredFile
    withdrawal: Withdrawal | None

    @property
    def document(self) -> bool:
        """True for a PDF, of which there is nothing to show."""
        return self.file.media_type == PDF


def decoded(sent: Sequence[tuple[str, bytes]], *, documents: bool) -> tuple[tuple[Picture, ...], str]:
    """The files by name and content as they may be kept, and in words what is wrong with them, or nothing.

    Decoding takes seconds: do it before the write session opens.
    """
    if len(sent) > MOST_AT_ONCE:
        return (), f"Send at most {MOST_AT_ONCE} files at once"
    found, wrong = [], []
    for name, content in sent:
        try:
            found.append(Picture(name, clean(content, documents=documents)))
        except Refused as refused:
            wrong.append(f"{name or 'The file'}: {refused.message}")
    return tuple(found), " ".join(wrong)


def faults(cryostat: Cryostat, elements: Mapping[str, Put], about: About) -> dict[str, str]:
    """What the form gets wrong, field → what to do; `elements` are those of its revision."""
    found = {}
    if not 0 <= about.revision <= cryostat.revision:
        found["revision"] = f"Enter a revision from 0 to {cryostat.revision}"
    elif about.element_key and about.element_key not in elements:
        found["element"] = f"There is no element “{about.element_key}” in revision {about.revision}"
    if about.kind not in KINDS:
        found["kind"] = "Choose photograph or drawing"
    if not about.caption.strip():
        found["caption"] = "Enter what it shows"
    elif len(about.caption) > LONGEST_CAPTION:
        found["caption"] = f"Keep what it shows within {LONGEST_CAPTION} characters"
    return found | _lag_faults(cryostat, elements, about)


def _lag_faults(cryostat: Cryostat, elements: Mapping[str, Put], about: About) -> dict[str, str]:
    if not about.lag_stage:
        return {}
    if about.lag_stage not in cryostat.stages[1:]:
        return {"stage": f"Choose one of {', '.join(cryostat.stages[1:])}"}
    put = elements.get(about.element_key)
    if put is None:
        return {"stage": "Choose the run whose lag this is"}
    if thermal.KINDS[put.kind].dataclass is not thermal.Run:
        return {"stage": f"“{put.title}” has no lag; choose a wire, ribbon or coax"}
    return {}


def add(
    session: Session,
    person: Person,
    slug: str,
    about: About,
    pictures: Sequence[Picture],
    home: Path,
    at: datetime,
    found: Mapping[str, str] | None = None,
) -> list[Photograph]:
    """Keep the pictures, all of them or none. `found` is what was wrong with the files themselves.

    Forbidden below the grade that opens the cryostat; Refused with every field that is to be mended.
    """
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPEN)
    elements = contents.elements(session, cryostat, about.revision)
    wrong = faults(cryostat, elements, about) | dict(found or {})
    if not pictures and "files" not in wrong:
        wrong["files"] = "Choose at least one file"
    if wrong:
        raise Refused("Nothing was stored.", wrong)
    rows = [_row(session, person, cryostat, about, picture, home, at) for picture in pictures]
    session.add_all(rows)
    line = f"{_counted(about.kind, len(rows))} of {of_what(about)}: {about.caption.strip()}"
    detail = {"revision": about.revision, "files": [picture.name for picture in pictures]}
    history.note(session, person, f"cryostat/{slug}", line, at, detail)
    session.flush()
    return rows


def _row(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    about: About,
    picture: Picture,
    home: Path,
    at: datetime,
) -> Photograph:
    kept = files.keep(session, home, picture.cleaned, at)
    assert cryostat.id is not None
    assert kept.id is not None
    return Photograph(
        cryostat_id=cryostat.id,
        revision=about.revision,
        element_key=about.element_key or None,
        lag_stage=about.lag_stage or None,
        file_id=kept.id,
        kind=about.kind,
        caption=about.caption.strip(),
        sent_name=picture.name,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )


def of_what(about: About) -> str:
    """`revision 14`, `loom in revision 14`, `the lag of loom at the shield, revision 14`."""
    if about.lag_stage:
        return f"the lag of {about.element_key} at the {about.lag_stage}, revision {about.revision}"
    if about.element_key:
        return f"{about.element_key} in revision {about.revision}"
    return f"revision {about.revision}"


def _counted(kind: str, number: int) -> str:
    return KINDS[kind] if number == 1 else f"{number} {kind}s"


def withdraw(
    session: Session, person: Person, slug: str, photograph_id: int, reason: str, at: datetime
) -> Withdrawal:
    """Mark a photograph withdrawn, by whoever put it in or by a steward. It stays, and says why."""
    cryostat = guards.find(session, slug, lock=True)
    row = session.get(Photograph, photograph_id)
    if row is None or row.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such photograph.")
    if row.by_id != person.id and guards.grade_of(session, person, cryostat) < STEWARD:
        raise Forbidden(f"Only {row.by_name}, who put it in, or a steward may withdraw it.")
    if session.exec(select(Withdrawal).where(Withdrawal.photograph_id == photograph_id)).first():
        raise Refused("It is withdrawn already.")
    if not reason.strip() or len(reason) > LONGEST_CAPTION:
        raise Refused("It was not withdrawn.", {"reason": "Enter why it no longer counts, in a line or two"})
    withdrawn = Withdrawal(
        photograph_id=photograph_id, reason=reason.strip(), at=at, by_name=person.name, by_id=person.id
    )
    session.add(withdrawn)
    line = f"{KINDS[row.kind]} of revision {row.revision} withdrawn: {reason.strip()}"
    history.note(session, person, f"cryostat/{slug}", line, at, {"photograph": photograph_id})
    session.flush()
    return withdrawn


def of_cryostat(
    session: Session,
    cryostat: Cryostat,
    *,
    revision: int | None = None,
    element_key: str = "",
    before: int | None = None,
    limit: int = 60,
) -> list[Shown]:
    """The newest first; of one revision or one element where that is asked for; `before` is a key."""
    query = (
        select(Photograph, StoredFile, Withdrawal)
        .join(StoredFile, col(StoredFile.id) == Photograph.file_id)
        .join(Withdrawal, col(Withdrawal.photograph_id) == Photograph.id, isouter=True)
        .where(Photograph.cryostat_id == cryostat.id)
    )
    if revision is not None:
        query = query.where(Photograph.revision == revision)
    if element_key:
        query = query.where(Photograph.element_key == element_key)
    if before is not None:
        query = query.where(col(Photograph.id) < before)
    rows = session.exec(query.order_by(col(Photograph.id).desc()).limit(limit)).all()
    return [Shown(*row) for row in rows]
