"""Work that repeats in the server, done by one process at a time; a lease in the database says by which."""

import asyncio
import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from sqlalchemy.engine import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Field, col, or_, update

from server.db import UTC, Row, writing

log = logging.getLogger(__name__)


class Lease(Row, table=True):
    """Who may do a piece of work, and until when; another may have it afterwards."""

    __tablename__ = "lease"

    name: str = Field(primary_key=True)
    holder: str
    until: datetime = Field(sa_type=UTC)


def take(engine: Engine, name: str, holder: str, now: datetime, length: timedelta) -> bool:
    """True when `holder` has the lease until `now + length`: it was free, lapsed, or theirs already."""
    with writing(engine) as session:
        free = or_(col(Lease.until) <= now, col(Lease.holder) == holder)
        values = {"holder": holder, "until": now + length}
        if session.exec(update(Lease).where(col(Lease.name) == name, free).values(**values)).rowcount:
            session.commit()
            return True
        if session.get(Lease, name) is not None:
            return False
        session.add(Lease(name=name, holder=holder, until=now + length))
        try:
            session.commit()
        except IntegrityError:
            return False
        return True


async def every(seconds: float, work: Callable[[], object]) -> None:
    """Do `work` in a thread again and again until cancelled; what goes wrong is logged."""
    while True:
        try:
            await asyncio.to_thread(work)
        except Exception:
            log.exception("A piece of repeated work failed")
        await asyncio.sleep(seconds)
