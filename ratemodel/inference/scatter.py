"""Specimen-to-specimen scatter: standard quantiles of one specimen from an unknown spool."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from ratemodel.arrays import FloatArray
from ratemodel.inference.laplace import EULER, SEV_SD
from ratemodel.records.tables import Scatter

_RATIOS = np.linspace(0.0, 1.0, 41)


def standard_quantile(v: FloatArray, scatter: Scatter) -> FloatArray:
    """Quantile of the standardised scatter (mean 0, standard deviation 1).

    Examples
    --------
    >>> standard_quantile(np.array([0.05]), "normal").round(4)
    array([-1.6449])
    """
    if scatter == "normal":
        return np.asarray(ndtri(v), dtype=np.float64)
    return np.asarray((np.log(-np.log1p(-v)) + EULER) / SEV_SD)


def specimen_quantile(fraction_below: float, sigma: FloatArray, batch_sd: FloatArray,
                      scatter: Scatter) -> FloatArray:  # fmt: skip
    """Offset from the mean of ln S below which ``fraction_below`` of all specimens break.

    One specimen of an unknown spool: within-spool scatter ``sigma`` of the given family, plus
    normal spool scatter ``batch_sd``; arrays broadcast.
    """
    total = np.sqrt(sigma**2 + batch_sd**2)
    if scatter == "normal":
        return np.asarray(float(ndtri(fraction_below)) * total)
    ratio = np.where(total > 0, batch_sd**2 / np.maximum(total**2, 1e-300), 0.0)
    return np.asarray(total * np.interp(ratio, _RATIOS, _mixed_quantiles(fraction_below)))


@lru_cache(maxsize=64)
def _mixed_quantiles(fraction: float) -> FloatArray:
    """Quantile of sqrt(1-r) E + sqrt(r) Z, E standardised extreme value, Z normal, over r."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    v = (nodes + 1) / 2
    e = standard_quantile(v, "smallest-extreme-value")

    def excess(q: float, r: float) -> float:
        below = ndtr((q - np.sqrt(1 - r) * e) / np.sqrt(r))
        return float((weights / 2 * below).sum()) - fraction

    ends = [float(standard_quantile(np.array([fraction]), "smallest-extreme-value")[0]),
            float(ndtri(fraction))]  # fmt: skip
    inner = [brentq(excess, -12.0, 12.0, args=(r,)) for r in _RATIOS[1:-1]]
    return np.array([ends[0], *inner, ends[1]])


def specimen_cdf(offset: FloatArray, sigma: FloatArray, batch_sd: FloatArray, scatter: Scatter
                 ) -> FloatArray:  # fmt: skip
    """Probability that one specimen of an unknown spool lies below mean + ``offset`` on ln S.

    Analytic tail, good to the smallest doubles; spool scatter under extreme-value scatter is
    integrated by 32-point Gauss-Hermite quadrature. Arrays broadcast.
    """
    if scatter == "normal":
        return np.asarray(ndtr(offset / np.sqrt(sigma**2 + batch_sd**2)))
    nodes, weights = np.polynomial.hermite_e.hermegauss(32)
    total = np.zeros(np.broadcast_shapes(offset.shape, sigma.shape, batch_sd.shape))
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        z = (offset - batch_sd * node) / sigma
        total += weight * -np.expm1(-np.exp(np.minimum(SEV_SD * z - EULER, 300.0)))
    return total


def predictive_quantiles(fractions: tuple[float, ...], mean: FloatArray, sigma: FloatArray,
                         batch_sd: FloatArray, scatter: Scatter) -> FloatArray:  # fmt: skip
    """Quantiles of one specimen over all draws, shape (fractions, n).

    Solves mean over draws of P(specimen < x | draw) = fraction, so that no random specimen adds
    noise. ``mean`` and ``sigma`` have shape (draws, n), ``batch_sd`` (draws,).
    """
    spool = batch_sd[:, None]
    total = np.sqrt(sigma**2 + spool**2)
    out = np.empty((len(fractions), mean.shape[1]))
    for i, fraction in enumerate(fractions):
        own = mean + specimen_quantile(fraction, sigma, spool, scatter)
        low, high = own.min(axis=0), own.max(axis=0)
        x = np.quantile(own, fraction, axis=0)
        for _ in range(60):
            value = specimen_cdf(x - mean, sigma, spool, scatter).mean(axis=0) - fraction
            low, high = np.where(value < 0, x, low), np.where(value < 0, high, x)
            # Slope of the normal mixture serves both families; bisection guards it.
            slope = (np.exp(-0.5 * ((x - mean) / total) ** 2) / total).mean(axis=0) / 2.5066282746
            step = x - value / np.maximum(slope, 1e-12)
            new = np.where((step > low) & (step < high), step, (low + high) / 2)
            if float(np.abs(new - x).max()) < 1e-7:
                break
            x = new
        out[i] = new
    return out


def weighted_quantile(fractions: tuple[float, ...], mean: FloatArray, sd: FloatArray,
                      weight: FloatArray) -> FloatArray:  # fmt: skip
    """Quantiles of a weighted sum of normals, shape (fractions, n).

    Newton's method inside a shrinking bracket. ``mean`` and ``sd`` have shape (C, n), ``weight``
    (C,) and adds to one.
    """
    out = np.empty((len(fractions), mean.shape[1]))
    centre = weight @ mean
    spread = np.sqrt(np.maximum(weight @ (sd**2 + mean**2) - centre**2, 1e-18))
    for i, fraction in enumerate(fractions):
        z = float(ndtri(fraction))
        own = mean + z * sd
        low, high = own.min(axis=0) - 1e-9, own.max(axis=0) + 1e-9
        x = np.clip(centre + z * spread, low, high)
        for _ in range(80):
            t = (x - mean) / sd
            value = weight @ ndtr(t) - fraction
            low, high = np.where(value < 0, x, low), np.where(value < 0, high, x)
            slope = weight @ (np.exp(-0.5 * t * t) / sd) / 2.5066282746310002
            new = x - value / np.maximum(slope, 1e-300)
            new = np.where((new > low) & (new < high), new, (low + high) / 2)
            moved = float(np.abs(new - x).max())
            x = new
            if moved < 1e-9:
                break
        out[i] = x
    return out
