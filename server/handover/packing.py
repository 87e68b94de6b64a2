"""The archive of plain files: tables as CSV, the exports that exist, pictures, checksums. Built on disk."""

import hashlib
import json
import logging
import zipfile
from collections.abc import Iterator
from pathlib import Path

from sqlmodel import Session

from server.cryostats import budget_table, exchange, wire_list
from server.cryostats.photographs import Shown
from server.files import store
from server.handover import rules
from server.handover.book import Bench, Book
from server.laboratory import service as laboratory
from server.materials import columns
from server.materials import service as materials
from server.record import rules as record_rules
from server.record import views as record_views
from server.stock import exchange as stock
from server.web import tabular
from server.web.render import environment

log = logging.getLogger(__name__)
COMMA = tabular.STYLES["comma"]
ENDS = {"image/jpeg": "jpg", "image/png": "png", "application/pdf": "pdf"}
CHECKSUMS = "SHA256SUMS.txt"
READABLE = 0o644 << 16
ABOUT = """{title}: hand-over pack
As of {at}.

Everything here is a plain file that any computer opens: text and tables in UTF-8 (tables by RFC 4180, with a
head line), JSON, SVG, JPEG, PNG. Nothing in it is a password, a token or a secret address.

not-known.csv        what the next steward should know and nobody wrote down: begin there
book.txt             the whole book as text
shared/              what belongs to the laboratory: people, stock, parts, materials, cautions
shared/exports/      items and movements of the stock room, points of own materials
{benches}
    NN-chapter/NN-table.csv      the chapters of the book, a table a file, in its order
    chapters.json                the same for programs
    exports/configuration.json   everything inside, in SI, as a document
    exports/wire-list.csv        every run
    exports/heat-budget.csv      the heat budget with its ranges
    exports/wire-map.svg         the runs as a drawing
    exports/record.txt           the record of today
    pictures/                    photographs and drawings, the newest first
{checksums}       the SHA-256 of every other file; check with: sha256sum -c {checksums}

Local rules and the safety officer decide; nothing in this pack permits anything.
{lost}"""


def write(session: Session, book: Book, home: Path, to: Path) -> None:
    """Write the archive to `to`, one file after the other, so that no more than one is in memory."""
    sums: dict[str, str] = {}
    with zipfile.ZipFile(to, "w") as archive:
        for name, content in _texts(session, book):
            sums[name] = _add(archive, name, content.encode())
        lost = []
        for bench in book.benches:
            for name, shown in _pictures(bench):
                try:
                    sums[name] = _add(archive, name, store.get(home, shown.file.digest))
                except (OSError, ValueError) as problem:
                    log.error("%s could not be taken along: %s", name, problem)
                    lost.append(name)
        sums["README.txt"] = _add(archive, "README.txt", _about(book, lost).encode())
        lines = "".join(f"{digest}  {name}\n" for name, digest in sorted(sums.items()))
        _add(archive, CHECKSUMS, lines.encode())


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> str:
    """One file with a fixed time stamp, so that the same content makes the same bytes; its SHA-256."""
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = READABLE
    archive.writestr(info, content)
    return hashlib.sha256(content).hexdigest()


def _about(book: Book, lost: list[str]) -> str:
    benches = "\n".join(f"{bench.cryostat.slug + '/':<20} {bench.cryostat.name}" for bench in book.benches)
    words = "".join(f"Could not be read and is not in it: {name}\n" for name in lost)
    at = book.clock.when(book.clock.now)
    return ABOUT.format(title=book.title, at=at, benches=benches, checksums=CHECKSUMS, lost=words)


def _texts(session: Session, book: Book) -> Iterator[tuple[str, str]]:
    yield "not-known.csv", rules.csv(rules.table_of(book.gaps))
    yield "book.txt", record_rules.text(f"{book.title}: hand-over book", book.reference, book.sections)
    for bench in book.benches:
        folder = bench.cryostat.slug
        yield from _chapters(folder, bench)
        yield from _exports(session, book, bench)
    yield from ((f"shared/{name}", rules.csv(section)) for name, section in rules.tables(book.shared))
    yield "shared/chapters.json", rules.as_json(book.shared)
    yield "shared/exports/stock-items.csv", tabular.MARK + stock.items_text(session, "comma")
    yield "shared/exports/stock-movements.csv", tabular.MARK + stock.movements_text(session, "comma")
    for row in materials.newest(session):
        points = columns.written(materials.own_of(row).points)
        yield f"shared/exports/material-{rules.name_of(row.name)}-{row.id}.csv", points


def _chapters(folder: str, bench: Bench) -> Iterator[tuple[str, str]]:
    yield from ((f"{folder}/{name}", rules.csv(section)) for name, section in rules.tables(bench.chapters))
    yield f"{folder}/chapters.json", rules.as_json(bench.chapters)


def _exports(session: Session, book: Book, bench: Bench) -> Iterator[tuple[str, str]]:
    """What other pages give to take along, each by the code that page uses."""
    cryostat, inside, clock = bench.cryostat, bench.inside, book.clock
    at = f"{cryostat.slug}/exports"
    document = exchange.document_of(session, cryostat, inside.puts)
    yield f"{at}/configuration.json", json.dumps(document, indent=2, ensure_ascii=False) + "\n"
    yield (
        f"{at}/wire-list.csv",
        tabular.MARK + wire_list.write(list(inside.puts.values()), cryostat.stages, COMMA),
    )
    heat = budget_table.write(cryostat, cryostat.revision, inside.puts, inside.found, COMMA)
    yield f"{at}/heat-budget.csv", tabular.MARK + heat
    drawn = environment().get_template("cryostats/wire_map.svg")
    yield f"{at}/wire-map.svg", drawn.render(view=inside.wires, laboratory=laboratory.get(session))
    record = record_views.of_day(session, cryostat, clock.today, clock.zone, clock.now)
    yield f"{at}/record.txt", record_rules.text(record.title, record.reference, record.sections)


def _pictures(bench: Bench) -> Iterator[tuple[str, Shown]]:
    for number, shown in enumerate(bench.inside.pictures, 1):
        end = ENDS.get(shown.file.media_type, "bin")
        yield (
            f"{bench.cryostat.slug}/pictures/{number:02d}-{rules.name_of(shown.photograph.caption)}.{end}",
            shown,
        )
