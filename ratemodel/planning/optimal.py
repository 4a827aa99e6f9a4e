"""Classical optimal designs: where to test when one known polynomial in log rate holds.

They are the yardsticks for the designs that `plan_tests` finds for models that are not known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import InputError


@dataclass(frozen=True)
class Design:
    """Rates and the shares of all specimens tested at them.

    Attributes
    ----------
    u : ndarray, shape (k,)
        log10 of the strain rate (1/s), ascending.
    share : ndarray, shape (k,)
        Sums to 1.
    """

    u: FloatArray
    share: FloatArray

    def specimens(self, total: int) -> IntArray:
        """Whole specimens at each rate, summing to ``total``: largest remainders first.

        Examples
        --------
        >>> straight_line(-3.0, 0.0).specimens(10)
        array([5, 5])
        """
        exact = self.share * total
        count = np.floor(exact + 1e-9).astype(np.int64)
        rest = np.argsort(-(exact - count), kind="stable")[: total - int(count.sum())]
        count[rest] += 1
        return count


def straight_line(low: float, high: float) -> Design:
    """D-optimal design for a straight line: half of the specimens at each end.

    References
    ----------
    Atkinson & Donev, Optimum Experimental Designs (1992), chapter 9 (from memory).
    """
    _range(low, high)
    return Design(np.array([low, high]), np.array([0.5, 0.5]))


def equal_spacing(low: float, high: float, speeds: int) -> Design:
    """Equal numbers at ``speeds`` rates evenly spaced from ``low`` to ``high``."""
    _range(low, high)
    if speeds < 2:
        raise InputError(f"{speeds} speed(s)", "at least 2 speeds")
    return Design(np.linspace(low, high, speeds), np.full(speeds, 1.0 / speeds))


def extrapolation(low: float, high: float, target: float, degree: int = 1) -> Design:
    r"""Optimal design for the height of a polynomial at one rate outside the tested range.

    Tests stand at the Chebyshev points :math:`s_j = -\cos(j\pi/m)`, with shares in proportion to
    the Lagrange polynomials there, :math:`|L_j(t)|`. The variance of the height is then
    :math:`\sigma^2 T_m(t)^2 / n`, the least there is. For a target inside the range all specimens
    go to the target itself.

    Parameters
    ----------
    low, high : float
        Range that can be tested, log10 of the strain rate.
    target : float
        log10 of the rate at which the strength is wanted.
    degree : int
        Degree m of the polynomial, from 1.

    References
    ----------
    Hoel & Levine, Optimal spacing and weighting in polynomial prediction, Ann. Math. Statist. 35
    (1964) 1553.

    Examples
    --------
    >>> extrapolation(-1.0, 1.0, 2.0).share
    array([0.25, 0.75])
    """
    _range(low, high)
    if degree < 1:
        raise InputError(f"a polynomial of degree {degree}", "degree 1 or more")
    if low <= target <= high:
        return Design(np.array([target]), np.array([1.0]))
    points = -np.cos(np.arange(degree + 1) * np.pi / degree)
    size = np.abs(lagrange(points, (2 * target - low - high) / (high - low)))
    return Design((low + high) / 2 + points * (high - low) / 2, size / size.sum())


def lagrange(points: FloatArray, at: float) -> FloatArray:
    """Value at ``at`` of each Lagrange polynomial over ``points``."""
    out = np.ones(points.size)
    for j, own in enumerate(points):
        others = np.delete(points, j)
        out[j] = np.prod((at - others) / (own - others))
    return out


def variance_of_height(design: Design, target: float, degree: int) -> float:
    """Variance of the fitted height at ``target``, in units of sigma^2/n.

    f' M^-1 f with the moment matrix M of the design; infinite where the design cannot carry it.
    """
    powers = np.arange(degree + 1)
    columns = design.u[:, None] ** powers
    moments = (columns * design.share[:, None]).T @ columns
    f = target**powers
    solution, *_ = np.linalg.lstsq(moments, f, rcond=None)
    if not np.allclose(moments @ solution, f, rtol=1e-7, atol=1e-9):
        return float("inf")
    return float(f @ solution)


def _range(low: float, high: float) -> None:
    if not low < high:
        raise InputError(f"a range of rates from {low:g} to {high:g}", "a lower and a higher rate")
