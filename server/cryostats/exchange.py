"""A configuration out as a document or a wire list, and in again as a change that nobody has logged yet.

What comes in is compared with what is inside: only what differs is put. A file with anything to mend brings
nothing in, and says of every fault where it stands.
"""

import re
from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from server.cryostats import budget, contents, wire_columns, wire_list
from server.cryostats.documents import written
from server.cryostats.incoming import BadFile, Fault, Incoming
from server.cryostats.models import Cryostat
from server.cryostats.rules import SHUTTERS, Change, Put, key_faults
from server.errors import Refused
from server.materials import service as materials
from server.physics.thermal import document


def document_of(session: Session, cryostat: Cryostat, elements: Mapping[str, Put]) -> dict[str, Any]:
    """The document of these elements, as `coldstead heat` reads it. Without a cooler entered it has none."""
    version = budget.cooler(session, cryostat)
    rows = [written(put) for put in elements.values()]
    if version is None:
        about = {"stages": cryostat.stages, "limits_K": cryostat.limits_K, "vessel_K": cryostat.vessel_K}
        return {"cryostat": about, "elements": rows}
    bare = contents.elements(session, cryostat, version.bare_revision) if version.bare_revision else {}
    return {"cryostat": budget.described(cryostat, version, bare), "elements": rows}


def change_from(
    session: Session, cryostat: Cryostat, incoming: Incoming, reason: str, *, take_others: bool = False
) -> Change:
    """What would make the configuration that of the file; `take_others` takes out what it does not name.

    BadFile with every fault there is; Refused when nothing differs.
    """
    present = contents.elements(session, cryostat, cryostat.revision)
    faults = _faults(incoming, present, cryostat, materials.in_force(session))
    if faults:
        raise BadFile(faults)
    puts = tuple(put for put in incoming.puts if _differs(put, present.get(put.key)))
    scope = wire_list.runs(present.values()) if incoming.wires_only else list(present.values())
    named = {put.key for put in incoming.puts}
    # A file that names no lid says nothing of the lid.
    loose = [put.key for put in scope if put.key not in named and put.kind not in SHUTTERS]
    gone = tuple(loose) if take_others else ()
    if not puts and not gone:
        raise Refused(
            "Nothing was brought in.", {"file": "Nothing in the file differs from what is inside now"}
        )
    return Change(reason, cryostat.revision, puts, gone)


def _differs(put: Put, old: Put | None) -> bool:
    return old is None or wire_list.canonical(put) != wire_list.canonical(old)


def _faults(
    incoming: Incoming, present: Mapping[str, Put], cryostat: Cryostat, own: document.Own
) -> list[Fault]:
    """What key, kind, field and stage rules say of the elements, at the place each stands in the file."""
    found = key_faults(Change("", 0, incoming.puts), present)
    found |= budget.element_faults(incoming.puts, cryostat, own)
    return [_placed(path, text, incoming) for path, text in found.items()]


def _placed(path: str, text: str, incoming: Incoming) -> Fault:
    _, number, rest = f"{path}..".split(".", 2)
    rest = rest.strip(".")
    index = int(number) if number.isdigit() else 0
    if incoming.wires_only:
        return Fault(incoming.lines[index], _column(rest, incoming, index), text)
    place = incoming.places[index]
    return Fault(incoming.lines[index], f"{place}.{rest}" if rest else place, text)


def _column(path: str, incoming: Incoming, index: int) -> str:
    """The column behind a path: `lags[1].length_m` is that of the stage the second lag of this run is at."""
    found = re.fullmatch(r"(lags|attenuators)\[(\d+)\]\.(\w+)", path)
    if not found:
        return wire_columns.asked_in(incoming.columns, path)
    number, part = int(found[2]), found[3]
    if found[1] == "attenuators":
        return wire_columns.asked_in(incoming.columns, f"{number + 1}.{part}")
    stages = [row["stage"] for row in incoming.puts[index].data["lags"][: number + 1]]
    part = "state" if part == "stage" else part
    return wire_columns.asked_in(incoming.columns, f"{stages[-1]}.{stages.count(stages[-1])}.{part}")
