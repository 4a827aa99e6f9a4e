"""Time to break under constant load: censored regression by maximum likelihood, joint draws.

    ln t = design(F, T) @ coefficients + scale * e,

with e of the smallest-extreme-value distribution (Weibull lives, shape 1/scale) or normal
(lognormal lives). A specimen that had not broken when the test was stopped (a runout) is
right-censored.

References
----------
Nelson, Accelerated Testing (1990), chapters 4 and 5; Lawless, Statistical Models and Methods for
Lifetime Data, 2nd ed. (2003), chapter 6.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy.special import log_ndtr, ndtri

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import ConvergenceError, InputError, NotIdentifiedError, Problem
from ratemodel.models.lifetime import LifeLaw

LifeDistribution: TypeAlias = Literal["weibull", "lognormal"]
_HALF_LN_2PI = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True)
class LifeData:
    """Lives under constant load, one entry per specimen.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Time to break, or time at which a runout was stopped.
    load_N : ndarray, shape (n,)
        Load held (or any positive measure of it).
    broke : ndarray of bool, shape (n,)
        False = runout.
    temperature_K : ndarray, shape (n,)
        NaN where not known.
    """

    time_s: FloatArray
    load_N: FloatArray
    broke: BoolArray
    temperature_K: FloatArray

    def __post_init__(self) -> None:
        time = np.array(self.time_s, dtype=np.float64)
        load = np.array(self.load_N, dtype=np.float64)
        broke = np.array(self.broke, dtype=np.bool_)
        temperature = np.array(self.temperature_K, dtype=np.float64)
        if not (time.ndim == 1 and time.shape == load.shape == broke.shape == temperature.shape):
            raise InputError("columns of the lives differ in length", "one entry per specimen")
        if not np.all(np.isfinite(time) & (time > 0) & np.isfinite(load) & (load > 0)):
            raise InputError("a time or a load is not above 0", "times in s and loads in N above 0")
        for name, column in (("time_s", time), ("load_N", load), ("temperature_K", temperature)):
            object.__setattr__(self, name, column)
        object.__setattr__(self, "broke", broke)

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class LifeFit:
    """Maximum-likelihood fit of lives.

    Attributes
    ----------
    law : LifeLaw
        Law of the typical life.
    distribution : {"weibull", "lognormal"}
        Scatter of lives.
    coefficients : ndarray, shape (k,)
        In the order of ``law.parameters``.
    scale : float
        Scatter of ln life; the Weibull shape is its inverse.
    log_likelihood : float
        With densities per second.
    covariance : ndarray, shape (k + 1, k + 1)
        Of the coefficients and ln scale: inverse of the observed information.
    data : LifeData
        What was fitted.
    problems : tuple of Problem
        What limits its use.
    """

    law: LifeLaw
    distribution: LifeDistribution
    coefficients: FloatArray
    scale: float
    log_likelihood: float
    covariance: FloatArray
    data: LifeData
    problems: tuple[Problem, ...]

    @property
    def standard_errors(self) -> FloatArray:
        """Standard errors of the coefficients and of the scale, shape (k + 1,)."""
        out = np.sqrt(np.diag(self.covariance))
        out[-1] *= self.scale
        return out


def fit_life(data: LifeData, law: LifeLaw, distribution: LifeDistribution = "weibull") -> LifeFit:
    """Fit lives by maximum likelihood.

    Raises
    ------
    NotIdentifiedError
        Breaks at too few different loads (or temperatures) for the law.
    """
    design = law.design(data.load_N, data.temperature_K)
    _check_identified(data, law, design)
    beta, ln_scale, loglik, cov = regress(design, np.log(data.time_s), data.broke, distribution)
    return LifeFit(
        law=law,
        distribution=distribution,
        coefficients=beta,
        scale=float(np.exp(ln_scale)),
        log_likelihood=loglik - float(np.log(data.time_s[data.broke]).sum()),
        covariance=cov,
        data=data,
        problems=_problems(data, law, beta),
    )


def regress(
    design: FloatArray, y: FloatArray, event: BoolArray, distribution: LifeDistribution
) -> tuple[FloatArray, float, float, FloatArray]:
    """Censored location-scale regression of y on a design.

    Newton's method on (coefficients/scale, 1/scale), in which the log-likelihood is concave, on
    columns made orthonormal first.

    Returns
    -------
    tuple
        Coefficients (k,), ln scale, log-likelihood of y, covariance (k + 1, k + 1).

    References
    ----------
    Olsen, Econometrica 46 (1978) 1211 (normal); the extreme-value case is concave likewise.
    """
    q, r = np.linalg.qr(design)
    theta = _start(q, y)
    a = np.column_stack([-q, y])
    value, grad, hess = _newton_terms(a, theta, event, distribution)
    for _ in range(200):
        step = np.linalg.solve(hess, -grad)
        gain = float(grad @ step)
        length = 1.0
        while length > 1e-12:
            trial = theta + length * step
            if trial[-1] > 0:
                new = _newton_terms(a, trial, event, distribution)
                if np.isfinite(new[0]) and new[0] >= value - 1e-12 * abs(value):
                    break
            length /= 2
        else:
            break
        theta, (value, grad, hess) = trial, new
        if gain < 1e-18 * (1 + abs(value)):
            break
    if not float(grad @ np.linalg.solve(-hess, grad)) < 1e-8:
        raise ConvergenceError(
            "the fit of the lives did not settle; check in turn: breaks at two or more loads, "
            "times that are not all equal, a runout far longer than every break"
        )
    return _from_scaled(theta, hess, r, value)


def _from_scaled(
    theta: FloatArray, hess: FloatArray, r: FloatArray, value: float
) -> tuple[FloatArray, float, float, FloatArray]:
    """Back from (coefficients/scale, 1/scale) on orthonormal columns."""
    tau = theta[-1]
    beta_q = theta[:-1] / tau
    jac = np.zeros((len(theta), len(theta)))
    jac[:-1, :-1] = tau * np.eye(len(theta) - 1)
    jac[:-1, -1], jac[-1, -1] = -beta_q * tau, -tau
    cov_q = np.linalg.inv(-(jac.T @ hess @ jac))
    back = np.eye(len(theta))
    back[:-1, :-1] = np.linalg.inv(r)
    return back[:-1, :-1] @ beta_q, -float(np.log(tau)), value, back @ cov_q @ back.T


def log_likelihood_rows(
    z: FloatArray, ln_scale: FloatArray, event: BoolArray, distribution: LifeDistribution
) -> FloatArray:
    """Log-likelihood of y = location + scale z, summed over the last axis."""
    if distribution == "weibull":
        tail = -np.exp(np.minimum(z, 600.0))
        density = z + tail
    else:
        tail = log_ndtr(-z)
        density = -0.5 * z**2 - _HALF_LN_2PI
    out = np.where(event, density, tail).sum(axis=-1) - event.sum() * ln_scale
    return np.asarray(out)


def standard_quantile(fraction: float, distribution: LifeDistribution) -> float:
    """Quantile of the standard error e: the share ``fraction`` has broken by then."""
    if distribution == "weibull":
        return float(np.log(-np.log1p(-fraction)))
    return float(ndtri(fraction))


def _start(q: FloatArray, y: FloatArray) -> FloatArray:
    beta = q.T @ y
    spread = float(np.std(y - q @ beta))
    if not spread > 1e-9 * (1.0 + float(np.abs(y).max())):
        raise NotIdentifiedError(
            "the lives do not scatter about the law at all, so their scatter cannot be fitted; "
            "give measured lives of several specimens per load"
        )
    return np.concatenate([beta, [1.0]]) / spread


def _newton_terms(
    a: FloatArray, theta: FloatArray, event: BoolArray, distribution: LifeDistribution
) -> tuple[float, FloatArray, FloatArray]:
    z = a @ theta
    if distribution == "weibull":
        e = np.exp(np.minimum(z, 600.0))
        first, second = np.where(event, 1.0 - e, -e), -e
    else:
        hazard = np.exp(-0.5 * z**2 - _HALF_LN_2PI - log_ndtr(-z))
        first = np.where(event, -z, -hazard)
        second = np.where(event, -1.0, -hazard * (hazard - z))
    events, tau = float(event.sum()), float(theta[-1])
    value = float(log_likelihood_rows(z, np.array(-np.log(tau)), event, distribution))
    grad = a.T @ first
    grad[-1] += events / tau
    hess = (a.T * second) @ a
    hess[-1, -1] -= events / tau**2
    return value, grad, hess


def _check_identified(data: LifeData, law: LifeLaw, design: FloatArray) -> None:
    k = design.shape[1]
    if data.broke.sum() < k + 1:
        raise NotIdentifiedError(
            f"{int(data.broke.sum())} breaks cannot determine {k} coefficients and the scatter; "
            "test more specimens to the break"
        )
    scaled = design[data.broke] / np.abs(design[data.broke]).max(axis=0)
    s = np.linalg.svd(scaled, compute_uv=False)
    if s[-1] < 1e-9 * s[0]:
        what = "load" if law.takes_load else "temperature"
        raise NotIdentifiedError(
            f"the law '{law.title}' needs breaks at more than one {what}"
            + (" and temperature" if law.takes_load and law.takes_temperature else "")
            + "; runouts alone cannot give the slope"
        )


def _problems(data: LifeData, law: LifeLaw, beta: FloatArray) -> tuple[Problem, ...]:
    out = []
    runouts = int((~data.broke).sum())
    if runouts > len(data) / 2:
        out.append(
            Problem(
                "mostly-runouts",
                f"{runouts} of {len(data)} specimens had not broken: the law rests on few breaks. "
                "Let some run on, or test at a higher load.",
            )
        )
    for parameter, value in zip(law.parameters, beta, strict=True):
        if value <= parameter.lower:
            out.append(
                Problem(
                    "wrong-sign",
                    f"{parameter.name} is {value:.3g}: lives do not fall as they must. "
                    "Check the load and temperature columns.",
                    "serious",
                )
            )
    return tuple(out)
