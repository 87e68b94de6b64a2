"""American Wire Gauge against the table of ASTM B258."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.materials import awg_diameter_m, material

# ASTM B258, diameters as tabulated there in mils (0.001 inch), four significant digits and the
# definitions: No. 36 is 5 mils and No. 0000 is 460 mils exactly.
B258_MILS = {
    "0000": 460.0,
    "000": 409.6,
    "00": 364.8,
    "0": 324.9,
    "1": 289.3,
    "2": 257.6,
    "4": 204.3,
    "6": 162.0,
    "8": 128.5,
    "10": 101.9,
    "12": 80.8,
    "14": 64.1,
    "16": 50.8,
    "18": 40.3,
    "20": 32.0,
    "22": 25.3,
    "24": 20.1,
    "26": 15.9,
    "28": 12.6,
    "30": 10.0,
    "32": 8.0,
    "34": 6.3,
    "36": 5.0,
    "38": 4.0,
    "40": 3.1,
    "42": 2.5,
    "44": 2.0,
}

# The same standard in millimetres, and ohms per metre of copper of 100 % IACS (1.7241e-8 ohm m) at 20 °C.
B258_MM_AND_OHM = {
    20: (0.8118, 0.03331),
    22: (0.6438, 0.05296),
    24: (0.5106, 0.08421),
    26: (0.4049, 0.1339),
    28: (0.3211, 0.2129),
    30: (0.2546, 0.3385),
    32: (0.2019, 0.5383),
    34: (0.1601, 0.856),
    35: (0.1426, 1.079),
    36: (0.127, 1.361),
    38: (0.1007, 2.164),
    40: (0.0799, 3.441),
    42: (0.0633, 5.472),
    44: (0.0502, 8.7),
}

# A wire maker's sheet, ohms per metre at 4.2, 77 and 305 K.
WIRES_OHM_PER_M = {
    ("phosphor-bronze", 36): (8.56, 8.83, 10.3),
    ("manganin", 36): (34.6, 36.5, 38.8),
    # from memory:
    ("phosphor-bronze", 32): (3.34, 3.45, 4.02),
    ("manganin", 30): (8.64, 9.13, 9.69),
    ("manganin", 32): (13.5, 14.3, 15.1),
    ("nickel-chromium", 32): (33.2, 33.4, 34.0),
}


@pytest.mark.parametrize(("gauge", "mils"), B258_MILS.items())
def test_diameters_are_those_of_the_standard(gauge: str, mils: float) -> None:
    assert awg_diameter_m(gauge) == pytest.approx(mils * 25.4e-6, abs=0.05 * 25.4e-6)


@pytest.mark.parametrize(("gauge", "row"), B258_MM_AND_OHM.items())
def test_diameters_in_millimetres_and_resistances_are_those_of_the_standard(
    gauge: int, row: tuple[float, float]
) -> None:
    diameter_mm, ohm_per_m = row
    area_m2 = 3.141592653589793 / 4.0 * awg_diameter_m(gauge) ** 2
    assert awg_diameter_m(gauge) == pytest.approx(diameter_mm * 1e-3, abs=0.6e-7)
    assert 1.7241e-8 / area_m2 == pytest.approx(ohm_per_m, rel=5e-4)


@pytest.mark.parametrize(("wire", "row"), WIRES_OHM_PER_M.items())
def test_ohms_per_metre_of_a_wire_are_those_of_its_sheet(
    wire: tuple[str, int], row: tuple[float, ...]
) -> None:
    name, gauge = wire
    area_m2 = 3.141592653589793 / 4.0 * awg_diameter_m(gauge) ** 2
    for T_K, ohm_per_m in zip((4.2, 77.0, 305.0), row, strict=True):
        assert material(name).resistivity_ohm_m(T_K) / area_m2 == pytest.approx(ohm_per_m, rel=0.025)


def test_the_thick_gauges_may_be_written_in_every_usual_way() -> None:
    assert awg_diameter_m("0000") == awg_diameter_m("4/0") == awg_diameter_m(-3)
    assert awg_diameter_m("00") == awg_diameter_m("2/0") == awg_diameter_m(-1)
    assert awg_diameter_m("0") == awg_diameter_m("1/0") == awg_diameter_m(0)


@pytest.mark.parametrize("gauge", ["", "57", "-4", "00000", "5/0", "36.5", "thirty", 57, -4])
def test_what_is_no_gauge_is_refused(gauge: str | int) -> None:
    with pytest.raises(Unphysical):
        awg_diameter_m(gauge)


@given(st.integers(-3, 55))
def test_a_higher_gauge_is_a_thinner_wire(gauge: int) -> None:
    assert awg_diameter_m(gauge + 1) < awg_diameter_m(gauge)
