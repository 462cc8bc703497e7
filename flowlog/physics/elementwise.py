"""What the physics functions share: numbers that may be arrays, and division that may be by zero.

Every public function of this package takes a `float` or a numpy array for each quantity and
broadcasts them; floats in give a `float`, arrays in give an array.
"""

from __future__ import annotations

from typing import TypeAlias, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
FloatOrArray: TypeAlias = float | FloatArray

Quantity = TypeVar("Quantity", float, FloatArray, FloatOrArray)
"""The leading argument of a function, whose type the result has.

For the type checker the others are that type or `float`: a series of flows over one width is
typed as a series. At run time any of them may be an array.
"""


@overload
def ratio(numerator: float, denominator: float) -> float: ...
@overload
def ratio(numerator: FloatArray, denominator: FloatOrArray) -> FloatArray: ...
@overload
def ratio(numerator: FloatOrArray, denominator: FloatArray) -> FloatArray: ...
@overload
def ratio(numerator: FloatOrArray, denominator: FloatOrArray) -> FloatOrArray: ...
def ratio(numerator: FloatOrArray, denominator: FloatOrArray) -> FloatOrArray:
    """`numerator / denominator`, and nan where the denominator is zero.

    A rate at standstill or a conductance at zero pressure has no value: nan says so, for floats
    (which would raise) and arrays (which would warn and give inf) alike.
    """
    if isinstance(numerator, np.ndarray) or isinstance(denominator, np.ndarray):
        bottom = np.asarray(denominator, dtype=np.float64)
        safe = np.where(bottom == 0.0, np.nan, bottom)
        return numerator / safe
    return float("nan") if denominator == 0.0 else numerator / denominator


def positive_power(base: Quantity, exponent: float) -> Quantity:
    """`base ** exponent`, and 0 where the base is not positive; nan stays nan.

    A gauge at rest reads a little below zero now and then; a root must not turn that into a
    complex number or nan.
    """
    if isinstance(base, np.ndarray):
        return np.asarray(np.maximum(base, 0.0) ** exponent, dtype=np.float64)
    return 0.0 if base <= 0.0 else float(base**exponent)


def signed_square(value: Quantity) -> Quantity:
    """`value * |value|`: a loss that has the sign of the flow that causes it."""
    if isinstance(value, np.ndarray):
        return value * np.abs(value)
    return value * abs(value)


def power_of(base: float, exponent: Quantity) -> Quantity:
    """`base ** exponent` for a positive base."""
    if isinstance(exponent, np.ndarray):
        return np.asarray(base**exponent, dtype=np.float64)
    return float(base**exponent)


def magnitude(value: Quantity) -> Quantity:
    """`|value|`, in the type that came in."""
    if isinstance(value, np.ndarray):
        return np.abs(value)
    return abs(value)
