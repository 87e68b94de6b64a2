"""Every movement with its totals: the sum of movements is what is shown, on both engines."""

import shutil
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server.db import make_engine, writing
from server.errors import NotFound, Refused
from server.history import service as history
from server.people.models import Person
from server.people.service import CommandLine
from server.stock import correcting, lending, moving, service
from server.stock.lending import Lending
from server.stock.models import NOTHING, Demand, Loan, Lot, Movement
from server.stock.moving import Receipt
from server.stock.service import Taking
from tests.factories import somebody
from tests.stock.factories import AT, BOTH, a_lot, an_item, key_of, summed

SOON = AT + timedelta(days=2)


@pytest.fixture
def person(session: Session) -> Person:
    return somebody(session)


@BOTH
def test_each_write_is_in_the_record(session: Session, person: Person) -> None:
    item = an_item(session)
    receive = Receipt(key_of(item), Decimal(50))
    (lot,) = moving.receive(session, person, receive, AT)
    promise = service.reserve(session, person, key_of(item), 1, SOON, "opening", AT)
    (used,) = service.use(session, person, key_of(item), 1, "opening", AT)
    moving.count(session, person, key_of(lot), Decimal(40), AT)
    loan = lending.lend(session, person, Lending(key_of(item), Decimal(5), "room 12", SOON.date()), AT)
    assert loan.id is not None
    assert promise.id is not None
    assert used.id is not None
    lending.give_back(session, person, loan.id, Decimal(5), AT)
    moving.discard(session, person, Taking(key_of(item), 1, "dirty"), AT)
    correcting.correct(session, person, used.id, Decimal(2), "misread", AT)
    moving.open_lot(session, person, key_of(lot), AT.date(), AT)
    service.release(session, person, promise.id, AT)
    told = [entry.what for entry in reversed(history.of(session, "stock/vacuum-grease"))]
    words = ["received", "promised", "used", "counted", "lent", "back from", "discarded", "corrected"]
    assert all(word in line for word, line in zip([*words, "opened on", "no longer"], told, strict=True))
    assert all(entry.person_name == person.name for entry in history.of(session, "stock/vacuum-grease"))


@BOTH
def test_the_database_refuses_to_rewrite_a_movement(session: Session) -> None:
    item = an_item(session)
    a_lot(session, item, "50")
    session.commit()
    for statement in ("UPDATE stock_movement SET change = 1", "DELETE FROM stock_movement"):
        with pytest.raises(sa.exc.DBAPIError, match="append-only"):
            session.execute(sa.text(statement))
        session.rollback()


Step = Callable[[Session, int], object]
AMOUNTS = st.decimals("0.001", 40, places=3)
NUMBERS = st.integers(0, 30)
WHO = CommandLine()


def _nth(session: Session, column: Any, number: int) -> int:
    keys: Sequence[int] = session.scalars(sa.select(column).order_by(column)).all()
    return keys[number % len(keys)] if keys else 0


def _received(amount: Decimal, containers: int, sealed: bool) -> Step:
    return lambda s, item: moving.receive(s, WHO, Receipt(item, amount, containers, sealed=sealed), AT)


def _used(amount: Decimal) -> Step:
    return lambda s, item: service.use(s, WHO, item, amount, "work", AT)


def _discarded(amount: Decimal) -> Step:
    return lambda s, item: moving.discard(s, WHO, Taking(item, amount, "old"), AT)


def _counted(amount: Decimal, number: int) -> Step:
    return lambda s, _: moving.count(s, WHO, _nth(s, Lot.id, number), amount, AT)


def _lent(amount: Decimal) -> Step:
    return lambda s, item: lending.lend(s, WHO, Lending(item, amount, "room 12", SOON.date()), AT)


def _came_back(amount: Decimal, number: int, gone: bool) -> Step:
    return lambda s, _: lending.give_back(s, WHO, _nth(s, Loan.id, number), amount, AT, rest_is_gone=gone)


def _corrected(amount: Decimal, number: int) -> Step:
    return lambda s, _: correcting.correct(s, WHO, _nth(s, Movement.id, number), amount, "misread", AT)


STEPS: st.SearchStrategy[Step] = st.one_of(
    st.builds(_received, AMOUNTS, st.integers(1, 3), st.booleans()),
    st.builds(_used, AMOUNTS),
    st.builds(_discarded, AMOUNTS),
    st.builds(_counted, AMOUNTS, NUMBERS),
    st.builds(_lent, AMOUNTS),
    st.builds(_came_back, AMOUNTS, NUMBERS, st.booleans()),
    st.builds(_corrected, AMOUNTS, NUMBERS),
)


def test_the_sum_of_movements_is_what_is_shown_in_any_order(sqlite_template: Path, tmp_path: Path) -> None:
    shutil.copy(sqlite_template, tmp_path / "books.db")
    engine = make_engine(f"sqlite:///{tmp_path / 'books.db'}")

    @given(st.lists(STEPS, min_size=1, max_size=12))
    @settings(max_examples=30)
    def try_steps(steps: Sequence[Step]) -> None:
        with writing(engine) as session:
            item = an_item(session)
            for step in steps:
                with suppress(Refused, NotFound), session.begin_nested():
                    step(session, key_of(item))
            _check_totals(session, key_of(item))
            session.rollback()

    try_steps()
    engine.dispose()


def _check_totals(session: Session, item_id: int) -> None:
    lots = session.exec(select(Lot).where(Lot.item_id == item_id)).all()
    for lot in lots:
        assert lot.on_hand == summed(session, lot)
        assert lot.on_hand >= NOTHING or lot.recount_since is not None
    shown = service.amounts(session)[item_id]
    assert shown.on_hand == sum((lot.on_hand for lot in lots), NOTHING)
    rows = session.exec(select(Movement)).all()
    taken = -sum((row.change for row in rows if row.kind in ("used", "discarded", "counted")), NOTHING)
    months = session.exec(select(Demand)).all()
    assert sum((month.taken for month in months), NOTHING) == taken
    recorded = -sum((row.change for row in rows if row.kind in ("used", "discarded")), NOTHING)
    assert sum((month.recorded for month in months), NOTHING) == recorded


@BOTH
def test_the_totals_are_the_sums_on_both_engines(session: Session, person: Person) -> None:
    item = an_item(session)
    (first, second) = moving.receive(session, person, Receipt(key_of(item), Decimal(20), 2, sealed=True), AT)
    (used,) = service.use(session, person, key_of(item), Decimal("0.125"), "opening", AT)
    moving.count(session, person, key_of(second), Decimal("19.5"), AT)
    assert used.id is not None
    correcting.correct(session, person, used.id, Decimal("0.25"), "misread", AT)
    session.commit()
    assert (first.on_hand, second.on_hand) == (Decimal("19.75"), Decimal("19.5"))
    _check_totals(session, key_of(item))


@BOTH
def test_who_takes_holds_the_item_so_that_a_second_waits(engine: Engine) -> None:
    """SQLite lets one write at a time; on PostgreSQL the row is locked, else the second would be lost."""
    with writing(engine) as session:
        item = an_item(session)
        lot_id = key_of(a_lot(session, item, "50"))
        item_id = key_of(item)
        session.commit()
    with writing(engine) as first, writing(engine) as second:
        service.use(first, WHO, item_id, 1, "first", AT)
        if engine.dialect.name == "postgresql":
            with pytest.raises(sa.exc.OperationalError, match="could not obtain lock"):
                second.execute(sa.text("SELECT 1 FROM stock_item FOR NO KEY UPDATE NOWAIT"))
            second.rollback()
        first.commit()
        service.use(second, WHO, item_id, 2, "second", AT)
        second.commit()
        found = second.get(Lot, lot_id)
        assert found is not None
        assert found.on_hand == 47
