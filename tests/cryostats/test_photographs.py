"""Photographs and drawings of a configuration: kept with what they show, and never anybody's script."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import Session, select

from server.cryostats import instruments, photographs
from server.cryostats.models import Cryostat
from server.cryostats.photograph_models import Photograph, Withdrawal
from server.cryostats.photographs import About, Picture
from server.db import reading
from server.errors import Forbidden, NotFound, Refused
from server.files.pictures import Clean
from server.history.models import Entry
from server.people.models import Person
from server.settings import MEGABYTE
from tests.factories import AT, a_bench, a_cryostat, give_grade, lid, logged, somebody, wire

PIXELS = Clean(b"picture", "image/jpeg", 8, 6, b"small")
PDF = b"%PDF-1.4\n%%EOF\n"


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat with a loom and a lid."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, wire(), lid())
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]


def add(
    books: Books, home: Path, about: About, number: int = 1, by: Person | None = None
) -> list[Photograph]:
    session, ada, cryostat = books
    pictures = [Picture(f"{index}.jpg", PIXELS) for index in range(number)]
    return photographs.add(session, by or ada, cryostat.slug, about, pictures, home, AT)


def refused(books: Books, home: Path, about: About, number: int = 1) -> dict[str, str]:
    with pytest.raises(Refused) as caught:
        add(books, home, about, number)
    return caught.value.fields


def test_a_photograph_is_kept_with_revision_element_and_lag_and_is_in_the_record(
    books: Books, tmp_path: Path
) -> None:
    add(books, tmp_path, About(1, caption="Clamp seen from above", element_key="loom", lag_stage="shield"))
    session, _, cryostat = books
    [shown] = photographs.of_cryostat(session, cryostat, revision=1)
    row = shown.photograph
    assert (row.revision, row.element_key, row.lag_stage) == (1, "loom", "shield")
    assert (row.caption, row.by_name, row.at) == ("Clamp seen from above", "Ada", AT)
    told = session.exec(select(Entry).where(Entry.subject == f"cryostat/{cryostat.slug}")).all()[-1].what
    assert told == "Photograph of the lag of loom at the shield, revision 1: Clamp seen from above"


@pytest.mark.parametrize(
    ("about", "field"),
    [
        (About(2, caption="x"), "revision"),
        (About(-1, caption="x"), "revision"),
        (About(1, caption=" "), "caption"),
        (About(1, caption="x" * 501), "caption"),
        (About(1, kind="film", caption="x"), "kind"),
        (About(1, caption="x", element_key="nothing"), "element"),
        (About(0, caption="x", element_key="loom"), "element"),
        (About(1, caption="x", element_key="loom", lag_stage="vessel"), "stage"),
        (About(1, caption="x", element_key="lid", lag_stage="shield"), "stage"),
        (About(1, caption="x", lag_stage="shield"), "stage"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_kept(
    books: Books, tmp_path: Path, about: About, field: str
) -> None:
    assert set(refused(books, tmp_path, about)) == {field}
    assert not (tmp_path / "files").exists()


def test_without_a_file_nothing_is_kept(books: Books, tmp_path: Path) -> None:
    assert set(refused(books, tmp_path, About(1, caption="x"), 0)) == {"files"}


def test_whoever_may_not_open_may_not_put_in(books: Books, tmp_path: Path) -> None:
    ben = somebody(books[0], "ben", steward=False)
    with pytest.raises(Forbidden, match="grade 2"):
        add(books, tmp_path, About(1, caption="x"), by=ben)


def test_a_photograph_is_withdrawn_with_a_reason_and_stays(books: Books, tmp_path: Path) -> None:
    session, ada, cryostat = books
    [row] = add(books, tmp_path, About(1, caption="x"))
    photographs.withdraw(session, ada, cryostat.slug, row.id or 0, "The other cryostat", AT)
    [shown] = photographs.of_cryostat(session, cryostat)
    assert shown.withdrawal is not None
    assert shown.withdrawal.reason == "The other cryostat"
    with pytest.raises(Refused, match="already"):
        photographs.withdraw(session, ada, cryostat.slug, row.id or 0, "Again", AT)


def test_a_withdrawal_needs_a_reason_and_the_right_cryostat(books: Books, tmp_path: Path) -> None:
    session, ada, cryostat = books
    [row] = add(books, tmp_path, About(1, caption="x"))
    with pytest.raises(Refused):
        photographs.withdraw(session, ada, cryostat.slug, row.id or 0, " ", AT)
    other = a_cryostat(session, "Bench B")
    with pytest.raises(NotFound):
        photographs.withdraw(session, ada, other.slug, row.id or 0, "Not mine", AT)


def test_only_who_put_it_in_or_a_steward_withdraws_it(books: Books, tmp_path: Path) -> None:
    session, ada, cryostat = books
    ben, cleo = (somebody(session, name, steward=False) for name in ("ben", "cleo"))
    for person in (ben, cleo):
        instruments.give_grade(session, ada, cryostat, person, 2, AT)
    [first], [second] = (add(books, tmp_path, About(1, caption="x"), by=ben) for _ in range(2))
    with pytest.raises(Forbidden, match="Ben"):
        photographs.withdraw(session, cleo, cryostat.slug, first.id or 0, "No", AT)
    photographs.withdraw(session, ben, cryostat.slug, first.id or 0, "Blurred", AT)
    photographs.withdraw(session, ada, cryostat.slug, second.id or 0, "Blurred", AT)


@pytest.mark.parametrize("table", ["photograph", "photograph_withdrawal", "stored_file"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET id = id + 100"])
def test_the_database_itself_refuses_to_rewrite_them(
    books: Books, tmp_path: Path, table: str, statement: str
) -> None:
    session, ada, cryostat = books
    [row] = add(books, tmp_path, About(1, caption="x"))
    photographs.withdraw(session, ada, cryostat.slug, row.id or 0, "Blurred", AT)
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        session.execute(sa.text(statement.format(table)))


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def slug(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat with a loom, which Ben may open."""
    made = a_bench(app.state.engine, steward, wire(), lid())
    give_grade(app.state.engine, made, member, 2)
    return made


def jpeg(size: tuple[int, int] = (40, 30)) -> bytes:
    to = BytesIO()
    Image.linear_gradient("L").resize(size).save(to, "JPEG")
    return to.getvalue()


def send(client: TestClient, slug: str, *contents: bytes, **texts: str) -> Any:
    files = [("files", (f"{index}.jpg", content, "image/jpeg")) for index, content in enumerate(contents)]
    about = {"caption": "Lid off", "kind": "photograph", **texts}
    return client.post(f"/cryostats/{slug}/photographs", data=about, files=files)


def kept(app: FastAPI) -> int:
    with reading(app.state.engine) as session:
        return len(session.exec(select(Photograph)).all())


def test_photographs_go_in_by_the_form_and_are_shown_with_their_thumbnails(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    answer = send(member_client, slug, jpeg(), jpeg((30, 40)), element="loom", stage="shield")
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        f"/cryostats/{slug}/photographs?revision=1",
    )
    page = member_client.get(answer.headers["location"])
    assert page.text.count('alt="Photograph: Lid off"') == 2
    assert "lag at the shield" in page.text
    assert kept(app) == 2


def test_one_bad_file_among_good_ones_keeps_none_and_says_which(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    answer = send(member_client, slug, jpeg(), b"<svg onload='alert(1)'/>")
    assert answer.status_code == 422
    assert "1.jpg: This is no picture" in answer.text
    assert 'value="Lid off"' in answer.text
    assert kept(app) == 0


def test_a_pdf_goes_in_as_a_drawing_only(app: FastAPI, member_client: TestClient, slug: str) -> None:
    assert send(member_client, slug, PDF).status_code == 422
    assert send(member_client, slug, PDF, kind="drawing").status_code == 303
    assert kept(app) == 1


@pytest.mark.parametrize("revision", ["two", "7", "-1", "99999999999999999999"])
def test_a_revision_that_is_none_is_refused_at_its_field(
    member_client: TestClient, slug: str, revision: str
) -> None:
    answer = send(member_client, slug, jpeg(), revision=revision)
    assert answer.status_code == 422
    assert 'id="f-revision-error"' in answer.text


def test_too_many_files_are_refused(member_client: TestClient, slug: str) -> None:
    assert "at most 8" in send(member_client, slug, *[jpeg()] * 9).text
    assert send(member_client, slug, *[jpeg()] * 30).status_code == 422


def test_who_may_not_open_it_is_told_before_anything_is_decoded(
    app: FastAPI, sign_in: Callable[[Person], TestClient], slug: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.fixtures.people import make_person

    client = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    monkeypatch.setattr("server.files.pictures.clean", lambda *_a, **_k: pytest.fail("it was decoded"))
    assert send(client, slug, jpeg()).status_code == 403
    assert "Put photographs in" not in client.get(f"/cryostats/{slug}/photographs").text


def test_nobody_writes_while_a_picture_is_decoded(
    app: FastAPI, member_client: TestClient, slug: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Decoding takes seconds; a write session held meanwhile would make everybody wait."""
    from server.db import writing
    from server.files import pictures

    real = pictures.clean

    def slow(sent: bytes, *, documents: bool = False) -> Clean:
        with writing(app.state.engine) as session:
            session.execute(sa.text("UPDATE cryostat SET place = 'elsewhere'"))
            session.commit()
        return real(sent, documents=documents)

    monkeypatch.setattr("server.files.pictures.clean", slow)
    assert send(member_client, slug, jpeg()).status_code == 303


def test_who_is_not_signed_in_is_sent_to_the_door(client: TestClient, slug: str) -> None:
    assert client.get(f"/cryostats/{slug}/photographs").status_code == 303
    assert send(client, slug, jpeg()).status_code == 401


def test_a_form_from_elsewhere_is_refused(app: FastAPI, member_client: TestClient, slug: str) -> None:
    member_client.headers["Sec-Fetch-Site"] = "cross-site"
    assert send(member_client, slug, jpeg()).status_code == 403
    assert kept(app) == 0


def test_this_address_takes_more_than_others_and_not_without_end(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    over = b"x" * (3 * MEGABYTE)
    elsewhere = member_client.post(f"/cryostats/{slug}/exchange", data={"text": "x" * 3_000_000})
    assert elsewhere.status_code == 413
    assert "no picture" in send(member_client, slug, over).text
    app.state.settings.upload_limit_bytes = MEGABYTE
    assert send(member_client, slug, over).status_code == 413


def test_withdrawing_by_the_form(app: FastAPI, member_client: TestClient, slug: str) -> None:
    send(member_client, slug, jpeg())
    with reading(app.state.engine) as session:
        number = session.exec(select(Photograph.id)).one()
    address = f"/cryostats/{slug}/photographs/{number}/withdraw"
    empty = member_client.post(address, data={"reason": ""})
    assert empty.status_code == 422
    assert f'id="f-reason-{number}-error"' in empty.text
    assert member_client.post(address, data={"reason": "Blurred"}).status_code == 303
    assert "Blurred" in member_client.get(f"/cryostats/{slug}/photographs").text
    with reading(app.state.engine) as session:
        assert session.exec(select(Withdrawal)).one().by_name == "Ben Member"


def test_the_page_of_a_revision_brings_its_photographs_as_a_part(
    member_client: TestClient, slug: str
) -> None:
    send(member_client, slug, jpeg())
    address = f"/cryostats/{slug}/revisions/1/photographs"
    part = member_client.get(address, headers={"HX-Request": "true"})
    assert part.text.count("<img") == 1
    assert "<html" not in part.text
    whole = member_client.get(address)
    assert (whole.status_code, whole.headers["location"]) == (
        303,
        f"/cryostats/{slug}/photographs?revision=1",
    )
    assert address in member_client.get(f"/cryostats/{slug}").text


def test_a_name_or_filter_with_strange_signs_breaks_nothing(member_client: TestClient, slug: str) -> None:
    files = [("files", ("..\\..\\a\x00\u202e<b>.jpg", jpeg(), "image/jpeg"))]
    data = {"caption": "<b>x</b>\x00", "kind": "photograph"}
    assert member_client.post(f"/cryostats/{slug}/photographs", data=data, files=files).status_code == 303
    page = member_client.get(f"/cryostats/{slug}/photographs", params={"element": "", "revision": "1"})
    assert "&lt;b&gt;x" in page.text
    odd = member_client.get(f"/cryostats/{slug}/photographs", params={"element": "\x00'\""})
    assert odd.status_code == 200


def test_a_cryostat_that_is_not_there_is_not_found(member_client: TestClient) -> None:
    assert send(member_client, "nowhere", jpeg()).status_code == 404
