"""Writing letters into the outbox, and saying what became of them.

A letter is a row written in the transaction of what it tells: rolled back, nobody hears of it. A sender first
claims a row and commits, so that two senders never have the same one; a claim of which nothing was heard any
more is marked as unknown, never as waiting.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import uuid4

from sqlmodel import Session, col, select, update

from server.mail import rules
from server.mail.models import Letter


def write(session: Session, to: str, subject: str, body: str, about: str, at: datetime) -> Letter:
    """A letter that waits to be sent."""
    row = Letter(
        message_id=f"<{uuid4()}@coldstead>",
        to_address=to,
        subject=rules.subject_line(subject),
        body=body,
        about=about,
        made_at=at,
        state=rules.WAITING,
        due_at=at,
    )
    session.add(row)
    return row


def newest(session: Session, limit: int = 200) -> Sequence[Letter]:
    """The newest letters, newest first."""
    return session.exec(select(Letter).order_by(col(Letter.id).desc()).limit(limit)).all()


def tidy(session: Session, now: datetime) -> None:
    """Mark attempts that were cut off as unknown, and letters nobody could send in time as too old."""
    cut_off = update(Letter).where(col(Letter.state) == rules.TRYING, col(Letter.tried_at) < now - rules.LOST)
    words = "The attempt was cut off before anything was heard."
    session.exec(cut_off.values(state=rules.UNKNOWN, ended_at=now, trouble=words))
    old = update(Letter).where(col(Letter.state) == rules.WAITING, col(Letter.made_at) < now - rules.STALE)
    session.exec(old.values(state=rules.TOO_OLD, ended_at=now))


def claim(session: Session, sender: str, now: datetime) -> Letter | None:
    """Take the oldest letter that is due; None when there is none. The caller commits before sending it."""
    due = select(Letter.id).where(Letter.state == rules.WAITING, col(Letter.due_at) <= now)
    for key in session.exec(due.order_by(col(Letter.id)).limit(20)).all():
        mine = update(Letter).where(col(Letter.id) == key, col(Letter.state) == rules.WAITING)
        values = {"state": rules.TRYING, "tried_at": now, "tried_by": sender, "tries": Letter.tries + 1}
        if session.exec(mine.values(**values)).rowcount:
            return session.get(Letter, key)
    return None


def ended(session: Session, key: int, sender: str, state: str, trouble: str, now: datetime) -> None:
    """Write down how an attempt ended; only its own sender may, and only while it is being tried."""
    ours = update(Letter).where(
        col(Letter.id) == key, col(Letter.state) == rules.TRYING, col(Letter.tried_by) == sender
    )
    session.exec(ours.values(state=state, ended_at=now, trouble=trouble[:500]))


def again(session: Session, letter: Letter, sender: str, trouble: str, now: datetime) -> None:
    """Let a letter wait that was certainly not handed over."""
    ours = update(Letter).where(
        col(Letter.id) == letter.id, col(Letter.state) == rules.TRYING, col(Letter.tried_by) == sender
    )
    due = now + rules.pause(letter.tries)
    session.exec(ours.values(state=rules.WAITING, due_at=due, trouble=trouble[:500]))
