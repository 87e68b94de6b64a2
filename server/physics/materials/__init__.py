"""Properties of solids between 1 and 310 K, each with its source, its range and its uncertainty.

``material("phosphor-bronze")`` answers conductivity, its integral, resistivity, specific heat, enthalpy and
contraction; ``material(...).about("conductivity")`` says where they come from and how far to trust them.

Adding a material is one file in ``data/`` and its tests; nothing else knows the names.

1. Write ``data/<name>.json``. The name is lower case with hyphens, generic, and no trade mark::

       {
        "name": "stainless-310",
        "describes": "austenitic stainless steel 310",
        "kind": "steel",
        "conductivity": {
         "source": ["NIST-DB"],
         "confidence": "A",
         "range_K": [4, 300],
         "uncertainty": [[1, 0.35], [4, 0.2], [77, 0.05], [300, 0.05], [310, 0.06]],
         "pieces": [{"form": "log-polynomial", "from_K": 4, "to_K": 300, "coefficients": [...]}],
         "below": {"to_K": 1, "exponent": 1.1},
         "above": {"to_K": 310, "exponent": 0.5},
         "alternatives": [],
         "note": "Below 4 K a power law as other austenitic steels show it."
        }
       }

   - The four properties are ``conductivity`` [W/(m K)], ``resistivity`` [Ω m], ``specific_heat``
     [J/(kg K)] and ``contraction`` [(L293 − L)/L293]; leave out what nobody published.
   - ``source``: keys of ``data/sources.json``, where the full reference stands.
   - ``confidence``: A seen alike in three or more transcriptions of the source, B in one or two, C from
     memory and checked against A or B, D from memory only.
   - ``range_K``: where fit and data both stand, the narrower of the two.
   - ``uncertainty``: central 95 % as a fraction, one number or points against temperature. It holds the
     scatter of samples, not only that of the fit, and grows where the curve is extended.
   - ``pieces``: forms from ``forms.py``, coldest first. A table brings its own ``T_K`` and ``values``;
     a gap between two pieces is bridged by a straight line in log-log.
   - ``below`` and ``above``: a stated power law that continues the curve to 1 K and 310 K. Without it the
     curve ends, and a run across the end is a gap in the heat budget.
   - ``alternatives``: other published sets, which widen the band and nothing else. Where sets disagree the
     pieces are the cautious (better conducting) one.
   - ``note``: one or two sentences a user should read.

2. Put published values, each with its source and tag, into ``tests/reference/materials.json``.

3. Run ``pytest tests/physics/materials``: every entry is checked for completeness, for the bounds of its
   ``kind``, for steps at its joints, and its integral against adaptive quadrature.

A new functional form is one function in ``forms.py`` and one line in its table. A laboratory's own material
needs no file here: ``table_material`` makes one from measured points.
"""

from server.physics.materials.curve import About
from server.physics.materials.library import (
    constant_material,
    material,
    materials,
    read_material,
    sources,
    table_material,
)
from server.physics.materials.solid import Material
from server.physics.materials.wire import awg_diameter_m

__all__ = [
    "About",
    "Material",
    "awg_diameter_m",
    "constant_material",
    "material",
    "materials",
    "read_material",
    "sources",
    "table_material",
]
