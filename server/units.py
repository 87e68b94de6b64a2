"""THE unit table: to SI once at the form, from SI once at the page, and the legal suffixes of names.

Inside the program every number is SI and its name ends in the unit (`length_m`, `heat_W`). People type and
read what the trade uses. Powers of ten are applied in decimal, so that "35 cm" is 0.35 and nothing else.
"""

import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from server.physics.errors import PhysicsError
from server.physics.materials import awg_diameter_m
from server.physics.statistics.bands import Band

Quantity = float | Band | None
LONGEST = 120
MOST_DIGITS = 4
NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
UNIT = r"(?:1/[^\s\d]+|[^\s\d+.,–-][^,–]*?)??"
BEST_AND_RANGE = re.compile(r"(?i)(.+?)\s*\(((?:[+-]?[0-9.]|AWG|\?).*)\)")
ONE_OR_RANGE = re.compile(rf"({NUMBER})\s*({UNIT})\s*(?:(?:–|-|to\b)\s*({NUMBER})\s*({UNIT}))?")
TIMES_TEN = re.compile(r"\s*[·×x*]\s*10(?:\^([+-]?[0-9]+)|([+-][0-9]+)|([⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+))")
GROUPED = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2}(?:\s[0-9]{3})+(?![0-9])")
TWO_READINGS = re.compile(r"(?<![0-9])[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")


class BadNumber(ValueError):
    """A typed quantity that cannot be read. The message is a sentence that says what to do."""


@dataclass(frozen=True)
class Unit:
    """One unit: SI value = typed value × `factor` + `offset`. A `None` factor means it is not linear."""

    symbol: str
    quantity: str
    suffix: str
    factor: Decimal | None
    offset: Decimal = Decimal(0)

    @property
    def shown(self) -> str:
        """The symbol as a page prints it: `mm²` for `mm2`."""
        return self.symbol.replace("2", "²").replace("3", "³").replace("ohm", "Ω")


@dataclass(frozen=True)
class Kind:
    """What a name suffix measures: its noun, an example to type, and its units with their factors."""

    suffix: str
    noun: str
    example: str
    units: dict[str, Decimal]

    @property
    def advice(self) -> str:
        """The first half of every refusal."""
        return f"Enter {self.noun} such as {self.example}"


# suffix | noun | example | unit factor, unit factor. The first unit is the SI one.
# Exact: in, lbf and psi from the international yard and pound and standard gravity; torr is 101325/760 Pa
# (NIST SP 811, 2008, appendix B.8; psi, torr and in·lbf cut at 16 digits).
TABLE = """
m       | a length              | 0.30 m          | m 1, cm 1e-2, mm 1e-3, µm 1e-6, nm 1e-9, in 0.0254
m2      | an area               | 25 mm²          | m2 1, cm2 1e-4, mm2 1e-6, µm2 1e-12
m3      | a volume              | 8 L             | m3 1, L 1e-3, mL 1e-6, cm3 1e-6
per_m   | a value per length    | 0.3 1/m         | 1/m 1, 1/cm 1e2, 1/mm 1e3
kg      | a mass                | 120 g           | kg 1, g 1e-3, mg 1e-6
s       | a time                | 4 h             | s 1, ms 1e-3, min 60, h 3600, d 86400
K       | a temperature         | 3.6 K           | K 1, mK 1e-3
W       | a power               | 20 mW           | W 1, mW 1e-3, µW 1e-6, nW 1e-9, kW 1e3
J       | an energy             | 40 mJ           | J 1, mJ 1e-3, kJ 1e3
N       | a force               | 800 N           | N 1, mN 1e-3, kN 1e3, lbf 4.4482216152605
N_m     | a torque              | 0.5 N·m         | N·m 1, cN·m 1e-2, mN·m 1e-3, in·lbf 0.1129848290276167
N_per_m | a stiffness           | 20 N/mm         | N/m 1, N/mm 1e3
Pa      | a pressure            | 1e-6 mbar       | Pa 1, kPa 1e3, MPa 1e6, GPa 1e9, mbar 1e2, bar 1e5, \
                                                    torr 133.3223684210526, mtorr 0.1333223684210526, \
                                                    psi 6894.757293168361
A       | a current             | 10 mA           | A 1, mA 1e-3, µA 1e-6, nA 1e-9
V       | a voltage             | 150 V           | V 1, mV 1e-3, µV 1e-6, kV 1e3
ohm     | a resistance          | 50 Ω            | ohm 1, mohm 1e-3, kohm 1e3, Mohm 1e6
ohm_m   | a resistivity         | 1.1e-7 Ω·m      | ohm·m 1, µohm·cm 1e-8, nohm·m 1e-9, µohm·m 1e-6
W_K     | a conductance         | 20 mW/K         | W/K 1, mW/K 1e-3, µW/K 1e-6
K_W     | a thermal resistance  | 40 K/W          | K/W 1, mK/mW 1, K/mW 1e3
W_m_K   | a conductivity        | 0.3 W/(m·K)     | W/(m·K) 1, mW/(m·K) 1e-3, W/(cm·K) 1e2, mW/(cm·K) 0.1
W_m2_K  | a conductance by area | 500 W/(m²·K)    | W/(m2·K) 1
W_m2    | a heat flux           | 459 W/m²        | W/m2 1, mW/cm2 10
J_kg    | an enthalpy           | 79 kJ/kg        | J/kg 1, kJ/kg 1e3
J_kg_K  | a specific heat       | 385 J/(kg·K)    | J/(kg·K) 1, J/(g·K) 1e3, mJ/(g·K) 1
kg_m3   | a density             | 8960 kg/m³      | kg/m3 1, g/cm3 1e3
Pa_m3_s | a leak rate           | 1e-9 mbar·L/s   | Pa·m3/s 1, mbar·L/s 0.1
m3_s    | a flow                | 8 L/min         | m3/s 1, L/min 1.6666666666667e-5, L/h 2.7777777777778e-7
Hz      | a frequency           | 1.4 Hz          | Hz 1, mHz 1e-3, kHz 1e3, MHz 1e6
        | a number              | 0.05            | % 1e-2
"""


def _kind(line: str) -> Kind:
    suffix, noun, example, units = (part.strip() for part in line.split("|"))
    pairs = (unit.split() for unit in units.split(","))
    return Kind(suffix, noun, example, {symbol: Decimal(factor) for symbol, factor in pairs})


KINDS = {kind.suffix: kind for kind in map(_kind, TABLE.replace("\\\n", "").strip("\n").splitlines())}
UNITS = {
    symbol: Unit(symbol, kind.noun.split(" ", 1)[1], kind.suffix, factor)
    for kind in KINDS.values()
    for symbol, factor in kind.units.items()
} | {
    "": Unit("", "number", "", Decimal(1)),
    "°C": Unit("°C", "temperature", "K", Decimal(1), Decimal("273.15")),
    "AWG": Unit("AWG", "length", "m", None),
    "dBm": Unit("dBm", "power", "W", None),
}
# Suffixes of names that nobody types: constants and what a formula passes on.
UNTYPED = (
    "W_m",
    "W_m2_K4",
    "W_m2_K_Pa",
    "J_K",
    "J_mol_K",
    "kg_mol",
    "per_K",
    "m_K",
    "m_s",
    "m_s2",
    "K_m",
    "K_s",
)
SUFFIXES = tuple(sorted((set(KINDS) | set(UNTYPED)) - {""}, key=lambda suffix: (-len(suffix), suffix)))
# Other spellings people use, each before the symbol it means.
SAME_AS = """
inch in, l L, ml mL, Torr torr, mTorr mtorr, PSI psi, hPa mbar, lbf·in in·lbf, awg AWG, C °C, degC °C,
sec s, hr h, hour h, hours h, day d, days d, percent %, /m 1/m, /cm 1/cm, /mm 1/mm,
W/m/K W/(m·K), W/m2/K W/(m2·K), J/kg/K J/(kg·K), mW/m/K mW/(m·K), W/cm/K W/(cm·K), mW/cm/K mW/(cm·K),
J/g/K J/(g·K), mJ/g/K mJ/(g·K)
"""
SAME = dict(pair.split() for pair in SAME_AS.split(","))
LADDERS = {"W": ("nW", "µW", "mW", "W"), "K": ("mK", "K"), "m": ("µm", "mm", "m"), "A": ("µA", "mA", "A")}


def _key(name: str) -> str:
    """One spelling for all that mean the same: `in lbf`, `in-lbf`, `in·lbf`; µ as u; Ω as ohm."""
    plain = unicodedata.normalize("NFKC", name).replace("Ω", "ohm").replace("μ", "u")
    return re.sub(r"[\s·⋅*.^()-]", "", plain)


BY_KEY = {_key(symbol): unit for symbol, unit in UNITS.items()} | {_key(a): UNITS[b] for a, b in SAME.items()}


def unit_named(name: str) -> Unit:
    """The unit somebody wrote as `name`, in any of its spellings. Raises BadNumber if there is none."""
    found = BY_KEY.get(_key(name))
    if found is None:
        raise BadNumber(f"“{name}” is not a unit known here")
    return found


def suffix_of(name: str) -> str:
    """The unit suffix of a field's name: `length_m` → `m`; empty for a name without one."""
    return next((suffix for suffix in SUFFIXES if name.endswith(f"_{suffix}")), "")


def _gauge_to_m(gauge: float) -> float:
    if gauge != round(gauge):
        raise BadNumber("Enter a whole gauge such as AWG 36, or a diameter such as 0.127 mm")
    try:
        return float(awg_diameter_m(round(gauge)))
    except PhysicsError as problem:
        raise BadNumber("Enter a gauge such as AWG 36, or a diameter such as 0.127 mm") from problem


def _m_to_gauge(diameter_m: float) -> float:
    """The exact inverse of ASTM B258: the gauge as a real number."""
    return 36 - 39 * math.log(diameter_m / 0.127e-3, 92)


CURVED = {
    "AWG": (_gauge_to_m, _m_to_gauge),
    "dBm": (lambda level: 1e-3 * 10 ** (level / 10), lambda power_W: 10 * math.log10(power_W / 1e-3)),
}


def to_si(number_text: str, unit: str) -> float:
    """The SI value of a number as typed, in `unit`. Raises BadNumber."""
    found = unit_named(unit)
    tidy = _tidy(number_text, found.suffix)
    if not re.fullmatch(NUMBER, tidy):
        raise BadNumber(KINDS[found.suffix].advice)
    return _si(Decimal(tidy), found)


def _si(number: Decimal, unit: Unit) -> float:
    try:
        if unit.factor is None:
            value = float(CURVED[unit.symbol][0](float(number)))
        else:
            value = float(number * unit.factor + unit.offset)
    except ArithmeticError:
        value = math.inf
    if not math.isfinite(value):
        raise BadNumber(f"Enter a finite {unit.quantity} such as {KINDS[unit.suffix].example}")
    return value


def _tidy(text: str, suffix: str) -> str:
    """Typed text with one spelling of minus, exponent, decimal point and dash."""
    if len(text) > LONGEST:
        raise BadNumber(f"{KINDS[suffix].advice}, within {LONGEST} characters")
    text = TIMES_TEN.sub(_exponent, text.strip())
    text = re.sub(r"(\w)⁻([¹²³])", _per, text)
    text = unicodedata.normalize("NFKC", text).replace("−", "-")
    text = re.sub(r"(?<=[0-9.])\s+[eE]\s*(?=[+-]?[0-9])", "e", text)
    text = GROUPED.sub(lambda found: re.sub(r"\s", "", found[0]), text)
    text = re.sub(r"\s*(?:—|…|\.\.\.?)\s*", "–", text)
    if TWO_READINGS.search(text):
        raise BadNumber("Write 1000 or 1.000: a comma before three digits can be read both ways")
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text)


def _exponent(found: re.Match[str]) -> str:
    return "e" + (found[1] or found[2] or found[3]).translate(SUPERSCRIPTS)


def _per(found: re.Match[str]) -> str:
    """`m⁻²` as `/m2`: the letter before the exponent moves below the line."""
    power = found[2].translate(SUPERSCRIPTS)
    return f"/{found[1]}{'' if power == '1' else power}"


def parse_quantity(text: str, suffix: str, default_unit: str | None) -> Quantity:
    """What somebody typed into a field whose name ends in `suffix`, in SI.

    `0.30 m` or `35 cm` is a number, `0.2–0.4 m` a range (a hyphen or `to` will do), `0.3 m (0.2–0.4)` a best
    value with its range, `?` or `unknown` is None. A bare number is in `default_unit`; where that is None it
    is refused. Raises BadNumber.
    """
    if text.strip().lower() in ("?", "unknown"):
        return None
    tidy = _tidy(text, suffix)
    within = BEST_AND_RANGE.fullmatch(tidy)
    if within is not None:
        return _with_best(within[1], within[2], suffix, default_unit)
    tidy = re.sub(r"(?i)^AWG\s*(.+)$", r"\1 AWG", tidy)
    found = ONE_OR_RANGE.fullmatch(tidy)
    if found is None:
        raise BadNumber(f"{KINDS[suffix].advice}, or ? for unknown")
    low, low_unit, high, high_unit = found.groups()
    first = _unit_for(low_unit or high_unit or "", suffix, default_unit)
    if high is None:
        return _si(Decimal(low), first)
    last = _unit_for(high_unit or low_unit or "", suffix, default_unit)
    return _range(_si(Decimal(low), first), _si(Decimal(high), last), first, suffix)


def _with_best(best: str, ends: str, suffix: str, default_unit: str | None) -> Band:
    """A best value and its range, whose unit may stand with either."""
    found = ONE_OR_RANGE.fullmatch(best)
    typed = (found[2] if found else "") or ("AWG" if best.upper().startswith("AWG") else "")
    middle = parse_quantity(best, suffix, default_unit)
    span = parse_quantity(ends, suffix, typed or default_unit)
    if not isinstance(middle, float) or not isinstance(span, Band):
        raise BadNumber(f"{KINDS[suffix].advice}, or a best value with its range behind it in brackets")
    if span.low is None or span.high is None or not span.low <= middle <= span.high:
        raise BadNumber("The best value lies within its range")
    return Band(span.low, middle, span.high)


def _range(low: float, high: float, unit: Unit, suffix: str) -> Band:
    if unit.symbol == "AWG":
        low, high = sorted((low, high))
    if low > high:
        raise BadNumber("Enter the smaller end of the range first")
    if low == high:
        raise BadNumber(f"{KINDS[suffix].advice}: both ends of this range are the same")
    return Band(low, None, high)


def _unit_for(typed: str, suffix: str, default_unit: str | None) -> Unit:
    if not typed and default_unit is None and suffix:
        raise BadNumber(f"Add the unit. {KINDS[suffix].advice}")
    unit = BY_KEY.get(_key(typed or default_unit or ""))
    if unit is None:
        known = ", ".join(row.shown for row in UNITS.values() if row.suffix == suffix)
        raise BadNumber(f"“{typed}” is not a unit known here. {KINDS[suffix].advice} ({known})")
    if unit.suffix != suffix:
        raise BadNumber(f"“{typed or default_unit}” is a unit of {unit.quantity}. {KINDS[suffix].advice}")
    return unit


def _value_in(value: float, unit: Unit) -> Decimal:
    if unit.factor is None:
        return Decimal(repr(CURVED[unit.symbol][1](value)))
    return (Decimal(repr(float(value))) - unit.offset) / unit.factor


def _plain(number: Decimal) -> str:
    """Digits without trailing zeros; powers of ten only where zeros would be hard to count."""
    if number == 0:
        return "0"
    number = number.normalize()
    if -5 <= number.adjusted() < 7:
        return f"{number:f}"
    mantissa, _, exponent = f"{number:e}".partition("e")
    return f"{mantissa}e{int(exponent)}"


def _rounded(number: Decimal, digits: int) -> Decimal:
    return Decimal(f"{number:.{digits - 1}e}")


def _shortest(value: float, unit: Unit) -> str:
    """The fewest digits that read back as the same number."""
    return _plain(_reading_back(value, unit) or _value_in(value, unit))


def _reading_back(value: float, unit: Unit) -> Decimal | None:
    """The number with the fewest digits that reads back as `value`; None where rounding forbids one."""
    exact = _value_in(value, unit)
    tries = (_rounded(exact, digits) for digits in (3, 6, 9, 12, 15, 16, 17, 20, 24))
    return next((number for number in tries if _si(number, unit) == value), None)


def show(quantity: Quantity, unit: str) -> str:
    """The inverse of `parse_quantity`, as an input holds it: `0.3 m`, `0.2–0.4 m`, `0.3 m (0.2–0.4)`, `?`.

    It reads back as the same number. A diameter that is no whole gauge is shown in mm.
    """
    if quantity is None:
        return "?"
    found = unit_named(unit)
    low, best, high = _three(quantity)
    if low is None or high is None:
        return show_band(quantity, unit)
    if best is not None and low < high:
        if found.factor is None and not all(_reachable(value, found) for value in (low, best, high)):
            unit = "mm" if found.symbol == "AWG" else "mW"
        ends = show(Band(low, None, high), unit).removesuffix(found.shown if unit == found.symbol else unit)
        return f"{show(best, unit)} ({ends.strip()})"
    values = [float(low)] if low == high else [float(low), float(high)]
    if found.factor is None and not all(_reachable(value, found) for value in values):
        found = UNITS["mm" if found.symbol == "AWG" else "mW"]
    texts = [_plain(_whole(value)) if found.symbol == "AWG" else _shortest(value, found) for value in values]
    joined = (" to " if any(text.startswith("-") for text in texts) else "–").join(texts)
    return f"AWG {joined}" if found.symbol == "AWG" else f"{joined} {found.shown}".strip()


def _whole(diameter_m: float) -> Decimal:
    return Decimal(round(_m_to_gauge(diameter_m)))


def _reachable(value: float, unit: Unit) -> bool:
    """Whether a bent unit can say this value: a whole gauge, a level that reads back as the same power."""
    if value <= 0:
        return False
    if unit.symbol != "AWG":
        return _reading_back(value, unit) is not None
    gauge = round(_m_to_gauge(value))
    return -3 <= gauge <= 56 and math.isclose(awg_diameter_m(gauge), value, rel_tol=1e-12)


def in_unit(value: float, unit: str, digits: int = 3) -> str:
    """A number for a page, rounded to `digits` significant digits, with its unit."""
    found = unit_named(unit)
    return f"{_signed(_rounded(_value_in(value, found), digits).normalize(), False)} {found.shown}".strip()


def unit_for(quantities: Iterable[Quantity], suffix: str) -> str:
    """One unit for a set of cells that are compared: the one in which the largest is 1 or a little more."""
    ends = [end for quantity in quantities for end in _three(quantity) if end is not None]
    largest = max((abs(end) for end in ends), default=0.0)
    ladder = LADDERS.get(suffix) or (next(iter(KINDS[suffix].units)),)
    fitting = [symbol for symbol in ladder if largest >= float(UNITS[symbol].factor or 1)]
    return fitting[-1] if fitting else ladder[-1 if largest == 0 else 0]


def show_band(quantity: Quantity, unit: str, signed: bool = False) -> str:
    """A value with its central 95 % range, in as few digits as the range deserves, its ends rounded outward.

    `3.21 K (3.19–3.26)`; `> 5.2 K` where more cannot be said; `3.1–4.0 K` where only the range is known;
    `not known`. With `signed`, a difference: `+48 mK (+40 … +75)`.
    """
    found = unit_named(unit)
    low, best, high = (
        None if end is None else _rounded(_value_in(end, found), 12) for end in _three(quantity)
    )
    if low is None and high is None:
        return (
            f"about {_signed(_rounded(best, 3).normalize(), signed)} {found.shown}, range not known"
            if best is not None
            else "not known"
        )
    if low is None or high is None:
        return f"{_open_end(low, high, signed)} {found.shown}".strip()
    if low == high:
        return f"{_signed(_rounded(low, 3).normalize(), signed)} {found.shown}".strip()
    return _closed(low, best, high, found.shown, signed)


def show_signed(quantity: Quantity, unit: str) -> str:
    """A difference with its range, always with a sign."""
    return show_band(quantity, unit, signed=True)


def _three(quantity: Quantity) -> tuple[float | None, float | None, float | None]:
    if isinstance(quantity, Band):
        return quantity.low, quantity.best, quantity.high
    return quantity, quantity, quantity


def _open_end(low: Decimal | None, high: Decimal | None, signed: bool) -> str:
    """Two digits, rounded so that the sentence stays true: down after `>`, up after `<`."""
    mark, end, way = (">", low, ROUND_FLOOR) if low is not None else ("<", high, ROUND_CEILING)
    end = end or Decimal(0)
    return f"{mark} {_signed(_cut(end, 1 - end.adjusted() if end else 0, way), signed)}"


def _closed(low: Decimal, best: Decimal | None, high: Decimal, symbol: str, signed: bool) -> str:
    texts = [_signed(end, signed) for end in _ends_for_page(low, best, high)]
    between = " … " if signed or low < 0 else "–"
    if best is None:
        return f"{texts[0]}{between}{texts[1]} {symbol}".strip()
    middle = _signed(_cut(best, _places(low, best, high), ROUND_HALF_EVEN), signed)
    return f"{f'{middle} {symbol}'.strip()} ({texts[0]}{between}{texts[1]})"


def _ends_for_page(low: Decimal, best: Decimal | None, high: Decimal) -> tuple[Decimal, Decimal]:
    if best is None and low > 0 and high >= 10 * low:
        return _cut(low, 1 - low.adjusted(), ROUND_FLOOR), _cut(high, 1 - high.adjusted(), ROUND_CEILING)
    places = _places(low, best, high)
    return _cut(low, places, ROUND_FLOOR), _cut(high, places, ROUND_CEILING)


def _places(low: Decimal, best: Decimal | None, high: Decimal) -> int:
    """Decimal places that leave about three steps between the value and its nearer end."""
    span = high - low
    if best is not None:
        span = max(2 * min(high - best, best - low), span / 50)
    most = MOST_DIGITS - 1 - max(abs(low), abs(high)).adjusted()
    return min(math.ceil(-math.log10(span / 3)), most)


def _cut(number: Decimal, places: int, way: str) -> Decimal:
    return number.quantize(Decimal(1).scaleb(-places), way)


def _signed(number: Decimal, signed: bool) -> str:
    if number == 0:
        return "0"
    text = f"{number:f}" if -5 <= number.adjusted() < 7 else _plain(number)
    return text.replace("-", "−", 1) if number < 0 else ("+" if signed else "") + text


FILTERS = {made.__name__: made for made in (show, show_band, show_signed, in_unit, unit_for)}
