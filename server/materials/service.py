"""The laboratory's own materials: entered, corrected by a new version, found beside the program's own."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, func, select

from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.materials import rules
from server.materials.forms import NOT_STORED
from server.materials.models import OwnVersion
from server.materials.rules import Own
from server.physics.materials import Material


def newest(session: Session) -> Sequence[OwnVersion]:
    """The version in force of every own material, by name."""
    last = select(OwnVersion.name, func.max(OwnVersion.number).label("number")).group_by(OwnVersion.name)
    found = last.subquery()
    query = select(OwnVersion).join(
        found, (col(OwnVersion.name) == found.c.name) & (col(OwnVersion.number) == found.c.number)
    )
    return session.exec(query.order_by(OwnVersion.name)).all()


def in_force(session: Session) -> Mapping[str, Material]:
    """Name → material, for every own material in its version in force."""
    return {row.name: made(row) for row in newest(session)}


def versions_in_force(session: Session) -> Mapping[str, int]:
    """Name → number of the version in force, for every own material."""
    return {row.name: row.number for row in newest(session)}


def names(session: Session) -> Sequence[str]:
    """The names of the own materials, in order."""
    return session.exec(select(OwnVersion.name).distinct().order_by(OwnVersion.name)).all()


def made(row: OwnVersion) -> Material:
    """The material a version makes."""
    return rules.made(own_of(row))


def own_of(row: OwnVersion) -> Own:
    """A version as it was entered."""
    return Own(row.name, rules.points_of(row.points), row.source, row.relative_uncertainty, row.note)


def versions(session: Session, name: str) -> Sequence[OwnVersion]:
    """Every version of an own material, newest first; none for a name nobody entered."""
    if not rules.NAME.fullmatch(name):
        return ()
    query = select(OwnVersion).where(OwnVersion.name == name)
    return session.exec(query.order_by(col(OwnVersion.number).desc())).all()


def add(session: Session, author: history.Author, own: Own, at: datetime) -> OwnVersion:
    """Store a new material; Refused when its name is taken."""
    if versions(session, own.name):
        raise Refused(
            NOT_STORED,
            {"name": f"Choose another name: there is “{own.name}” already, which can be corrected"},
        )
    row = _store(session, author, own, 1, "", at)
    history.note(session, author, subject(own.name), f"Material {own.name} entered", at, {"version": 1})
    return row


def correct(
    session: Session, author: history.Author, own: Own, base: int | None, reason: str, at: datetime
) -> OwnVersion:
    """Store the next version of a material; the old one stays.

    NotFound for a material nobody entered here; Conflict when somebody corrected it since version `base`;
    Refused when nothing differs.
    """
    last = own_versions(session, own.name)[0]
    if base != last.number:
        raise Conflict(
            f"{last.by_name} corrected {own.name} in the meantime; it is at version {last.number}."
        )
    if own == own_of(last):
        raise Refused(NOT_STORED, {"table": f"Nothing differs from version {last.number}"})
    row = _store(session, author, own, last.number + 1, reason, at)
    line = f"Material {own.name} corrected, version {row.number}. {reason}"
    history.note(session, author, subject(own.name), line, at, {"version": row.number})
    return row


def own_versions(session: Session, name: str) -> Sequence[OwnVersion]:
    """Every version of an own material, newest first; NotFound for a name nobody entered."""
    found = versions(session, name)
    if not found:
        raise NotFound(f"Nobody entered a material “{name}” here.")
    return found


def _store(
    session: Session, author: history.Author, own: Own, number: int, reason: str, at: datetime
) -> OwnVersion:
    row = OwnVersion(
        name=own.name,
        number=number,
        points=own.points.written(),
        source=own.source,
        relative_uncertainty=own.relative_uncertainty,
        note=own.note,
        reason=reason,
        at=at,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict(
            f"Somebody stored {own.name} in the meantime. Look at it, then try again."
        ) from problem
    return row


def subject(name: str) -> str:
    """Under which name the history keeps what concerns a material."""
    return f"material/{name}"
