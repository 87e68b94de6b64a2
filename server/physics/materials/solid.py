"""A material as the rest of the physics sees it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import overload

import numpy as np

from server.physics.errors import NoData, OutOfRange, Unphysical
from server.physics.materials.arrays import Array
from server.physics.materials.curve import About, Curve
from server.physics.materials.integral import IntegralTable

PROPERTIES = ("conductivity", "resistivity", "specific_heat", "contraction")


@dataclass(frozen=True, eq=False)
class Material:
    """A solid and its published properties against temperature.

    Every property takes a temperature or an array of them, in kelvin, and answers in kind: a float for a
    float, an array for an array. Outside `about(property).covered_K` it raises `OutOfRange`, where it
    has no data `NoData`, for something that is not a finite number `Unphysical`.

    Attributes
    ----------
    name : str
        The name it is asked for by, such as ``"stainless-304"``.
    describes : str
        What it is, in the words of the trade.
    kind : str
        The class of materials it belongs to; its values are tested against the bounds of that class.
    """

    name: str
    describes: str
    kind: str
    curves: Mapping[str, Curve] = field(repr=False)

    def about(self, property_name: str) -> About:
        """Source, ranges, relative uncertainty and confidence of a property.

        Raises `NoData` where there is none.
        """
        return self._curve(property_name).about

    @overload
    def conductivity_W_m_K(self, T_K: float) -> float: ...
    @overload
    def conductivity_W_m_K(self, T_K: Array) -> Array: ...
    def conductivity_W_m_K(self, T_K: float | Array) -> float | Array:
        """Thermal conductivity k at `T_K` [W/(m K)].

        Parameters
        ----------
        T_K : float or array
            Temperature [K], any shape.

        Returns
        -------
        float or array
            Conductivity [W/(m K)], as `T_K` is given.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("stainless-304").conductivity_W_m_K(77.0), 2)
        7.92
        """
        return self._value("conductivity", T_K)

    @overload
    def resistivity_ohm_m(self, T_K: float) -> float: ...
    @overload
    def resistivity_ohm_m(self, T_K: Array) -> Array: ...
    def resistivity_ohm_m(self, T_K: float | Array) -> float | Array:
        """Electrical resistivity ρ at `T_K` [Ω m].

        Parameters
        ----------
        T_K : float or array
            Temperature [K], any shape.

        Returns
        -------
        float or array
            Resistivity [Ω m], as `T_K` is given.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("copper-rrr-100").resistivity_ohm_m(293.0) * 1e8, 2)
        1.69
        """
        return self._value("resistivity", T_K)

    @overload
    def specific_heat_J_kg_K(self, T_K: float) -> float: ...
    @overload
    def specific_heat_J_kg_K(self, T_K: Array) -> Array: ...
    def specific_heat_J_kg_K(self, T_K: float | Array) -> float | Array:
        """Specific heat at constant pressure at `T_K` [J/(kg K)].

        Parameters
        ----------
        T_K : float or array
            Temperature [K], any shape.

        Returns
        -------
        float or array
            Specific heat [J/(kg K)], as `T_K` is given.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("copper-rrr-100").specific_heat_J_kg_K(77.0), 1)
        195.9
        """
        return self._value("specific_heat", T_K)

    @overload
    def contraction(self, T_K: float) -> float: ...
    @overload
    def contraction(self, T_K: Array) -> Array: ...
    def contraction(self, T_K: float | Array) -> float | Array:
        """(L293 − L)/L293 at `T_K` [1]: positive for what shrinks when cooled from 293 K.

        Parameters
        ----------
        T_K : float or array
            Temperature [K], any shape.

        Returns
        -------
        float or array
            Contraction [1], as `T_K` is given.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("aluminium-6061").contraction(4.0), 5)
        0.00415
        """
        return self._value("contraction", T_K)

    @overload
    def conductivity_integral_W_m(self, cold_K: float, hot_K: float) -> float: ...
    @overload
    def conductivity_integral_W_m(self, cold_K: float | Array, hot_K: float | Array) -> float | Array: ...
    def conductivity_integral_W_m(self, cold_K: float | Array, hot_K: float | Array) -> float | Array:
        """∫ k dT from `cold_K` to `hot_K` [W/m], negative when reversed, within 1e-6 of the exact one.

        Parameters
        ----------
        cold_K, hot_K : float or array
            Temperatures [K], of shapes that go together.

        Returns
        -------
        float or array
            Integral [W/m], an array if either end is one.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("copper-rrr-50").conductivity_integral_W_m(4.0, 300.0), -2)
        161200.0
        """
        return self._integral("conductivity", cold_K, hot_K)

    @overload
    def enthalpy_J_kg(self, cold_K: float, hot_K: float) -> float: ...
    @overload
    def enthalpy_J_kg(self, cold_K: float | Array, hot_K: float | Array) -> float | Array: ...
    def enthalpy_J_kg(self, cold_K: float | Array, hot_K: float | Array) -> float | Array:
        """∫ c dT from `cold_K` to `hot_K` [J/kg], negative when reversed.

        Parameters
        ----------
        cold_K, hot_K : float or array
            Temperatures [K], of shapes that go together.

        Returns
        -------
        float or array
            Enthalpy difference [J/kg], an array if either end is one.

        Raises
        ------
        OutOfRange, NoData, Unphysical
            As told of the class.

        Examples
        --------
        >>> from server.physics.materials import material
        >>> round(material("copper-rrr-100").enthalpy_J_kg(77.0, 300.0), -1)
        74960.0
        """
        return self._integral("specific_heat", cold_K, hot_K)

    def integral_anywhere_W_m(self, cold_K: float | Array, hot_K: float | Array) -> Array:
        """∫ k dT as `conductivity_integral_W_m` [W/m], but never refused: for the steps of a solver.

        Outside what is covered k is taken as constant. Ask `covers` before an answer is shown.

        Parameters
        ----------
        cold_K, hot_K : float or array
            Temperatures [K], of shapes that go together; any number at all.

        Returns
        -------
        array
            Integral [W/m], of the common shape.

        Raises
        ------
        NoData
            When there is no conductivity.
        """
        table = self.table()
        return np.asarray(table.at(np.asarray(hot_K, float)) - table.at(np.asarray(cold_K, float)))

    def covers(self, cold_K: float, hot_K: float) -> bool:
        """Whether the conductivity is known all the way between two temperatures [K]."""
        low_K, high_K = self.about("conductivity").covered_K
        return low_K <= min(cold_K, hot_K) and max(cold_K, hot_K) <= high_K

    @overload
    def uncertainty_of_integral(self, cold_K: float, hot_K: float) -> tuple[float, float]: ...
    @overload
    def uncertainty_of_integral(self, cold_K: Array, hot_K: Array) -> tuple[Array, Array]: ...
    def uncertainty_of_integral(
        self, cold_K: float | Array, hot_K: float | Array
    ) -> tuple[float | Array, float | Array]:
        """Low and high factor on ∫ k dT between two temperatures [1]: the central 95 %.

        Holds the scatter of samples, the extension beyond the data, and the disagreement of published
        sets. Between equal temperatures it is the band on k itself. Never raises `OutOfRange`.

        Parameters
        ----------
        cold_K, hot_K : float or array
            Temperatures [K], of shapes that go together.

        Returns
        -------
        low_factor, high_factor : float or array
            Factors on the integral [1], the first at most one, the second at least one.

        Raises
        ------
        NoData
            When there is no conductivity.

        Examples
        --------
        Published phosphor bronzes agree to 35 K and differ by two near 300 K:

        >>> from server.physics.materials import material
        >>> wire = material("phosphor-bronze")
        >>> [round(factor, 2) for factor in wire.uncertainty_of_integral(4.0, 35.0)]
        [0.91, 1.1]
        >>> [round(factor, 2) for factor in wire.uncertainty_of_integral(4.0, 300.0)]
        [0.64, 1.1]
        """
        curve = self._curve("conductivity")
        cold, hot = (np.atleast_1d(np.asarray(end, dtype=float)) for end in (cold_K, hot_K))
        middle, low, high = (table.at(hot) - table.at(cold) for table in (curve.table, *curve.band_tables))
        same = np.abs(hot - cold) <= 1e-9 * np.abs(hot)
        local = curve.band(np.clip(cold, *curve.about.covered_K))
        middle = np.where(same, 1.0, middle)
        factors = (np.where(same, at, part / middle) for at, part in zip(local, (low, high), strict=True))
        low_factor, high_factor = (_in_kind(factor, cold_K, hot_K) for factor in factors)
        return low_factor, high_factor

    def corners_K(self, property_name: str) -> Array:
        """The temperatures [K] at which a property may have a kink, its ends included."""
        return self._curve(property_name).corners_K

    def table(self) -> IntegralTable:
        """The table behind `conductivity_integral_W_m`, for work on whole arrays."""
        return self._curve("conductivity").table

    def _curve(self, property_name: str) -> Curve:
        if property_name not in self.curves:
            raise NoData(f"There are no data for the {property_name.replace('_', ' ')} of {self.name}.")
        return self.curves[property_name]

    def _value(self, property_name: str, T_K: float | Array) -> float | Array:
        curve = self._curve(property_name)
        return _in_kind(curve.value(self._checked(curve, property_name, T_K)), T_K)

    def _integral(self, property_name: str, cold_K: float | Array, hot_K: float | Array) -> float | Array:
        curve = self._curve(property_name)
        cold = self._checked(curve, property_name, cold_K)
        hot = self._checked(curve, property_name, hot_K)
        return _in_kind(curve.table.at(hot) - curve.table.at(cold), cold_K, hot_K)

    def _checked(self, curve: Curve, property_name: str, T_K: float | Array) -> Array:
        """The temperatures as an array, if they are numbers and covered."""
        temperatures = np.atleast_1d(np.asarray(T_K, dtype=float))
        cold_K, hot_K = curve.about.covered_K
        if not np.isfinite(temperatures).all():
            raise Unphysical("A temperature must be a finite number of kelvin.")
        outside = temperatures[(temperatures < cold_K) | (hot_K < temperatures)]
        if outside.size:
            what = f"The {property_name.replace('_', ' ')} of {self.name}"
            raise OutOfRange(f"{what} is known from {cold_K:g} to {hot_K:g} K, not at {outside[0]:g} K.")
        return temperatures


def _in_kind(result: Array, *given: float | Array) -> float | Array:
    """A float when only single temperatures were given, else an array of the given shape."""
    shape = np.broadcast_shapes(*(np.shape(value) for value in given))
    return float(result[0]) if shape == () else result.reshape(shape)
