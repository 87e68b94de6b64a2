"""Properties of solids between 1 and 310 K, each with its source, range and uncertainty."""

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
