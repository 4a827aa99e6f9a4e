"""What the package is measured against: the same job done the usual way with general tools."""

from __future__ import annotations

import time

import lmfit
import numpy as np
from scipy.special import log_ndtr

LN_ROOT_2PI = 0.5 * np.log(2 * np.pi)


def bootstrap_refits(u: np.ndarray, y: np.ndarray, count: int, rng: np.random.Generator) -> float:
    """Seconds per refit of one straight line by least squares (parametric bootstrap)."""
    model = lmfit.Model(lambda x, a, b: a + b * x)
    first = model.fit(y, x=u, a=float(y.mean()), b=0.0)
    sigma = float(np.sqrt(first.chisqr / first.nfree))
    start = time.perf_counter()
    for _ in range(count):
        model.fit(first.best_fit + sigma * rng.standard_normal(y.size), x=u, **first.best_values)
    return (time.perf_counter() - start) / count


def censored_refits(rows: tuple[np.ndarray, ...], count: int, rng: np.random.Generator) -> float:
    """Seconds per refit of one straight line with spools and censoring by maximum likelihood.

    ``rows``: log10 rate, ln strength, broke, spool number.
    """
    u, y, broke, spool = rows
    parameters = lmfit.Parameters()
    for name, value in (("a", float(y.mean())), ("b", 0.0), ("ln_sigma", -3.5)):
        parameters.add(name, value=value)
    for k in range(int(spool.max()) + 1):
        parameters.add(f"s{k}", value=0.0)

    def loss(p: lmfit.Parameters, z: np.ndarray) -> float:
        v = p.valuesdict()
        effect = np.array([v[f"s{k}"] for k in range(int(spool.max()) + 1)])
        sigma = np.exp(v["ln_sigma"])
        r = (z - v["a"] - v["b"] * u - effect[spool]) / sigma
        rows = np.where(broke, 0.5 * r**2 + LN_ROOT_2PI + v["ln_sigma"], -log_ndtr(-r))
        return float(rows.sum() + 0.5 * (effect**2).sum() / 0.02**2)

    start = time.perf_counter()
    for _ in range(count):
        lmfit.minimize(loss, parameters, args=(y + 0.02 * rng.standard_normal(y.size),),
                       method="bfgs")  # fmt: skip
    return (time.perf_counter() - start) / count


def emcee_draws(u: np.ndarray, y: np.ndarray, count: int) -> float:
    """Seconds for ``count`` raw ensemble draws of one straight line, through lmfit."""
    parameters = lmfit.Parameters()
    for name, value in (("a", float(y.mean())), ("b", -0.01), ("ln_sigma", -3.5)):
        parameters.add(name, value=value)

    def log_posterior(p: lmfit.Parameters) -> float:
        v = p.valuesdict()
        r = (y - v["a"] - v["b"] * u) / np.exp(v["ln_sigma"])
        return float(-0.5 * (r**2).sum() - y.size * v["ln_sigma"])

    run = lmfit.Minimizer(log_posterior, parameters)
    walkers = 32
    start = time.perf_counter()
    run.emcee(params=parameters, steps=count // walkers, nwalkers=walkers, burn=0, thin=1,
              float_behavior="posterior", progress=False, seed=1)  # fmt: skip
    return time.perf_counter() - start
