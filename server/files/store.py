"""The folder of files: each under the hash of its content, written once, checked when it is copied."""

import hashlib
import os
import re
import tempfile
from contextlib import suppress
from pathlib import Path

FOLDER = "files"
DIGEST = re.compile(r"[0-9a-f]{64}")


def digest_of(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def place(home: Path, digest: str) -> Path:
    """Where the file of this digest lies. ValueError for what is no digest: no name can lead elsewhere."""
    if not DIGEST.fullmatch(digest):
        raise ValueError("this is no digest")
    return home / FOLDER / digest[:2] / digest


def put(home: Path, content: bytes) -> str:
    """Keep `content`; its digest. It is there whole or not at all, and the same content is kept once.

    It is written before the row that names it is committed. A transaction that fails leaves a file nobody
    points at, never a row without its file.
    """
    digest = digest_of(content)
    at = place(home, digest)
    if at.is_file():
        return digest
    at.parent.mkdir(parents=True, exist_ok=True)
    handle, unfinished = tempfile.mkstemp(dir=at.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(unfinished).replace(at)
    except BaseException:
        with suppress(FileNotFoundError):
            Path(unfinished).unlink()
        raise
    return digest


def get(home: Path, digest: str) -> bytes:
    """The content. FileNotFoundError when it is not there, ValueError when it is no longer what it was."""
    content = place(home, digest).read_bytes()
    if digest_of(content) != digest:
        raise ValueError(f"file {digest[:12]}… is no longer what was kept")
    return content
