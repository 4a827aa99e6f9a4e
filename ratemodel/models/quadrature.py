"""The damage integral for any law of life, by adaptive quadrature.

Used where no closed form exists (a law given as a table, load and temperature both changing), and
to check the closed forms.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import ConvergenceError, InputError
from ratemodel.models.history import LoadHistory, ramp

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_LEVELS = 60
#: Pieces still open at once, for each piece of the history: a smooth law needs a few.
_OPEN = 1000


def damage_by_quadrature(
    history: LoadHistory, ln_life: Callable[[FloatArray], FloatArray], *, rtol: float = 1e-11
) -> float:
    """Integral of dt / t_f(F(t)) over a history.

    Each straight piece is halved until a 16-point Gauss-Legendre sum and the sum of its halves
    agree.

    Parameters
    ----------
    history : LoadHistory
        Load against time.
    ln_life : callable
        ln of the life in s, of an array of loads in N.
    rtol : float
        Relative accuracy aimed at.

    Raises
    ------
    ConvergenceError
        The law is too wild to be integrated.
    """
    start, end = history.load_N[:-1], history.load_N[1:]
    span = np.diff(history.time_s)
    keep = span > 0
    start, end, span = start[keep], end[keep], span[keep]
    coarse = _gauss(start, end, span, ln_life)
    settled = 0.0
    for _ in range(_LEVELS):
        middle = (start + end) / 2
        left = _gauss(start, middle, span / 2, ln_life)
        right = _gauss(middle, end, span / 2, ln_life)
        fine = left + right
        scale = settled + float(fine.sum())
        open_ = np.abs(fine - coarse) > rtol * scale
        settled += float(fine[~open_].sum())
        if not open_.any():
            return settled
        if open_.sum() > _OPEN * keep.size:
            break
        start, end = (
            np.concatenate([start[open_], middle[open_]]),
            np.concatenate([middle[open_], end[open_]]),
        )
        span = np.concatenate([span[open_], span[open_]]) / 2
        coarse = np.concatenate([left[open_], right[open_]])
    raise ConvergenceError(
        "the damage integral did not settle; check that the law of life is smooth in the load "
        "and finite at every load of the history"
    )


def break_on_ramp(
    ln_life: Callable[[FloatArray], FloatArray],
    loading_rate_N_per_s: float,
    bracket_N: tuple[float, float],
    *,
    start_N: float = 0.0,
) -> float:
    """Load at which an even pull breaks, by quadrature and root finding.

    Parameters
    ----------
    ln_life : callable
        ln of the life in s, of an array of loads in N.
    loading_rate_N_per_s : float
        Rate of loading.
    bracket_N : tuple of float
        Loads between which the break lies.
    start_N : float
        Load at which the pull starts (a preload reached at once).

    Raises
    ------
    InputError
        The break does not lie in the bracket.
    """
    from scipy.optimize import brentq

    def excess(load: float) -> float:
        history = ramp(loading_rate_N_per_s, load, start_N=start_N)
        done = damage_by_quadrature(history, ln_life)
        return float(np.log(done)) if done > 0 else -1e3

    low, high = max(bracket_N[0], start_N * (1 + 1e-12)), bracket_N[1]
    if excess(low) > 0 or excess(high) < 0:
        raise InputError(
            f"the pull does not break between {low:g} N and {high:g} N", "a wider bracket"
        )
    return float(brentq(excess, low, high, xtol=1e-14 * high, rtol=1e-13))


def _gauss(
    start: FloatArray,
    end: FloatArray,
    span: FloatArray,
    ln_life: Callable[[FloatArray], FloatArray],
) -> FloatArray:
    at = start[:, None] + (end - start)[:, None] * (_NODES + 1) / 2
    with np.errstate(under="ignore", divide="ignore"):
        # Capped: a life below e**-600 s is broken whatever the rest does.
        rate = np.exp(np.minimum(-ln_life(at.ravel()).reshape(at.shape), 600.0))
    return np.asarray(span / 2 * (rate @ _WEIGHTS))
