"""The functional forms in which properties of solids are published.

Each form takes the numbers of one data entry and gives a function of temperature. All of them work on
arrays, take kelvin, and look at no range: what a form is good for is said by the entry that uses it.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from server.physics.materials.arrays import Array, Function
from server.physics.materials.integral import integrate

GAS_CONSTANT_J_mol_K = 8.314462618
"""Molar gas constant [J/(mol K)], exact in the SI of 2019 to the digits given."""


def log_polynomial(entry: Mapping[str, Any]) -> Function:
    """log10 y = Σ aᵢ (log10 T)ⁱ, the usual form of the NIST cryogenic fits."""
    highest_first = np.asarray(entry["coefficients"], dtype=float)[::-1]
    return lambda T_K: np.asarray(10.0 ** np.polyval(highest_first, np.log10(T_K)))


def natural_log_polynomial(entry: Mapping[str, Any]) -> Function:
    """ln y = Σ aᵢ (ln T)ⁱ."""
    highest_first = np.asarray(entry["coefficients"], dtype=float)[::-1]
    return lambda T_K: np.asarray(np.exp(np.polyval(highest_first, np.log(T_K))))


def copper_rational(entry: Mapping[str, Any]) -> Function:
    """log10 k = (a + cT^½ + eT + gT^1½ + iT²) / (1 + bT^½ + dT + fT^1½ + hT²), coefficients a to i."""
    a, b, c, d, e, f, g, h, i = entry["coefficients"]

    def value(T_K: Array) -> Array:
        root = np.sqrt(T_K)
        above = a + root * (c + root * (e + root * (g + root * i)))
        below = 1.0 + root * (b + root * (d + root * (f + root * h)))
        return np.asarray(10.0 ** (above / below))

    return value


def error_function_blend(entry: Mapping[str, Any]) -> Function:
    """log10 k = (a + bx) w₋ + (d + e exp(−x/f)) w₊ with x = log10 T, w∓ = (1 ∓ erf(2(x − c)))/2."""
    a, b, c, d, e, f = entry["coefficients"]

    def value(T_K: Array) -> Array:
        x = np.log10(T_K)
        step = np.vectorize(math.erf, otypes=[float])(2.0 * (x - c))
        cold_side = (a + b * x) * (1.0 - step) / 2.0
        warm_side = (d + e * np.exp(-x / f)) * (1.0 + step) / 2.0
        return np.asarray(10.0 ** (cold_side + warm_side))

    return value


def power_law(entry: Mapping[str, Any]) -> Function:
    """y = coefficient · T^exponent."""
    coefficient, exponent = float(entry["coefficient"]), float(entry["exponent"])
    return lambda T_K: np.asarray(coefficient * T_K**exponent)


def running_power(entry: Mapping[str, Any]) -> Function:
    """y = α T^(β + γ Tⁿ): a power law whose exponent falls as it warms, as glassy solids show it."""
    alpha, beta, gamma, n = entry["coefficients"]
    return lambda T_K: np.asarray(alpha * T_K ** (beta + gamma * T_K**n))


def sommerfeld_debye(entry: Mapping[str, Any]) -> Function:
    """Specific heat well below the Debye temperature: c = (γT + (12π⁴/5) R (T/θ)³) / M."""
    gamma, theta_K = float(entry["gamma_J_mol_K2"]), float(entry["debye_K"])
    molar_mass_kg = float(entry["molar_mass_kg_mol"])
    lattice = 12.0 * math.pi**4 / 5.0 * GAS_CONSTANT_J_mol_K

    def value(T_K: Array) -> Array:
        return np.asarray((gamma * T_K + lattice * (T_K / theta_K) ** 3) / molar_mass_kg)

    return value


def table(entry: Mapping[str, Any]) -> Function:
    """Straight lines between the points in log y against log T: invents no bump between two points."""
    log_T, log_y = np.log(entry["T_K"]), np.log(entry["values"])
    return lambda T_K: np.asarray(np.exp(np.interp(np.log(T_K), log_T, log_y)))


def linear_table(entry: Mapping[str, Any]) -> Function:
    """Straight lines between the points in y against T, for quantities that may be zero or negative."""
    T_points, y = np.asarray(entry["T_K"], dtype=float), np.asarray(entry["values"], dtype=float)
    return lambda T_K: np.asarray(np.interp(T_K, T_points, y))


def three_resistivities(entry: Mapping[str, Any]) -> Function:
    """Resistivity of copper: ρ = a/ratio + 10⁻⁸ / (b/T⁵ + c/T³ + d/T)."""
    a, b, c, d = entry["coefficients"]
    residual = a / entry["ratio"]
    return lambda T_K: np.asarray(residual + 1e-8 / (b / T_K**5 + c / T_K**3 + d / T_K))


def length_polynomial(entry: Mapping[str, Any]) -> Function:
    """(L293 − L)/L293 from 10⁵ (L − L293)/L293 = a + bT + cT² + dT³ + eT⁴, level below `level_below_K`."""
    highest_first = np.asarray(entry["coefficients"], dtype=float)[::-1]
    level_K, level = float(entry["level_below_K"]), entry.get("level")
    cold = np.polyval(highest_first, level_K) if level is None else float(level)

    def value(T_K: Array) -> Array:
        return np.asarray(-1e-5 * np.where(level_K <= T_K, np.polyval(highest_first, T_K), cold))

    return value


def expansion_coefficient(entry: Mapping[str, Any]) -> Function:
    """(L293 − L)/L293 as the integral up to 293 K of α, given as log10(10⁶ α K) = Σ aᵢ (log10 T)ⁱ."""
    millionths = log_polynomial(entry)
    table = integrate(lambda T_K: 1e-6 * millionths(T_K), np.array(entry["data_K"], dtype=float))
    reference = table.at(np.array(293.0))
    return lambda T_K: np.asarray(reference - table.at(T_K))


def hust_lankford(entry: Mapping[str, Any]) -> Function:
    """Conductivity of copper of any purity: 1/k = W₀ + Wᵢ + Wᵢ₀ after Hust and Lankford.

    W₀ = β/T is the residual resistance with β = ρ₀/L₀, Wᵢ the ideal one with a small correction W_c, and
    Wᵢ₀ their departure from Matthiessen's rule.
    """
    p1, p2, p3, p4, p5, p6 = entry["ideal"]
    beta = entry["rho_273_ohm_m"] / (entry["ratio"] - 1.0) / entry["lorenz_W_ohm_K2"]
    p7 = 0.838 / (beta / 0.0003) ** 0.1661

    def value(T_K: Array) -> Array:
        residual = beta / T_K
        ideal = p1 * T_K**p2 / (1.0 + p1 * p3 * T_K ** (p2 + p4) * np.exp(-((p5 / T_K) ** p6)))
        for height, sign_change_K, centre_K, width in entry["corrections"]:
            hump = np.exp(-((np.log(T_K / centre_K) / width) ** 2))
            ideal = ideal + height * np.log(T_K / sign_change_K) * hump
        return np.asarray(1.0 / (residual + ideal + p7 * ideal * residual / (ideal + residual)))

    return value


def copper_resistivity(entry: Mapping[str, Any]) -> Function:
    """Resistivity of copper of any purity: ρ = ρ₀ + ρᵢ + P₇ ρᵢ ρ₀ / (ρᵢ + ρ₀)."""
    p1, p2, p3, p4, p5, p6, p7 = entry["coefficients"]
    residual = entry["rho_273_ohm_m"] / entry["ratio"]

    def value(T_K: Array) -> Array:
        ideal = p1 * T_K**p2 / (1.0 + p1 * p3 * T_K ** (p2 - p4) * np.exp(-((p5 / T_K) ** p6)))
        return np.asarray(residual + ideal + p7 * ideal * residual / (ideal + residual))

    return value


FORMS: dict[str, Callable[[Mapping[str, Any]], Function]] = {
    "log-polynomial": log_polynomial,
    "natural-log-polynomial": natural_log_polynomial,
    "copper-rational": copper_rational,
    "error-function-blend": error_function_blend,
    "power-law": power_law,
    "running-power": running_power,
    "sommerfeld-debye": sommerfeld_debye,
    "table": table,
    "linear-table": linear_table,
    "hust-lankford": hust_lankford,
    "copper-resistivity": copper_resistivity,
    "three-resistivities": three_resistivities,
    "length-polynomial": length_polynomial,
    "expansion-coefficient": expansion_coefficient,
}
