"""Specimen scatter of many products with few replicates each: moderated variances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import polygamma, psi

from ratemodel.arrays import FloatArray

#: Where no product has replicates: 3 %, worth 4 degrees of freedom.
_DEFAULT = (4.0, 0.03**2)
_MOST_DOF = 1e4


@dataclass(frozen=True)
class SharedScatter:
    """Scaled inverse chi-square that the products' variances share.

    Attributes
    ----------
    dof, variance : float
        Degrees of freedom it is worth, and its centre.
    """

    dof: float
    variance: float

    def posterior(self, within: float, dof: float) -> tuple[float, float]:
        """Degrees of freedom and centre for one product, its own replicates included."""
        total = self.dof + dof
        return total, (self.dof * self.variance + within) / total


def shared_scatter(within: FloatArray, dof: FloatArray) -> SharedScatter:
    """Distribution of variances over products, by moments of their logarithms.

    With e = ln s^2 - psi(d/2) + ln(d/2), var(e) = psi'(d0/2) + mean psi'(d/2) and
    mean(e) = ln s0^2 - psi(d0/2) + ln(d0/2).

    Parameters
    ----------
    within, dof : ndarray, shape (products,)
        Sums of squares within cells and their degrees of freedom.

    References
    ----------
    Smyth 2004, Statistical Applications in Genetics and Molecular Biology 3(1):3.
    """
    some = (dof > 0) & (within > 0)
    if not some.any():
        return SharedScatter(*_DEFAULT)
    half = dof[some] / 2
    if int(some.sum()) < 3:
        return SharedScatter(_DEFAULT[0], float(within[some].sum() / dof[some].sum()))
    e = np.log(within[some] / dof[some]) - psi(half) + np.log(half)
    excess = float(e.var(ddof=1) - polygamma(1, half).mean())
    d0 = 2 * inverse_trigamma(excess) if excess > 0 else _MOST_DOF
    d0 = min(d0, _MOST_DOF)
    return SharedScatter(d0, float(np.exp(e.mean() + psi(d0 / 2) - np.log(d0 / 2))))


def inverse_trigamma(x: float) -> float:
    """y with psi'(y) = x, by Newton steps on 1/psi' (Smyth 2004, appendix).

    Examples
    --------
    >>> round(inverse_trigamma(np.pi**2 / 6), 9)
    1.0
    """
    if x > 1e7:
        return float(1 / np.sqrt(x))
    y = 0.5 + 1.0 / x
    for _ in range(60):
        value = float(polygamma(1, y))
        step = value * (1 - value / x) / float(polygamma(2, y))
        y += step
        if abs(step) < 1e-12 * y:
            break
    return y
