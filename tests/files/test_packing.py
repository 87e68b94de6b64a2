"""The files in an archive, from one engine to a fresh home."""

import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import Session

from server.archive import read_archive, write_archive
from server.files import service, store
from server.files.models import StoredFile
from server.files.pictures import Clean
from server.settings import Settings

AT = datetime(2026, 3, 14, tzinfo=UTC)


def archived(chosen: Settings, to: Path) -> Path:
    """The archive of a book, written."""
    write_archive(chosen, to)
    return to


@pytest.fixture
def chosen(database_url: str, tmp_path: Path, session: Session) -> Settings:
    """A home with one picture in it, its small one beside it."""
    settings = Settings(home=tmp_path / "here", database_url=database_url)
    service.keep(session, settings.home, Clean(b"picture", "image/jpeg", 8, 6, b"small"), AT)
    session.commit()
    return settings


def elsewhere(tmp_path: Path) -> Settings:
    return Settings(home=tmp_path / "there", database_url="")


def kept(home: Path) -> set[bytes]:
    return {path.read_bytes() for path in (home / "files").rglob("*") if path.is_file()}


def test_backup_takes_the_files_along_and_restore_brings_them_back(chosen: Settings, tmp_path: Path) -> None:
    archive = archived(chosen, tmp_path / "book.zip")
    there = elsewhere(tmp_path)
    read_archive(there, archive)
    assert kept(there.home) == kept(chosen.home) == {b"picture", b"small"}


def test_a_file_that_is_missing_does_not_keep_the_others_from_being_saved(
    chosen: Settings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store.place(chosen.home, store.digest_of(b"small")).unlink()
    archive = archived(chosen, tmp_path / "book.zip")
    there = elsewhere(tmp_path)
    read_archive(there, archive)
    assert kept(there.home) == {b"picture"}
    assert store.digest_of(b"small") in caplog.text


def test_an_archive_with_a_file_that_is_not_what_it_says_fills_nothing(
    chosen: Settings, tmp_path: Path
) -> None:
    archive = archived(chosen, tmp_path / "book.zip")
    with zipfile.ZipFile(archive, "a") as opened:
        opened.writestr("files/../../escaped", b"x")
    there = elsewhere(tmp_path)
    with pytest.raises(ValueError, match="not what was kept"):
        read_archive(there, archive)
    assert not (there.home / "coldstead.db").exists()
    assert kept(there.home) == set(), "the good ones before it are not kept either"
    assert not (tmp_path / "escaped").exists()


def test_the_same_content_has_one_row(session: Session, tmp_path: Path) -> None:
    first = service.keep(session, tmp_path, Clean(b"a", "image/png", 1, 1, b"b"), AT)
    assert service.keep(session, tmp_path, Clean(b"a", "image/png", 1, 1, b"b"), AT) is first
    assert session.get(StoredFile, first.id) is first
