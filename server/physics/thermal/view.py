"""How much of one surface another one sees."""

from typing import overload

import numpy as np

from server.physics.arguments import Value, check_positive, in_kind


@overload
def disc_view_factor(r1_m: float, r2_m: float, distance_m: float) -> float: ...
@overload
def disc_view_factor(r1_m: Value, r2_m: Value, distance_m: Value) -> Value: ...
def disc_view_factor(r1_m: Value, r2_m: Value, distance_m: Value) -> Value:
    r"""Share of what leaves one disc that reaches another, parallel and on the same axis.

    .. math:: F_{12} = \frac{1}{2} \left[ X - \sqrt{X^2 - 4 (R_2/R_1)^2} \right],
              \quad X = 1 + \frac{1 + R_2^2}{R_1^2}, \quad R_i = r_i/h

    Parameters
    ----------
    r1_m, r2_m : float or array
        Radius of the disc that radiates and of the one that receives, above zero [m].
    distance_m : float or array
        Distance between the two planes, above zero [m].

    Returns
    -------
    float or array
        View factor from disc 1 to disc 2, between 0 and 1 [1].

    Raises
    ------
    Unphysical
        When a length is not a number above zero.

    Notes
    -----
    Nothing may stand between the discs. Reciprocity: r1² F12 = r2² F21. Computed as
    2 (R2/R1)²/(X + √…), which keeps its digits for small discs far apart.

    Examples
    --------
    >>> disc_view_factor(0.0125, 0.0125, 0.050)
    0.05573
    >>> disc_view_factor(0.0125, 0.025, 0.030)
    0.38556

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, catalogue of configuration factors.
    """
    check_positive(r1_m=r1_m, r2_m=r2_m, distance_m=distance_m)
    r1, r2, h = (np.asarray(length, dtype=float) for length in (r1_m, r2_m, distance_m))
    ratio = (r2 / r1) ** 2
    X = 1.0 + (h / r1) ** 2 + ratio
    return in_kind(2.0 * ratio / (X + np.sqrt(X**2 - 4.0 * ratio)))
