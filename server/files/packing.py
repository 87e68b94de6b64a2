"""The files in an archive of the book: taken along when it is written, checked when it is brought back."""

import logging
import zipfile
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from server.files import store
from server.files.models import StoredFile

log = logging.getLogger(__name__)
INSIDE = "files/"


def pack(archive: zipfile.ZipFile, connection: Connection, home: Path) -> list[str]:
    """Put every file the snapshot names into the archive; those that are missing or spoilt come back.

    A backup with all but one file is worth more than none: the rest goes in, and the log says which failed.
    """
    lost = []
    for digest in _digests(connection):
        try:
            content = store.get(home, digest)
        except (OSError, ValueError) as problem:
            log.error("file %s could not be taken along: %s", digest, problem)
            lost.append(digest)
        else:
            archive.writestr(zipfile.ZipInfo(INSIDE + digest), content)
    return lost


def _digests(connection: Connection) -> list[str]:
    columns = (StoredFile.digest, StoredFile.small_digest)
    rows = connection.execute(sa.select(*columns)).all()  # type: ignore[call-overload]
    return sorted({digest for row in rows for digest in row if digest})


def unpack(archive: zipfile.ZipFile, home: Path) -> None:
    """Bring the files back. All are checked first: ValueError for one that is not what its name says.

    Nothing is kept then. Each is read twice for it, so that not all are in memory at once.
    """
    names = [name for name in archive.namelist() if name.startswith(INSIDE) and name != INSIDE]
    for name in names:
        if store.digest_of(archive.read(name)) != name.removeprefix(INSIDE):
            raise ValueError(f"{name} in the archive is not what was kept")
    for name in names:
        store.put(home, archive.read(name))
