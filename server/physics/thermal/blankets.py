"""Blankets of many layers between a warm and a cold wall."""

from typing import overload

import numpy as np

from server.physics.arguments import Value, check_fraction, check_not_negative, check_positive, in_kind
from server.physics.materials.arrays import Array
from server.physics.statistics import Band

TORR_Pa = 101325.0 / 760.0

SEAMS = Band(1.0, 2.5, 4.0)
"""How many times more a real blanket with seams and holes passes than an ideal one: common practice."""

# Solid, exponent of layer density, and radiative constants of the two blankets the report fits: smooth film
# with a silk net, and perforated film.
_NETTED = (8.95e-8, 2.56, 5.39e-10)
_PERFORATED = (7.30e-8, 2.63, 7.07e-10)


@overload
def keller_W_m2(
    cold_K: float,
    hot_K: float,
    layers: float,
    layers_per_m: float,
    *,
    emissivity: float = ...,
    pressure_Pa: float = ...,
    perforated: bool = ...,
) -> float: ...
@overload
def keller_W_m2(
    cold_K: Array,
    hot_K: Array,
    layers: Value,
    layers_per_m: Value,
    *,
    emissivity: Value = ...,
    pressure_Pa: Value = ...,
    perforated: bool = ...,
) -> Array: ...
def keller_W_m2(
    cold_K: Value,
    hot_K: Value,
    layers: Value,
    layers_per_m: Value,
    *,
    emissivity: Value = 0.031,
    pressure_Pa: Value = 0.0,
    perforated: bool = False,
) -> Value:
    r"""Heat flux through an ideal blanket.

    .. math:: q = \frac{1}{N} \left[ 8.95\cdot10^{-8}\,n^{2.56}\,T_m (T_h - T_c)
              + 5.39\cdot10^{-10}\,e\,(T_h^{4.67} - T_c^{4.67})
              + 1.46\cdot10^4\,p\,(T_h^{0.52} - T_c^{0.52}) \right]

    with n in layers per centimetre and p in torr; for perforated film 7.30e-8, 2.63 and 7.07e-10.

    Parameters
    ----------
    cold_K, hot_K : float or array
        Temperature of the two walls, above zero [K].
    layers : float or array
        Number of reflecting layers N, above zero [1].
    layers_per_m : float or array
        Layer density; 2000 is 20 per centimetre, ordinary is 1500 to 3000 [1/m].
    emissivity : float or array, optional
        Emissivity of a layer near room temperature, above 0 and at most 1 [1].
    pressure_Pa : float or array, optional
        Pressure of nitrogen inside the blanket, zero or above [Pa].
    perforated : bool, optional
        Whether the film has holes.

    Returns
    -------
    float or array
        Heat flux, negative when the cold wall is the hotter one [W/m²].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    No seams, holes or squeezed corners: see `blanket_W_m2`. Pressing a blanket raises the layer density and
    with it the solid part. Measured near room temperature and liquid nitrogen; on the cold side conduction
    between the layers rules, and published values of real blankets span a factor of 600.

    Examples
    --------
    >>> keller_W_m2(77.0, 300.0, 30, 2000.0)
    0.4742
    >>> keller_W_m2(4.0, 77.0, 10, 2000.0)
    0.0577

    References
    ----------
    C. W. Keller, G. R. Cunnington, A. P. Glassford, Thermal Performance of Multilayer Insulations, NASA
    CR-134477 (1974); coefficients as quoted by others, the unit of pressure from memory.
    """
    check_positive(cold_K=cold_K, hot_K=hot_K, layers=layers, layers_per_m=layers_per_m)
    check_fraction(emissivity=emissivity)
    check_not_negative(pressure_Pa=pressure_Pa)
    solid, power, radiative = _PERFORATED if perforated else _NETTED
    hot, cold = np.asarray(hot_K, dtype=float), np.asarray(cold_K, dtype=float)
    density = (np.asarray(layers_per_m) / 100.0) ** power
    flux = (
        solid * density * (hot + cold) / 2.0 * (hot - cold)
        + radiative * emissivity * (hot**4.67 - cold**4.67)
        + 1.46e4 * (pressure_Pa / TORR_Pa) * (hot**0.52 - cold**0.52)
    )
    return in_kind(flux / layers)


def blanket_W_m2(
    cold_K: float, hot_K: float, layers: float, layers_per_m: float = 2000.0, pressure_Pa: float = 0.0
) -> Band:
    r"""Heat flux through a blanket as it is built, with seams and holes.

    .. math:: q = S q_{ideal}

    with the flux of an ideal blanket after Keller and a factor S of 1 to 4 for how it is made.

    Parameters
    ----------
    cold_K, hot_K : float
        Temperature of the two walls, above zero, the hot one not the colder [K].
    layers : float
        Number of reflecting layers, above zero [1].
    layers_per_m : float, optional
        Layer density [1/m].
    pressure_Pa : float, optional
        Pressure of nitrogen inside the blanket, zero or above [Pa].

    Returns
    -------
    Band
        One to four times the ideal flux, over both kinds of film [W/m²].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    Practice: about 1 to 1.5 W/m² from 300 to 50–80 K with 30 layers, 0.05 to 0.1 from 80 to 4 K with ten.

    Examples
    --------
    >>> band = blanket_W_m2(77.0, 300.0, 30)
    >>> band.low < 1.0 < band.best < 1.5 < band.high
    True

    References
    ----------
    C. W. Keller, G. R. Cunnington, A. P. Glassford, Thermal Performance of Multilayer Insulations, NASA
    CR-134477 (1974); the factor for seams is common practice, no source.
    """
    check_positive(cold_K=cold_K, hot_K=hot_K)
    order = (cold_K, hot_K) if cold_K <= hot_K else (hot_K, cold_K)
    ideal = [
        keller_W_m2(*order, layers, layers_per_m, pressure_Pa=pressure_Pa, perforated=perforated)
        for perforated in (False, True)
    ]
    assert SEAMS.low is not None
    assert SEAMS.high is not None
    flux = Band(SEAMS.low * min(ideal), SEAMS.middle * ideal[0], SEAMS.high * max(ideal))
    return flux if cold_K <= hot_K else flux.scaled(-1.0)
