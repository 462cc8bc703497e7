"""What the physics functions share: numbers that may be arrays, and division that may be by zero.

Every public function of this package takes a `float` or a numpy array for each quantity and
broadcasts them; floats in give a `float`, arrays in give an array.
"""

from __future__ import annotations

from typing import TypeAlias, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
FloatOrArray: TypeAlias = float | FloatArray

Quantity = TypeVar("Quantity", float, FloatArray, FloatOrArray)
"""All floats give a float, all arrays an array, a mixture `FloatOrArray` (an array at run time).

One constrained variable says in a line what would take three overloads a function.
"""


def ratio(numerator: Quantity, denominator: Quantity) -> Quantity:
    """`numerator / denominator`, and nan where the denominator is zero.

    A rate at standstill or a conductance at zero pressure has no value: nan says so, for floats
    (which would raise) and arrays (which would warn and give inf) alike.
    """
    if isinstance(numerator, np.ndarray) or isinstance(denominator, np.ndarray):
        bottom = np.asarray(denominator, dtype=np.float64)
        safe = np.where(bottom == 0.0, np.nan, bottom)
        return cast(Quantity, numerator / safe)
    return float("nan") if denominator == 0.0 else numerator / denominator


def positive_power(base: Quantity, exponent: float) -> Quantity:
    """`base ** exponent`, and 0 where the base is not positive; nan stays nan.

    A gauge at rest reads a little below zero now and then; a root must not turn that into a
    complex number or nan.
    """
    if isinstance(base, np.ndarray):
        return cast(Quantity, np.maximum(base, 0.0) ** exponent)
    return 0.0 if base <= 0.0 else cast(float, base**exponent)
