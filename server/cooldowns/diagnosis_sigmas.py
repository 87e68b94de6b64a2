"""Standard deviations that somebody typed into an address."""

from server.cooldowns.diagnosis_rules import LABELS, RATIOS
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web.forms import Form

PREFIX = "sigma_"
LEAST, MOST = 1e-6, 100.0


def read(typed: Form) -> tuple[dict[str, float], dict[str, str]]:
    """Witness → standard deviation, in kelvin or as a share; field → what to mend."""
    found: dict[str, float] = {}
    wrong: dict[str, str] = {}
    for name, text in typed.under(PREFIX).items():
        if name in LABELS and text:
            try:
                found[name] = _one(name, text)
            except BadNumber as problem:
                wrong[PREFIX + name] = str(problem)
    return found, wrong


def _one(name: str, text: str) -> float:
    ratio = name in RATIOS
    value = parse_quantity(text, "" if ratio else "K", "%" if ratio else "mK")
    if value is None or isinstance(value, Band) or not LEAST <= value <= MOST:
        raise BadNumber(f"Enter one number above zero such as {'3 %' if ratio else '20 mK'}")
    return value
