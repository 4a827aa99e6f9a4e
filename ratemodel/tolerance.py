"""Factors k in "mean − k · standard deviation": tolerance bounds and fractiles from few tests."""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError

Convention: TypeAlias = Literal["probability-0.001", "index-3.04"]
"""What a "design value" means in EN 1990 Annex D: the fractile of probability 0.001, or Φ(−3.04).

The Annex derives the value from α β = 0.8 · 3.8 = 3.04, a probability of 0.00118. Its table for
V unknown, however, fits the probability 0.001; the one for V known lies between the two, near
3.08 (both tables compared from memory). The choice changes kₙ by 1.7 % for V known, and by up to
18 % for V unknown and two tests, so every result names it.
"""

_CHARACTERISTIC = 0.05


def one_sided_factor(n: ArrayLike, coverage: float, confidence: float) -> FloatArray:
    r"""Exact factor of a one-sided normal tolerance bound.

    With confidence c at least the share p of the population lies above x̄ − k₁ s:

    .. math:: k_1 = t'_{n-1,\,c}(z_p \sqrt n) / \sqrt n

    with t' the quantile of the non-central t distribution.

    Parameters
    ----------
    n : array_like
        Number of tests, at least 2.
    coverage : float
        p, between 0 and 1.
    confidence : float
        c, between 0 and 1.

    Returns
    -------
    array
        k₁, of the shape of ``n``.

    Raises
    ------
    InputError
        Fewer than 2 tests, or a probability outside 0 to 1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3.

    Examples
    --------
    >>> round(float(one_sided_factor(43, 0.90, 0.99)), 4)
    1.874
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    size = _tests(n, 2)
    for name, p in (("coverage", coverage), ("confidence", confidence)):
        _probability(name, p)
    root = np.sqrt(size)
    return np.asarray(nct.ppf(confidence, size - 1, ndtri(coverage) * root) / root)


def characteristic_factor(n: ArrayLike, *, known_variation: bool = False) -> FloatArray:
    """kₙ for the 5 % fractile of EN 1990:2002 Annex D, table D1.

    Parameters
    ----------
    n : array_like
        Number of tests; at least 1 (V known) or 2 (V unknown).
    known_variation : bool
        Whether the coefficient of variation is known beforehand ("V known").

    Returns
    -------
    array
        kₙ, of the shape of ``n``; see `prediction_factor`.

    Examples
    --------
    >>> round(float(characteristic_factor(10)), 2)
    1.92
    """
    return prediction_factor(n, _CHARACTERISTIC, known_variation=known_variation)


def design_factor(
    n: ArrayLike,
    *,
    known_variation: bool = False,
    convention: Convention = "probability-0.001",
) -> FloatArray:
    """k_d,n for the design value of EN 1990:2002 Annex D, table D2, by a named convention.

    Not the design factor by which a rating is divided.

    Parameters
    ----------
    n, known_variation
        As in `characteristic_factor`.
    convention : {"probability-0.001", "index-3.04"}
        See `Convention`; the default is the stricter one.

    Examples
    --------
    >>> round(float(design_factor(5)), 2)
    7.86
    """
    from scipy.special import ndtr

    conventions = {"probability-0.001": 0.001, "index-3.04": float(ndtr(-3.04))}
    if convention not in conventions:
        raise InputError(f"convention {convention!r}", f"one of {', '.join(conventions)}")
    return prediction_factor(n, conventions[convention], known_variation=known_variation)


def prediction_factor(
    n: ArrayLike, probability: float, *, known_variation: bool = False
) -> FloatArray:
    r"""Factor below which the next specimen falls with a probability, given n normal ones.

    .. math:: k_n = -z_P \sqrt{1 + 1/n} \quad\text{or}\quad k_n = -t_{n-1,P} \sqrt{1 + 1/n}

    for V known or unknown: the Bayesian prediction with vague priors, on which EN 1990 Annex D
    rests (D7.1).

    Raises
    ------
    InputError
        Too few tests or a probability outside 0 to 1.
    """
    from scipy.special import ndtri, stdtrit

    _probability("probability", probability)
    size = _tests(n, 1 if known_variation else 2)
    spread = np.sqrt(1 + 1 / size)
    quantile = ndtri(probability) if known_variation else stdtrit(size - 1, probability)
    return np.asarray(-quantile * spread)


def _tests(n: ArrayLike, least: int) -> FloatArray:
    size = np.asarray(n, dtype=np.float64)
    if not (size >= least).all():
        raise InputError(f"{size.min():g} tests", f"at least {least}")
    return size


def _probability(name: str, p: float) -> None:
    if not 0 < p < 1:
        raise InputError(f"{name} is {p:g}", "a probability between 0 and 1", column=name)
