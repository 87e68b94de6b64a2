"""Published values of the properties of solids, each with its source and a tag.

Tags: "independent" is another measurement or author; "shared ancestry" rests on the same measurements as
our data; "recomputed" is the same published equation or table evaluated by somebody else's hand; "memory"
was written down from memory and is only as good as that; "ancestry unknown" is what it says.

What is merely recomputed stands here; the rest is evidence the program itself shows, and comes with it.
"""

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

Record = dict[str, Any]

_RECOMPUTED = Path(__file__).parent / "materials.json"
_SHOWN = files("server.physics.thermal") / "data" / "evidence" / "materials.json"

PUBLISHED: list[Record] = [
    *json.loads(_RECOMPUTED.read_text("utf-8")),
    *json.loads(_SHOWN.read_text("utf-8")),
]
"""Every published value there is."""
