"""American Wire Gauge."""

import re

from server.physics.errors import Unphysical

THINNEST_GAUGE = 56
THICKEST_GAUGE = -3


def awg_diameter_m(gauge: int | str) -> float:
    """Diameter of a solid round wire of an American Wire Gauge.

    d = 0.127 mm · 92^((36 − n)/39): No. 36 is 0.005 inch and No. 0000 is 0.46 inch, by definition, with
    38 gauges between them in geometric steps.

    Parameters
    ----------
    gauge : int or str
        0 to 56; the thick ones as ``"00"``, ``"000"``, ``"0000"``, ``"2/0"`` to ``"4/0"``, or -1 to -3.

    Returns
    -------
    float
        Nominal diameter, without enamel [m].

    Raises
    ------
    Unphysical
        When there is no such gauge.

    Examples
    --------
    >>> awg_diameter_m(36)
    0.000127
    >>> round(awg_diameter_m("4/0") / 0.0254, 4)
    0.46

    References
    ----------
    ASTM B258, Standard Specification for Standard Nominal Diameters and Cross-Sectional Areas of AWG
    Sizes of Solid Round Wires Used as Electrical Conductors.
    """
    number = _gauge_number(str(gauge).strip())
    return float(0.127e-3 * 92.0 ** ((36 - number) / 39))


def _gauge_number(text: str) -> int:
    if re.fullmatch(r"0{2,4}", text):
        number = 1 - len(text)
    elif match := re.fullmatch(r"([1-4])/0", text):
        number = 1 - int(match[1])
    elif re.fullmatch(r"-?\d{1,2}", text):
        number = int(text)
    else:
        raise Unphysical(f"'{text}' is not a wire gauge: give 0 to {THINNEST_GAUGE}, or 00, 000, 0000.")
    if not THICKEST_GAUGE <= number <= THINNEST_GAUGE:
        raise Unphysical(f"There is no wire gauge {text}: the gauges run from 0000 to {THINNEST_GAUGE}.")
    return number
