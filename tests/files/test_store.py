"""The folder of files."""

from pathlib import Path

import pytest

from server.files import store


def test_what_is_kept_comes_back_under_the_hash_of_its_content(tmp_path: Path) -> None:
    """SHA-256 of `abc`: FIPS 180-2, appendix B.1."""
    digest = store.put(tmp_path, b"abc")
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.get(tmp_path, digest) == b"abc"
    assert store.put(tmp_path, b"abc") == digest
    assert [path.name for path in (tmp_path / "files").rglob("*") if path.is_file()] == [digest]


@pytest.mark.parametrize("name", ["", "../secrets", "/etc/passwd", "A" * 64, "a" * 63, "a" * 64 + "\n"])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="no digest"):
        store.place(tmp_path, name)


def test_a_file_that_is_no_longer_what_it_was_is_told(tmp_path: Path) -> None:
    digest = store.put(tmp_path, b"abc")
    store.place(tmp_path, digest).write_bytes(b"abd")
    with pytest.raises(ValueError, match="no longer"):
        store.get(tmp_path, digest)


def test_a_file_that_could_not_be_written_whole_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr("server.files.store.os.fsync", full)
    with pytest.raises(OSError, match="no space"):
        store.put(tmp_path, b"abc")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
