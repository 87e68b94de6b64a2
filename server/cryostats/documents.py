"""An element between its JSON form and the books: what a document says, plus what only the book keeps."""

from collections.abc import Mapping
from typing import Any

from server.cryostats.rules import Put

BOOK_FIELDS = {"key": str, "kind": str, "label": str, "note": str, "house": bool, "part": str}


def put_of(row: Mapping[str, Any], path: str) -> tuple[Put, dict[str, str]]:
    """The element as sent, and what is wrong with the book's own fields, by path."""
    faults = {}
    about: dict[str, Any] = {"key": "", "kind": "", "label": "", "note": "", "house": False, "part": ""}
    for name, kind in BOOK_FIELDS.items():
        value = row.get(name, about[name])
        if not isinstance(value, kind):
            faults[f"{path}.{name}"] = "Enter true or false" if kind is bool else "Enter a text"
        else:
            about[name] = value
    data = {name: value for name, value in row.items() if name not in BOOK_FIELDS}
    return Put(data=data, **about), faults


def written(put: Put) -> dict[str, Any]:
    """The element as the API and the document show it."""
    about: dict[str, Any] = {"key": put.key, "kind": put.kind}
    for name in ("label", "note", "house", "part"):
        if getattr(put, name):
            about[name] = getattr(put, name)
    return about | dict(put.data)
