"""Inputs of an event made one shape and looked at once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError

_MUST_BE_POSITIVE = {"mass", "line_length", "stiffness", "slip_force", "exponent", "duration"}


def columns(values: Mapping[str, ArrayLike]) -> dict[str, FloatArray]:
    """Broadcast named inputs to one shape ``(draws,)`` and refuse impossible values.

    Raises
    ------
    InputError
        A value is not a number, is not above 0 where it must be, or is below 0.

    Examples
    --------
    >>> columns({"mass": 80.0, "fall": [1.0, 2.0]})["mass"]
    array([80., 80.])
    """
    arrays = {k: np.atleast_1d(np.asarray(v, dtype=np.float64)) for k, v in values.items()}
    try:
        shape = np.broadcast_shapes(*(a.shape for a in arrays.values()))
    except ValueError as error:
        sizes = ", ".join(f"{k} {a.shape}" for k, a in arrays.items())
        raise InputError(f"draws of different length: {sizes}", "one value or one per draw") from (
            error
        )
    if len(shape) != 1:
        raise InputError(f"an event input of shape {shape}", "one value or one per draw")
    for name, array in arrays.items():
        _check(name, array)
    return {k: np.broadcast_to(a, shape).copy() for k, a in arrays.items()}


def _check(name: str, array: FloatArray) -> None:
    if np.isnan(array).any():
        raise InputError(f"{name} is missing in some draws", "a number in every draw", column=name)
    strict = name in _MUST_BE_POSITIVE
    bad = array <= 0 if strict else array < 0
    if bad.any():
        rule = "above 0" if strict else "0 or above"
        raise InputError(
            f"{name} is {array[bad].min():.6g} in {bad.sum()} of {array.size} draws",
            f"{name} {rule} in every draw; "
            "a lognormal {median, factor} or a uniform {low, high} never falls below 0",
            column=name,
        )
