"""Search: by words on either engine, by a day of the laboratory, and by thing."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import Session

from server.cryostats import (
    dirt,
    draft_steps,
    drafts,
    parts,
    ports,
    samples,
    search_models,
    searching,
    service,
)
from server.cryostats.dirt_rules import Said
from server.cryostats.models import Cryostat
from server.cryostats.part_rules import Described
from server.cryostats.port_rules import Entered, Measured, Readings
from server.cryostats.samples import Described as Flakes
from server.cryostats.search_rules import Done, in_force, out_of_order, span_of, words_in
from server.people.models import Person
from tests.factories import AT, a_bench, a_cryostat, change, lid, logged, somebody, wire

TODAY = date(2026, 3, 14)
VIENNA = "Europe/Vienna"


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """Something of every kind that can be found."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, lid())
    parts.enter(
        session,
        ada,
        Described("loom-03", "loom", "Twelve pairs", about={"alloy": "manganin", "length": "Überlänge"}),
        AT,
        TODAY,
    )
    second = change(
        1, wire(label="Loom of Jory", note="reel label torn", part="loom-03"), reason="For the gate sweep"
    )
    service.log_change(session, ada, cryostat.slug, second, AT)
    dirt.write(session, ada, cryostat.slug, Said("solid", "Polyimide tape", note="by the window"), AT)
    ports.add(session, ada, cryostat.slug, Entered("A", "", 25), AT)
    ports.connect(session, ada, cryostat.slug, 1, ports.Said((7,), "line", "gate sense"), AT)
    test = Readings(TODAY, "off", (Measured("A", 7, "gate sense", note="flaky lug"),), note="after the move")
    ports.measure(session, ada, cryostat.slug, test, AT, TODAY, {})
    odd = change(2, wire("odd", material="copper-rrr-100"), reason="A second look")
    drafts.make(session, ada, cryostat.slug, drafts.Drawn("The gate draft", odd), AT)
    for what, note in (("asked", ""), ("approved", "Photograph the Ösen")):
        draft_steps.take(session, ada, 1, what, 1, note, AT)
    flakes = Flakes(
        "Arsenide flakes", ada.id or 0, "toxic", "varnish", 2, if_breaks="wipe wet", note="glued badly"
    )
    samples.put_in(session, ada, cryostat.slug, flakes, AT, TODAY)
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def kinds(books: Books, text: str) -> set[str]:
    return {hit.kind for hit in searching.by_words(books[0], text)}


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("reel torn", "element"),
        ("REEL", "element"),
        ("loom-03", "element"),
        ("gate sweep", "change"),
        ("manganin", "part"),
        ("loom-03", "part"),
        ("polyim", "dirt and gas"),
        ("gate sense", "pin"),
        ("flaky", "continuity"),
        ("after move", "continuity"),
        ("Port 25 pins", "record"),
        ("phosphor-bronze", "element"),
        ("überl", "part"),
        ("second look", "draft"),
        ("copper-rrr-100", "draft"),
        ("the gate draft", "draft"),
        ("photograph Ösen", "draft"),
        ("arsenide flakes", "sample"),
        ("glued badly", "sample"),
    ],
)
def test_whatever_was_written_is_found_by_the_beginnings_of_its_words(
    books: Books, text: str, kind: str
) -> None:
    assert kind in kinds(books, text)


def test_every_hit_says_where_it_stands(books: Books) -> None:
    [hit] = [hit for hit in searching.by_words(books[0], "reel torn") if hit.kind == "element"]
    assert (hit.place, hit.address) == ("Bench A, from revision 2 on", "/cryostats/bench-a/revisions/2")


def test_all_words_have_to_be_there(books: Books) -> None:
    assert kinds(books, "reel polyimide") == set()
    assert kinds(books, "eel") == set()


def test_what_has_left_is_found_with_the_revisions_it_was_in(books: Books) -> None:
    session, ada, cryostat = books
    logged(session, ada, cryostat, remove=["loom"])
    [hit] = [hit for hit in searching.by_words(session, "reel torn") if hit.kind == "element"]
    assert hit.place == "Bench A, revision 2 only"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "  ",
        "'",
        '"',
        "-",
        "NOT",
        "a OR",
        "words: x",
        "(",
        "*",
        "^a",
        "NEAR(a b)",
        "\\",
        "a' | 'b",
        ":*",
        "&",
        "\x00",
    ],
)
def test_no_sign_of_a_query_language_does_anything(books: Books, text: str) -> None:
    searching.by_words(books[0], text)


@given(st.text(max_size=300))
def test_words_hold_letters_and_digits_only(text: str) -> None:
    found = words_in(text)
    assert len(found) <= 12
    assert all(word.replace("_", "").isalnum() or any(not sign.isascii() for sign in word) for word in found)
    assert not any(sign in word for word in found for sign in "'\"\\:*&|!()<> ")


def test_the_index_is_made_from_rows_that_were_there_before_it(books: Books) -> None:
    session = books[0]
    before = sorted(kinds(books, "loom"))
    session.execute(sa.text("DELETE FROM search_index"))
    assert kinds(books, "loom") == set()
    for table in search_models.WORDS:
        session.execute(sa.text(search_models.filling(session.get_bind().dialect.name, table)))
    assert sorted(kinds(books, "loom")) == before


def test_without_its_trigger_a_table_is_not_found(books: Books) -> None:
    """What keeps the index full is the trigger and nothing else."""
    session, ada, cryostat = books
    for statement in search_models.unwatching(session.get_bind().dialect.name, "dirt_entry"):
        session.execute(sa.text(statement))
    dirt.write(session, ada, cryostat.slug, Said("solid", "Zirconia"), AT)
    assert "dirt and gas" not in kinds(books, "zirconia")


# --------------------------------------------------------------------------------------------------- by day


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 7, 1), 24)]
)
def test_a_day_has_the_hours_the_laboratory_gives_it(day: date, hours: int) -> None:
    """Clocks go forward on the last Sunday of March and back on that of October: Directive 2000/84/EC."""
    begins, ends = span_of(day, VIENNA)
    assert ends - begins == timedelta(hours=hours)


def test_a_day_begins_at_the_laboratorys_midnight() -> None:
    assert span_of(date(2026, 10, 25), VIENNA) == (
        datetime(2026, 10, 24, 22, tzinfo=UTC),
        datetime(2026, 10, 25, 23, tzinfo=UTC),
    )


def at(*moment: int) -> datetime:
    return datetime(*moment, tzinfo=UTC)  # type: ignore[misc,arg-type]


def step(books: Books, base: int, done_at: datetime, number: int) -> None:
    session, ada, cryostat = books
    wanted = change(base, wire(count=number), done_at=done_at)
    service.log_change(session, ada, cryostat.slug, wanted, at(2026, 12, 1))


@pytest.fixture
def autumn(session: Session) -> Books:
    """Changes round the day on which clocks go back, 25 October 2026, in a laboratory in Vienna."""
    ada, cryostat = somebody(session), a_cryostat(session)
    books = session, ada, cryostat
    for base, moment in enumerate(
        (
            at(2026, 10, 24, 21, 59, 59),  # 23:59:59 of the 24th, summer time
            at(2026, 10, 24, 22),  # 00:00 of the 25th
            at(2026, 10, 25, 0, 30),  # 02:30, the first time
            at(2026, 10, 25, 1, 30),  # 02:30, the second time
            at(2026, 10, 25, 22, 59),  # 23:59, winter time
            at(2026, 10, 25, 23),  # 00:00 of the 26th
        )
    ):
        step(books, base, moment, base + 1)
    return books


@pytest.mark.parametrize(
    ("day", "wanted"),
    [
        (date(2026, 10, 23), (0, 0, [])),
        (date(2026, 10, 24), (0, 1, [1])),
        (date(2026, 10, 25), (1, 5, [2, 3, 4, 5])),
        (date(2026, 10, 26), (5, 6, [6])),
        (date(2026, 10, 27), (6, 6, [])),
    ],
)
def test_what_was_inside_on_a_day_is_right_across_the_change_of_clocks(
    autumn: Books, day: date, wanted: tuple[int, int, list[int]]
) -> None:
    [found] = searching.on_day(autumn[0], day, VIENNA)
    assert (found.first, found.last, [row.number for row in found.steps]) == wanted


def test_what_was_written_down_out_of_order_is_said(autumn: Books) -> None:
    step(autumn, 6, at(2026, 10, 24, 12), 9)
    [found] = searching.on_day(autumn[0], date(2026, 10, 24), VIENNA)
    assert found.last == 7
    assert found.late == (2, 3, 4, 5, 6)


def test_before_the_first_revision_nothing_is_in_force() -> None:
    rows = [Done(1, at(2026, 1, 2)), Done(2, at(2026, 1, 4)), Done(3, at(2026, 1, 3))]
    moments = [at(2026, 1, 1), at(2026, 1, 2), at(2026, 1, 3), at(2026, 1, 5)]
    assert [in_force(rows, moment) for moment in moments] == [0, 1, 3, 3]
    assert out_of_order(rows, 3, at(2026, 1, 3)) == (2,)


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def found(app: FastAPI, member_client: TestClient, steward: Person) -> Callable[..., Any]:
    """Searching as Ben, in a laboratory with one cryostat; everybody signed in may look."""
    a_bench(app.state.engine, steward, lid(), wire(label="<b>Jory</b>"))
    return lambda **params: member_client.get("/search", params=params)


def test_the_page_finds_by_words_and_by_day(found: Callable[..., Any]) -> None:
    page = found(q="jory")
    assert page.status_code == 200
    assert "&lt;b&gt;Jory" in page.text
    assert "/cryostats/bench-a/revisions/1" in page.text
    day = found(day="2026-03-14").text
    assert "As the day began nothing was written down yet" in day
    assert "As it ended" in day
    assert "Nothing found" in found(q="zirconia").text


@pytest.mark.parametrize("day", ["soon", "2026-02-30", "0001-01-01", "9999-12-31", "2026-3-14x"])
def test_a_day_that_is_none_is_said_at_its_field(found: Callable[..., Any], day: str) -> None:
    answer = found(day=day)
    assert answer.status_code == 422
    assert 'id="f-day-error"' in answer.text


def test_odd_words_break_nothing(found: Callable[..., Any]) -> None:
    for words in ("'\"\\", "\x00", "x" * 5000, "🧊", "a' OR 1=1 --"):
        assert found(q=words).status_code in (200, 422)


def test_who_is_not_signed_in_is_sent_to_the_door(client: TestClient) -> None:
    assert client.get("/search?q=x").status_code == 303
