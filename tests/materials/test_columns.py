"""Tables of measured values, read from text."""

import pytest

from server.errors import Refused
from server.files.uploads import Sent, Upload
from server.materials import columns, forms
from server.materials.columns import BadTable, read, written
from server.materials.rules import Points
from server.web.forms import Form
from server.web.tabular import Unreadable, decoded

TWO = Points((4.0, 300.0), (0.31, 48.0))


@pytest.mark.parametrize(
    "text",
    [
        "T [K]; k [W/(m·K)]\n4; 0.31\n300; 48",
        "T [K]; k [W/(m·K)]\n4,0; 0,31\n300,0; 48,0",
        "T [K]\tk [W/(m·K)]\n4\t0,31\n300\t48",
        "T [K],k [W/(m·K)]\n4,0.31\n300,48",
        "k [mW/(m K)], T [K]\r\n310,4\r\n48000,300\r\n",
        "Temperature [mK]; Conductivity [W/m/K]\n4000; 0.31\n\n300000; 48\n",
        "T (K); k (W/(cm·K))\n4; 0.0031\n300; 0.48",
        '"T [K]";"k [W/(m·K)]";\n"4";"0,31";\n"300";"48";',
        "\ufefft [K]; λ [W m⁻¹ K⁻¹]\n4; 0.31\n300; 48".replace("W m⁻¹ K⁻¹", "W/(m K)"),
        "T [°C]; k [W/(m·K)]\n-269.15; 0.31\n26.85; 48",
    ],
)
def test_a_table_is_read_however_it_is_separated_and_in_whatever_unit(text: str) -> None:
    found = read(text)
    assert list(found.T_K) == pytest.approx(TWO.T_K)
    assert found.conductivity_W_m_K == pytest.approx(TWO.conductivity_W_m_K)


def test_a_decimal_comma_is_exact() -> None:
    assert read("T [K]; k [W/(m·K)]\n4,2; 0,35\n5,1; 1,5").conductivity_W_m_K == (0.35, 1.5)


def test_further_columns_are_read_in_their_units() -> None:
    found = read("T [K]; rho [µΩ·cm]; k [W/(m·K)]; cp [J/(g·K)]\n4; 11; 0.3; 0.0001\n300; 13; 48; 0.377")
    assert found.resistivity_ohm_m == pytest.approx((1.1e-7, 1.3e-7))
    assert found.specific_heat_J_kg_K == pytest.approx((0.1, 377.0))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "Paste a table"),
        ("4; 0.31\n300; 48", "Line 1: “4” is no column"),
        ("T; k [W/(m·K)]\n4; 1\n5; 2", "Line 1: write the unit of “T”"),
        ("T [W]; k [W/(m·K)]\n4; 1\n5; 2", "Line 1: “W” is no unit of temperature"),
        ("T [K]; k [furlong]\n4; 1\n5; 2", "Line 1: “furlong” is not a unit"),
        ("T [K]; T [K]; k [W/(m·K)]\n4; 4; 1\n5; 5; 2", "Line 1: there are two columns of temperature"),
        ("T [K]; rho [Ω·m]\n4; 1e-7\n5; 1e-7", "Line 1: name a column of conductivity"),
        ("T [K]; k [W/(m·K)]\n4; 1", "2 to 1000 lines of values; here are 1"),
        ("T [K]; k [W/(m·K)]\n4; 1\nfive; 2", "Line 3: Temperature “five”"),
        ("T [K]; k [W/(m·K)]\n4; 1\n\n5;", "Line 4: enter a conductivity"),
        ("T [K]; k [W/(m·K)]\n4; 1\n5; 2; 3", "Line 3: This line has more cells"),
        ("T [K], k [W/(m·K)]\n4,0,1\n5,2", "Line 2: This line has more cells"),
        ("T [K]; k [W/(m·K)]\n5; 1\n4; 2", "Line 3: temperatures must rise"),
        ("T [K]; k [W/(m·K)]\n4; 1\n4; 2", "Line 3: temperatures must rise"),
        ("T [K]; k [W/(m·K)]\n4; 0\n5; 2", "Line 2: Conductivity must be between"),
        ("T [K]; k [W/(m·K)]\n4; -1\n5; 2", "Line 2: Conductivity must be between"),
        ("T [K]; k [W/(m·K)]\n-4; 1\n5; 2", "Line 2: Temperature must be between"),
        ("T [K]; k [W/(m·K)]\n4; nan\n5; 2", "Line 2: Conductivity “nan”"),
        ("T [K]; k [W/(m·K)]\n4; 1e999\n5; 2", "Line 2: Conductivity “1e999”"),
        ("T [K]; k [W/(m·K)]\n4; 1,234\n5; 2", "Line 2: Conductivity “1,234”"),
        ("T [K]; k [W/(m·K)]\n4; 1\x07\n5; 2", "Line 2: There is a sign in this line that is no text"),
    ],
)
def test_what_is_to_mend_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(BadTable) as refusal:
        read(text)
    assert told in str(refusal.value)


def test_every_bad_line_is_told_up_to_a_handful() -> None:
    lines = "\n".join(f"{T}; none" for T in range(2, 10))
    with pytest.raises(BadTable, match=r"Line 2: .*; Line 3: .*; Line 6: .*; and 3 more lines"):
        read(f"T [K]; k [W/(m·K)]\n{lines}")


def test_more_than_a_thousand_points_are_refused() -> None:
    lines = "\n".join(f"{T}; 1" for T in range(1, 1002))
    with pytest.raises(BadTable, match="here are 1001"):
        read(f"T [K]; k [W/(m·K)]\n{lines}")


def test_what_is_written_is_read_back_to_the_last_digit() -> None:
    points = Points((4.2, 77.0, 1 / 3 + 300), (0.1 + 0.2, 1e-5, 48.0), (1.1e-7, 1.2e-7, 1.3e-7))
    assert read(written(points)) == points


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_file_is_read_whatever_spreadsheet_wrote_it(code: str) -> None:
    text = "T [K];k [W/(m·K)]\n4;0,31\n300;48"
    assert read(decoded(text.encode(code))) == TWO


def test_what_is_no_text_is_refused_and_not_stumbled_over() -> None:
    with pytest.raises(Unreadable, match="no text"):
        decoded(bytes(range(256)))
    with pytest.raises(Refused) as caught:
        forms.read_new(forms.typed(Sent(Form([]), (Upload("file", "x.csv", bytes(range(256))),))))
    assert caught.value.fields["table"].startswith("Line 2: There is a sign")


def test_every_column_names_a_unit_of_its_own_kind() -> None:
    """What the refusals advise is itself a head that can be read."""
    head = "; ".join(column.advice for column in columns.COLUMNS)
    assert read(f"{head}\n4; 1; 1e-7; 1\n5; 1; 1e-7; 1").resistivity_ohm_m == (1e-7, 1e-7)
