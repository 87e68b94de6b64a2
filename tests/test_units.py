"""Units: what people type becomes SI exactly, what a page shows is true, and a refusal says what to do."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server import units
from server.physics.materials import awg_diameter_m
from server.physics.statistics.bands import Band
from server.units import BadNumber, in_unit, parse_quantity, show, show_band, show_signed, to_si, unit_for

LINEAR = [unit for unit in units.UNITS.values() if unit.factor is not None]
NUMBERS = st.floats(min_value=-1e12, max_value=1e12, allow_subnormal=False)
POSITIVE = st.floats(min_value=1e-9, max_value=1e9)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # Definitions: SI Brochure, 9th edition, tables 7 and 8; NIST SP 811 (2008), appendix B.8.
        ("35", "cm", 0.35),
        ("0.127", "mm", 0.000127),
        ("1", "in", 0.0254),
        ("1", "bar", 100000.0),
        ("1", "mbar", 100.0),
        ("760", "torr", pytest.approx(101325, rel=1e-14)),
        ("1", "psi", pytest.approx(6894.757, rel=1e-7)),
        ("1", "in·lbf", pytest.approx(0.1129848, rel=1e-6)),
        ("20", "°C", 293.15),
        ("-269.95", "°C", 3.2),
        ("30", "dBm", 1.0),
        ("-30", "dBm", pytest.approx(1e-6)),
        ("3", "mm2", 3e-6),
        ("8", "L", 0.008),
        ("1", "d", 86400.0),
        ("5", "%", 0.05),
        # ASTM B258: No. 36 is 0.0050 inch, No. 0000 is 0.4600 inch.
        ("36", "AWG", 0.000127),
        ("-3", "AWG", pytest.approx(0.46 * 0.0254)),
    ],
)
def test_a_typed_number_becomes_exact_si(text: str, unit: str, value: float) -> None:
    assert to_si(text, unit) == value


@pytest.mark.parametrize("spelling", ["in·lbf", "in lbf", "in-lbf", "in.lbf", "lbf·in", "lbf in"])
def test_a_torque_is_read_in_every_usual_spelling(spelling: str) -> None:
    assert parse_quantity(f"5 {spelling}", "N_m", None) == pytest.approx(0.5649, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "suffix", "value"),
    [
        ("0.30 m", "m", 0.3),
        ("35cm", "m", 0.35),
        (" 0,3 m ", "m", 0.3),
        ("1,5 mm", "m", 0.0015),
        ("1 e-3 m", "m", 0.001),
        ("1E-3m", "m", 0.001),
        ("1×10⁻³ m", "m", 0.001),
        ("2 x 10^-3 m", "m", 0.002),
        ("3 mm²", "m2", 3e-6),
        ("3 mm^2", "m2", 3e-6),
        ("AWG 36", "m", 0.000127),
        ("36 awg", "m", 0.000127),
        ("50 um", "m", 5e-5),
        ("50 µm", "m", 5e-5),
        ("50 μm", "m", 5e-5),
        ("50 Ω", "ohm", 50.0),
        ("50 ohm", "ohm", 50.0),
        ("0.3 W/(m K)", "W_m_K", 0.3),
        ("0.3 W m⁻¹ K⁻¹", "W_m_K", 0.3),
        ("5 1/m", "per_m", 5.0),
        ("5 m⁻¹", "per_m", 5.0),
        ("−5 °C", "K", 268.15),
        ("1 000 mK", "K", 1.0),
        ("5 %", "", 0.05),
        ("0.05", "", 0.05),
        ("300 mTorr", "Pa", pytest.approx(39.9967, rel=1e-6)),
    ],
)
def test_what_people_type_is_read_without_complaint(text: str, suffix: str, value: float) -> None:
    assert parse_quantity(text, suffix, None) == value


@pytest.mark.parametrize(
    "text",
    [
        "0.2–0.4 m",
        "0.2-0.4 m",
        "0.2 to 0.4 m",
        "0.2 m to 40 cm",
        "20 cm - 40 cm",
        "0,2—0,4 m",
        "0.2 … 0.4 m",
        "0.2..0.4 m",
    ],
)
def test_a_dash_or_to_makes_a_range(text: str) -> None:
    assert parse_quantity(text, "m", None) == Band(0.2, None, 0.4)


def test_a_range_with_negative_ends_is_read() -> None:
    assert parse_quantity("-30--20 dBm", "W", None) == Band(1e-6, None, 1e-5)


def test_a_range_of_gauges_runs_from_thin_to_thick() -> None:
    thin, thick = awg_diameter_m(36), awg_diameter_m(32)
    assert parse_quantity("AWG 32–36", "m", None) == Band(thin, None, thick)


@pytest.mark.parametrize("text", ["?", " ? ", "unknown", "Unknown"])
def test_unknown_is_not_zero(text: str) -> None:
    assert parse_quantity(text, "m", "mm") is None


def test_a_bare_number_takes_the_fields_own_unit() -> None:
    assert parse_quantity("36", "m", "AWG") == 0.000127
    assert parse_quantity("0.2-0.4", "m", "mm") == Band(0.0002, None, 0.0004)


@pytest.mark.parametrize(
    ("text", "suffix", "says"),
    [
        ("", "m", "Enter a length such as 0.30 m"),
        ("long", "m", "Enter a length such as 0.30 m"),
        ("nan", "m", "Enter a length"),
        ("inf m", "m", "Enter a length"),
        ("1e999 m", "m", "Enter a finite length"),
        ("1e9999999999 m", "m", "Enter a length"),
        ("0.3", "m", "Add the unit"),
        ("0.3 furlong", "m", "“furlong” is not a unit known here. Enter a length"),
        ("0.3 K", "m", "“K” is a unit of temperature. Enter a length"),
        ("0.4-0.2 m", "m", "smaller end"),
        ("0.2-0.2 m", "m", "both ends"),
        ("1,000 m", "m", "Write 1000 or 1.000"),
        ("36.5 AWG", "m", "whole gauge"),
        ("99 AWG", "m", "AWG 36"),
        ("1e300 AWG", "m", "such as"),
        ("1e300 dBm", "W", "finite power"),
        ("2 x 100 mm", "m", "Enter a length"),
        ("0.2 400 mm", "m", "Enter a length"),
        ("٣ m", "m", "Enter a length"),
        ("3" * 121, "m", "within 120 characters"),
    ],
)
def test_a_refusal_says_what_to_do(text: str, suffix: str, says: str) -> None:
    with pytest.raises(BadNumber, match=says):
        parse_quantity(text, suffix, None)


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e400", "0x10", "", "1_000"])
def test_to_si_refuses_what_is_no_finite_number(text: str) -> None:
    with pytest.raises(BadNumber):
        to_si(text, "mm")


def test_to_si_refuses_a_unit_it_does_not_know() -> None:
    with pytest.raises(BadNumber, match="furlong"):
        to_si("3", "furlong")


@given(st.sampled_from(LINEAR), NUMBERS)
def test_a_number_shown_in_an_input_reads_back_as_the_same_number(unit: units.Unit, value: float) -> None:
    back = parse_quantity(show(value, unit.symbol), unit.suffix, unit.symbol)
    # A thermometer's zero is far from absolute zero: below 1e-20 K nothing is left of a value in °C.
    assert back == pytest.approx(value, rel=0, abs=1e-20 if unit.offset else 0)


@given(st.sampled_from(LINEAR), POSITIVE, POSITIVE)
def test_a_range_shown_in_an_input_reads_back(unit: units.Unit, one: float, other: float) -> None:
    low, high = sorted((one, other))
    shown = parse_quantity(show(Band(low, None, high), unit.symbol), unit.suffix, unit.symbol)
    assert shown == (low if low == high else Band(low, None, high))


@given(st.sampled_from(LINEAR), POSITIVE, POSITIVE, POSITIVE)
def test_a_best_value_with_its_range_reads_back(
    unit: units.Unit, one: float, two: float, three: float
) -> None:
    low, best, high = sorted((one, two, three))
    shown = parse_quantity(show(Band(low, best, high), unit.symbol), unit.suffix, unit.symbol)
    assert shown == (low if low == high else Band(low, best, high))


@pytest.mark.parametrize(
    ("text", "band"),
    [
        ("0.3 m (0.2–0.4)", Band(0.2, 0.3, 0.4)),
        ("30 (20 to 40) cm", None),
        ("30 cm (200–400 mm)", Band(0.2, 0.3, 0.4)),
        ("300 (200-400)", Band(0.2, 0.3, 0.4)),
        ("0.5 m (0.2–0.4)", None),
        ("0.3 m (0.2)", None),
        ("0.3 m (?)", None),
        ("0.3 m (0.2-0.4", None),
        ("0.1-0.2 m (0.1–0.4 m)", None),
    ],
)
def test_a_best_value_stands_before_its_range(text: str, band: Band | None) -> None:
    if band is None:
        with pytest.raises(BadNumber):
            parse_quantity(text, "m", "mm")
    else:
        assert parse_quantity(text, "m", "mm") == band


@given(st.integers(-3, 56))
def test_a_whole_gauge_reads_back(gauge: int) -> None:
    text = show(awg_diameter_m(gauge), "AWG")
    assert text == f"AWG {gauge}"
    assert parse_quantity(text, "m", None) == awg_diameter_m(gauge)


@given(st.floats(min_value=-120, max_value=60))
def test_a_level_in_dBm_reads_back(level: float) -> None:
    power_W = 1e-3 * 10 ** (level / 10)
    assert parse_quantity(show(power_W, "dBm"), "W", None) == pytest.approx(power_W, rel=1e-14)


@given(POSITIVE, POSITIVE)
def test_order_survives_conversion(one: float, other: float) -> None:
    for unit in LINEAR:
        first, second = to_si(repr(one), unit.symbol), to_si(repr(other), unit.symbol)
        assert (first <= second) == (one <= other) or math.isclose(first, second)


def test_a_diameter_that_is_no_gauge_is_shown_in_millimetres() -> None:
    assert show(0.0003, "AWG") == "0.3 mm"
    assert show(Band(0.0001, None, 0.0003), "AWG") == "0.1–0.3 mm"
    assert show(Band(awg_diameter_m(36), None, awg_diameter_m(32)), "AWG") == "AWG 36–32"


def test_no_power_at_all_is_shown_in_milliwatts() -> None:
    assert show(0.0, "dBm") == "0 mW"


def test_unknown_is_shown_as_a_question_mark() -> None:
    assert show(None, "mm") == "?"


def test_an_input_never_hides_an_open_end() -> None:
    assert show(Band(5.2, None, None), "K") == "> 5.2 K"


@pytest.mark.parametrize(
    ("quantity", "unit", "text"),
    [
        (Band(3.19, 3.21, 3.26), "K", "3.21 K (3.19–3.26)"),
        (Band(3.1, None, 4.0), "K", "3.1–4.0 K"),
        (Band(5.26, None, None), "K", "> 5.2 K"),
        (Band(None, None, 4.01), "K", "< 4.1 K"),
        (Band(None, 3.2, None), "K", "about 3.2 K, range not known"),
        (None, "K", "not known"),
        (3.2, "K", "3.2 K"),
        (Band(0.00041, 0.00048, 0.00075), "mW", "0.48 mW (0.41–0.75)"),
        (Band(1e-5, None, 0.1), "W", "0.000010–0.10 W"),
        (Band(0.0, 0.0, 0.0), "mW", "0 mW"),
        (Band(0.0004, 0.0005, 0.00061), "µW", "500 µW (400–610)"),
        (Band(-0.02, 0.01, 0.03), "mW", "10 mW (−20 … 30)"),
        (Band(0.02, None, 0.05), "", "0.02–0.05"),
    ],
)
def test_a_band_is_shown_in_the_digits_it_deserves(quantity: units.Quantity, unit: str, text: str) -> None:
    assert show_band(quantity, unit) == text


@pytest.mark.parametrize(
    ("quantity", "unit", "text"),
    [
        (Band(0.040, 0.048, 0.075), "mK", "+48 mK (+40 … +75)"),
        (Band(-0.00009, -0.00008, -0.00006), "µW", "−80 µW (−90 … −60)"),
        (Band(2.04, None, None), "K", "> +2.0 K"),
        (Band(0.04, None, 0.07), "K", "+0.04 … +0.07 K"),
        (0.0, "K", "0 K"),
    ],
)
def test_a_difference_always_has_its_sign(quantity: units.Quantity, unit: str, text: str) -> None:
    assert show_signed(quantity, unit) == text


@given(POSITIVE, POSITIVE, POSITIVE)
def test_the_shown_ends_hold_the_band(one: float, two: float, three: float) -> None:
    low, best, high = sorted((one, two, three))
    text = show_band(Band(low, best, high), "K").replace("−", "-")
    if math.isclose(low, high, rel_tol=1e-11):
        return
    ends = text.split("(")[1].rstrip(")").split("–")
    assert Decimal(ends[0]) <= Decimal(low) * Decimal("1.00000000001")
    assert Decimal(ends[1]) >= Decimal(high) * Decimal("0.99999999999")


def test_cells_that_are_compared_share_one_unit() -> None:
    assert unit_for([0.00056, 0.0099], "W") == "mW"
    assert unit_for([0.00056, Band(0.1, 0.2, 3.0)], "W") == "W"
    assert unit_for([3e-6], "W") == "µW"
    assert unit_for([-0.048], "K") == "mK"
    assert unit_for([Band(2.0, None, None)], "K") == "K"
    assert unit_for([], "W") == "W"
    assert unit_for([0.0, None], "W") == "W"
    assert unit_for([40.0], "K_W") == "K/W"


def test_a_number_on_a_page_is_rounded_to_its_digits() -> None:
    assert in_unit(0.127e-3, "mm") == "0.127 mm"
    assert in_unit(0.56489, "in·lbf", 2) == "5 in·lbf"
    assert in_unit(268.15, "°C") == "−5 °C"
    assert in_unit(1.3e-9, "mbar") == "1.3e-11 mbar"


def test_no_two_units_share_a_spelling() -> None:
    keys = [units._key(symbol) for symbol in units.UNITS]
    assert len(set(keys)) == len(keys)
    assert not set(map(units._key, units.SAME)) & set(keys)


def test_every_example_in_a_refusal_can_be_typed() -> None:
    for kind in units.KINDS.values():
        assert isinstance(parse_quantity(kind.example, kind.suffix, None), float)


def test_the_suffix_of_a_name_is_its_longest() -> None:
    assert units.suffix_of("torque_N_m") == "N_m"
    assert units.suffix_of("conductivity_W_m_K") == "W_m_K"
    assert units.suffix_of("length_m") == "m"
    assert units.suffix_of("count") == ""


def test_prefixes_are_listed_and_not_derived() -> None:
    # A square millimetre is 1e-6 square metres (SI Brochure, 9th edition, section 3).
    assert units.UNITS["mm2"].factor == Decimal("1e-6")
    assert units.UNITS["mm2"].shown == "mm²"
