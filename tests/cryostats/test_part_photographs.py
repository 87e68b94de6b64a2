"""Photographs of parts; the state that follows from an element; what a cryostat has borrowed."""

from collections.abc import Callable
from datetime import date
from io import BytesIO
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import Session

from server.cryostats import part_photographs, parts
from server.cryostats.models import Cryostat
from server.cryostats.part_rules import Described, Lent, state_of
from server.cryostats.photographs import Picture, decoded
from server.db import writing
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.people.models import Person
from tests.factories import AT, a_bench, a_cryostat, change, give_grade, lid, logged, somebody, wire

TODAY = date(2026, 3, 14)
Books = tuple[Session, Person, Cryostat]


def png(colour: str = "teal") -> bytes:
    to = BytesIO()
    Image.new("RGB", (40, 30), colour).save(to, "PNG")
    return to.getvalue()


def picture(colour: str = "teal") -> Picture:
    return decoded([("loom.png", png(colour))], documents=True)[0][0]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, a cryostat with a lid, and loom-03 in a drawer."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, lid())
    parts.enter(session, ada, Described("loom-03", "loom", "Twelve pairs", place="Drawer 2"), AT, TODAY)
    return session, ada, cryostat


def test_a_part_has_photographs_and_one_that_no_longer_counts_says_so(books: Books, tmp_path: Path) -> None:
    session, ada, _ = books
    pictures = [picture(), picture("red")]
    rows = part_photographs.add(session, ada, "loom-03", "Ends", pictures, tmp_path, AT)
    part_photographs.withdraw(session, ada, "loom-03", rows[0].id or 0, "Another loom", AT)
    second, first = part_photographs.of_part(session, parts.find(session, "loom-03"))
    assert (first.withdrawal and first.withdrawal.reason, second.withdrawal) == ("Another loom", None)
    assert (second.file.width_px, second.photograph.sent_name) == (40, "loom.png")
    with pytest.raises(Conflict):
        part_photographs.withdraw(session, ada, "loom-03", rows[0].id or 0, "Again", AT)
    for number in (0, 99, 2**70):
        with pytest.raises(NotFound):
            part_photographs.withdraw(session, ada, "loom-03", number, "x", AT)


@pytest.mark.parametrize(
    ("caption", "pictures", "wrong", "field"),
    [
        (" ", True, "", "caption"),
        ("x" * 501, True, "", "caption"),
        ("\x02", True, "", "caption"),
        ("Ends", False, "", "files"),
        ("Ends", True, "bad.png: no picture", "files"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_kept(
    books: Books, tmp_path: Path, caption: str, pictures: bool, wrong: str, field: str
) -> None:
    session, ada, _ = books
    sent = [picture()] if pictures else []
    with pytest.raises(Refused) as caught:
        part_photographs.add(session, ada, "loom-03", caption, sent, tmp_path, AT, wrong)
    assert set(caught.value.fields) == {field}
    assert not (tmp_path / "files").exists()


def test_only_who_may_open_puts_in_and_only_who_put_it_in_withdraws(books: Books, tmp_path: Path) -> None:
    session, ada, _ = books
    ben = somebody(session, "ben", steward=False)
    with pytest.raises(Forbidden):
        part_photographs.add(session, ben, "loom-03", "Ends", [picture()], tmp_path, AT)
    (row,) = part_photographs.add(session, ada, "loom-03", "Ends", [picture()], tmp_path, AT)
    with pytest.raises(Forbidden):
        part_photographs.withdraw(session, ben, "loom-03", row.id or 0, "x", AT)


@pytest.mark.parametrize("table", ["part_photograph", "part_withdrawal"])
def test_the_database_itself_refuses_to_rewrite_them(books: Books, tmp_path: Path, table: str) -> None:
    session, ada, _ = books
    (row,) = part_photographs.add(session, ada, "loom-03", "Ends", [picture()], tmp_path, AT)
    part_photographs.withdraw(session, ada, "loom-03", row.id or 0, "x", AT)
    for statement in ("DELETE FROM {}", "UPDATE {} SET by_name = 'Eve'"):
        with pytest.raises(sa.exc.DBAPIError, match="append-only"), session.begin_nested():
            session.execute(sa.text(statement.format(table)))


@pytest.mark.parametrize(
    ("stored", "inside", "shown"),
    [
        ("shelf", True, "in-use"),
        ("shelf", False, "shelf"),
        ("in-use", False, "shelf"),
        ("broken", True, "broken"),
        ("on-loan", True, "on-loan"),
    ],
)
def test_in_use_follows_from_an_element_that_is_the_part(stored: str, inside: bool, shown: str) -> None:
    assert state_of(stored, inside) == shown


def test_a_part_lent_to_a_cryostat_and_inside_comes_out_before_it_comes_back(books: Books) -> None:
    session, ada, cryostat = books
    said = Lent("Jory", TODAY, date(2026, 4, 1), cryostat.slug)
    parts.lend(session, ada, "loom-03", said, AT, TODAY)
    logged(session, ada, cryostat, wire(part="loom-03"))
    assert list(parts.inside(session)) == ["loom-03"]
    with pytest.raises(Refused) as caught:
        parts.bring_back(session, ada, "loom-03", TODAY, "Drawer 2", "", AT, TODAY)
    assert "take it out there first" in caught.value.fields["place"]
    logged(session, ada, cryostat, remove=["loom"])
    parts.bring_back(session, ada, "loom-03", TODAY, "Drawer 2", "", AT, TODAY)


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def slug(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat that Ben may rewire; loom-03 is in the book."""
    made = a_bench(app.state.engine, steward, lid())
    give_grade(app.state.engine, made, member, 3)
    with writing(app.state.engine) as session:
        parts.enter(session, steward, Described("loom-03", "loom", "Twelve pairs"), AT, TODAY)
        session.commit()
    return made


@pytest.mark.usefixtures("slug")
def test_a_photograph_goes_in_and_is_withdrawn_through_the_page(member_client: TestClient) -> None:
    files = [("files", ("loom.png", png(), "image/png"))]
    made = member_client.post("/parts/loom-03/photographs", data={"caption": "Its ends"}, files=files)
    assert made.status_code == 303, made.text
    page = member_client.get("/parts/loom-03").text
    assert 'alt="Its ends"' in page
    bad = [("files", ("loom.png", b"no picture", "image/png"))]
    wrong = member_client.post("/parts/loom-03/photographs", data={"caption": "Its ends"}, files=bad)
    assert wrong.status_code == 422
    assert 'id="f-files-error"' in wrong.text
    assert 'value="Its ends"' in wrong.text
    address = "/parts/loom-03/photographs/1/withdraw"
    assert member_client.post(address, data={"reason": ""}).status_code == 422
    assert member_client.post(address, data={"reason": "Another"}).status_code == 303
    assert "Withdrawn" in member_client.get("/parts/loom-03").text


@pytest.mark.usefixtures("slug")
def test_who_may_not_is_told_before_anything_is_decoded(
    app: FastAPI,
    sign_in: Callable[[Person], TestClient],
    client: TestClient,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from server.cryostats import part_routes
    from tests.fixtures.people import make_person

    monkeypatch.setattr(part_routes, "decoded", None)
    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    files = [("files", ("loom.png", png(), "image/png"))]
    for who, status in ((guest, 403), (client, 401)):
        answer = who.post("/parts/loom-03/photographs", data={"caption": "x"}, files=files)
        assert answer.status_code == status


def test_the_parts_of_a_cryostat_are_shown_with_what_it_has_borrowed(
    app: FastAPI, member_client: TestClient, steward: Person, slug: str
) -> None:
    with writing(app.state.engine) as session:
        said = Lent("Jory", date(2026, 1, 5), date(2026, 1, 6), slug)
        parts.lend(session, steward, "loom-03", said, AT, TODAY)
        parts.enter(session, steward, Described("loom-04", "loom", "Six pairs"), AT, TODAY)
        from server.cryostats import service

        service.log_change(session, steward, slug, change(1, wire(part="loom-04")), AT)
        session.commit()
    page = member_client.get(f"/cryostats/{slug}/parts").text
    for words in ("loom-03", "2026-01-06", "overdue", "loom-04"):
        assert words in page
    listed = member_client.get("/parts?state=in-use").text
    assert "loom-04" in listed.split("<tbody>")[-1]
    assert "loom-03" not in listed.split("<tbody>")[-1]
    assert f"/cryostats/{slug}/parts" in member_client.get(f"/cryostats/{slug}").text
