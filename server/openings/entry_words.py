"""An entry of a slip in words, in the units of the trade. Pure."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from server.openings import kinds, rules
from server.openings.models import OpeningEntry
from server.stock.rules import shown
from server.units import in_unit, show


def of(entry: OpeningEntry) -> str:
    """What it says besides its note."""
    write = WORDS.get(entry.kind)
    return write(entry.data) if write else ""


def remark(entry: OpeningEntry) -> str:
    """What the program adds where a number asks for attention; it judges nothing."""
    oxygen = entry.data.get("oxygen")
    if oxygen is not None and oxygen < rules.DEFICIENT:
        return (
            "Below 19.5 % the air counts as deficient in oxygen. "
            "Leave and stay out; local rules and your safety officer decide."
        )
    if any(row.get("recount") for row in entry.data.get("items", ())):
        names = ", ".join(row["name"] for row in entry.data["items"] if row.get("recount"))
        return f"Count again in the stock room: {names}."
    return ""


def _vent(data: Mapping[str, Any]) -> str:
    coldest, oxygen = show(data["coldest_K"], "K"), show(data["oxygen"], "%")
    return f"{data['gas']}; coldest thermometer {coldest}, oxygen {oxygen}, relief free"


def _seal(done: Mapping[str, str]) -> Any:
    def words(data: Mapping[str, Any]) -> str:
        tag = f" ({data['part']})" if data.get("part") else ""
        new = f" by {data['new_part']}" if data.get("new_part") else ""
        return f"{data['where']}{tag}: {done[data['done']]}{new}"

    return words


def _screws(data: Mapping[str, Any]) -> str:
    torque = data.get("torque_N_m")
    found = [data["where"]]
    if torque is not None:
        found.append(f"{in_unit(torque, 'N·m')} ({in_unit(torque, 'in·lbf', 2)})")
    return ", ".join(found + ([f"driver {data['driver']}"] if data.get("driver") else []))


def _used(data: Mapping[str, Any]) -> str:
    rows = [f"{row['name']} {shown(Decimal(row['amount']), row['unit'])}" for row in data.get("items", ())]
    return ", ".join(rows) or "nothing"


def _built(data: Mapping[str, Any]) -> str:
    text = f"revision {data['revision']}"
    if "against_draft" in data:
        return f"{text}; against the draft: {data['against_draft']}"
    return f"{text}; since the slip was begun: {data['since_begun']}"


def _close(data: Mapping[str, Any]) -> str:
    found = ["gas closed at its source"] if data.get("source_closed") else []
    if "humidity" in data:
        found.append(f"humidity of the room {show(data['humidity'], '%')}")
    if data.get("list_words"):
        found.append(f"list before closing left out: {data['list_words']}")
    return "; ".join(found)


WORDS = {
    kinds.VENT: _vent,
    kinds.OXYGEN: lambda data: show(data["oxygen"], "%"),
    kinds.RING: _seal(kinds.RING_DONE),
    kinds.WINDOW: _seal(kinds.WINDOW_DONE),
    kinds.SCREWS: _screws,
    kinds.TRAY: lambda data: f"{data['out']} out, {data['in']} in",
    kinds.USED: _used,
    kinds.BUILT: _built,
    kinds.CLOSE: _close,
    kinds.PARK: lambda _data: "capped, rough pumped, valves shut, gas closed at its source",
    kinds.LIST: lambda data: str(data["list"]).replace("-", " "),
}
