"""Two people changed the same element: what one touched is put on top of what the other did. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.cryostats.rules import MISSING, Altered, Put

ABOUT = ("kind", "label", "note", "house", "part")


@dataclass(frozen=True)
class Merged:
    """An element with both persons' fields; `clashes` are those both touched, as (now inside, as typed).

    Where they clash the typed value stands, and is shown beside the other.
    """

    put: Put
    now: Put | None
    clashes: Mapping[str, tuple[Any, Any]]

    @property
    def altered(self) -> Altered | None:
        """The clash as a difference, for a page to show; None where there is none, or nothing inside."""
        return Altered(self.now, self.put, self.clashes) if self.now and self.clashes else None


def merge(base: Put | None, now: Put | None, typed: Put) -> Merged:
    """`typed` was drawn on `base`; `now` is what is inside since others changed it. None: no such element."""
    if now is None or now == base:
        return Merged(typed, now, {})
    before, inside, wanted = _flat(base), _flat(now), _flat(typed)
    fields, clashes = {}, {}
    for name in dict.fromkeys((*wanted, *inside, *before)):
        old, other, own = (side.get(name, MISSING) for side in (before, inside, wanted))
        touched = own != old
        fields[name] = own if touched else other
        if touched and other not in (old, own):
            clashes[name] = (other, own)
    return Merged(_put(typed.key, fields), now, clashes)


def _flat(put: Put | None) -> dict[str, Any]:
    return {} if put is None else {name: getattr(put, name) for name in ABOUT} | dict(put.data)


def _put(key: str, fields: Mapping[str, Any]) -> Put:
    data = {name: value for name, value in fields.items() if name not in ABOUT and value is not MISSING}
    about = {name: fields[name] for name in ABOUT if fields[name] is not MISSING}
    return Put(key, data=data, **about)
