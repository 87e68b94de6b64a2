"""Photographs of what was done: labels, serial numbers, certificates. Never deleted."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cryostats import guards
from server.cryostats.photographs import LONGEST_CAPTION, MOST_AT_ONCE, Picture
from server.cryostats.rules import OPERATE
from server.errors import Refused
from server.files import service as files
from server.files.models import StoredFile
from server.maintenance import tasks
from server.maintenance.models import Task, TaskPhotograph
from server.people.models import Person


def add(
    session: Session,
    person: Person,
    place: tuple[str, int],
    caption: str,
    pictures: Sequence[Picture],
    home: Path,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> list[TaskPhotograph]:
    """Keep the pictures of the task at `place` (cryostat, number), all of them or none."""
    task, cryostat = tasks.find(session, *place)
    guards.need(session, person, cryostat, OPERATE)
    wrong = dict(unread or {})
    if not pictures and "files" not in wrong:
        wrong["files"] = "Choose at least one file"
    if len(pictures) > MOST_AT_ONCE:
        wrong["files"] = f"Send at most {MOST_AT_ONCE} files at once"
    if not caption.strip() or len(caption) > LONGEST_CAPTION:
        wrong["caption"] = "Enter what it shows, in a line or two"
    if wrong:
        raise Refused("Nothing was stored.", wrong)
    rows = []
    for picture in pictures:
        kept = files.keep(session, home, picture.cleaned, now)
        assert task.id is not None
        assert kept.id is not None
        rows.append(
            TaskPhotograph(
                task_id=task.id,
                file_id=kept.id,
                caption=caption.strip(),
                at=now,
                by_name=person.name,
                by_id=person.id,
            )
        )
    session.add_all(rows)
    tasks.note(session, person, cryostat, task, f"photograph: {caption.strip()}", now)
    session.flush()
    return rows


def of_task(session: Session, task: Task) -> Sequence[tuple[TaskPhotograph, StoredFile]]:
    """Its photographs with their files, the oldest first."""
    query = (
        select(TaskPhotograph, StoredFile)
        .join(StoredFile, col(StoredFile.id) == TaskPhotograph.file_id)
        .where(TaskPhotograph.task_id == task.id)
    )
    return session.exec(query.order_by(col(TaskPhotograph.id))).all()
