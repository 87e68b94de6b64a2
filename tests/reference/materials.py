"""Published values of the properties of solids, each with its source and a tag.

Tags: "independent" is another measurement or author; "shared ancestry" rests on the same measurements as
our data; "recomputed" is the same published equation or table evaluated by somebody else's hand; "memory"
was written down from memory and is only as good as that; "ancestry unknown" is what it says.
"""

import json
from pathlib import Path
from typing import Any

Record = dict[str, Any]

PUBLISHED: list[Record] = json.loads((Path(__file__).parent / "materials.json").read_text("utf-8"))
