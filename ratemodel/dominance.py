"""What dominates an uncertain answer: shares of its variance, from a function or from draws."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.tables import Distribution

Answer: TypeAlias = Callable[[Mapping[str, FloatArray]], FloatArray]
"""Answer per draw, ``(draws,)``, from the draws of the inputs by name."""


@dataclass(frozen=True)
class VarianceShares:
    """Sobol indices of independent inputs.

    ``first``: share of the variance that knowing this input alone would take away; ``total``:
    share left if all others were known. Both of shape ``(inputs,)``.
    """

    names: tuple[str, ...]
    first: FloatArray
    total: FloatArray


def sobol_shares(
    answer: Answer,
    inputs: Mapping[str, Distribution],
    rng: np.random.Generator,
    *,
    points: int = 4096,
) -> VarianceShares:
    """First-order and total Sobol indices of an answer in independent inputs.

    Saltelli's estimators on a scrambled Sobol design: ``points`` × (inputs + 2) evaluations.

    Parameters
    ----------
    answer : callable
        Takes the inputs by name.
    inputs : mapping of str to Distribution
        Independent; fixed ones have no share.
    rng : numpy.random.Generator
        The only source of randomness.
    points : int
        A power of 2.

    Returns
    -------
    VarianceShares

    Raises
    ------
    InputError
        ``points`` no power of 2.

    References
    ----------
    Sobol' (1993); Saltelli et al. (2010), Comput. Phys. Commun. 181; as in
    ``scipy.stats.sobol_indices``.
    """
    from scipy.stats import sobol_indices

    if points < 2 or points & (points - 1):
        raise InputError(f"{points} points", "a power of 2")
    names = tuple(inputs)
    varying = [n for n in names if inputs[n].kind != "fixed"]
    first, total = np.zeros(len(names)), np.zeros(len(names))
    if not varying:
        return VarianceShares(names, first, total)

    def of_rows(x: FloatArray) -> FloatArray:
        n = x.shape[1]
        q = {k: np.full(n, inputs[k].a) for k in names}
        q |= {k: x[i] for i, k in enumerate(varying)}
        return np.asarray(answer(q), dtype=np.float64)[None, :]

    # scipy asks for an object with ppf; its type stub is narrower than what it takes.
    dists: Any = [_Quantiles(inputs[k]) for k in varying]
    found = sobol_indices(func=of_rows, n=points, dists=dists, rng=rng)
    place = [names.index(k) for k in varying]
    # A constant answer has no variance to share.
    first[place] = np.nan_to_num(np.ravel(found.first_order))
    total[place] = np.nan_to_num(np.ravel(found.total_order))
    return VarianceShares(names, first, total)


def first_order_from_draws(draws: FloatArray, answer: FloatArray) -> FloatArray:
    r"""First-order indices from joint draws that already exist.

    :math:`S_i = \mathrm{Var}(E[Y|X_i]) / \mathrm{Var}(Y)`, the inner mean taken over classes of
    equal count and freed of its own noise as in a one-way analysis of variance. Needs no new
    evaluation of anything; inputs may be correlated, their shares then overlap.

    Parameters
    ----------
    draws : array
        Shape ``(draws, inputs)``.
    answer : array
        Shape ``(draws,)``.

    Returns
    -------
    array
        Shape ``(inputs,)``, between 0 and 1; 0 for an input that does not vary.

    Raises
    ------
    InputError
        Shapes that do not fit, fewer than 200 draws, or missing values.

    References
    ----------
    Plischke, Borgonovo and Smith (2013), Eur. J. Oper. Res. 226, on indices from given data.
    """
    x, y = np.asarray(draws, dtype=np.float64), np.asarray(answer, dtype=np.float64)
    if x.ndim != 2 or y.shape != x.shape[:1]:
        raise InputError(f"draws {x.shape} and answer {y.shape}", "(draws, inputs) and (draws,)")
    if y.size < 200 or not np.isfinite(x).all() or not np.isfinite(y).all():
        raise InputError(f"{y.size} draws, or missing values", "at least 200 complete draws")
    total = float(np.sum((y - y.mean()) ** 2))
    # Rounding of a constant answer is no variance.
    if total <= 1e-24 * float(np.sum(y**2)):
        return np.zeros(x.shape[1])
    # Many classes blur less, few are less noisy; 64 loses under 1 % of a normal input's share.
    classes = int(np.clip(y.size // 40, 5, 64))
    return np.array([_share(x[:, i], y, classes, total) for i in range(x.shape[1])])


def dominant_uncertainty(
    names: Sequence[str], draws: FloatArray, answer: FloatArray
) -> tuple[tuple[str, float], ...]:
    """Inputs by their share of the answer's variance, largest first, shares adding up to 1.

    Parameters
    ----------
    names : sequence of str
        One per column of ``draws``.
    draws, answer
        As in `first_order_from_draws`.

    Returns
    -------
    tuple of (str, float)
        Empty where nothing varies.

    Raises
    ------
    InputError
        As `first_order_from_draws`, or names that do not fit.

    Examples
    --------
    >>> x = np.random.default_rng(0).normal(size=(4000, 2))
    >>> dominant_uncertainty(("a", "b"), x, x[:, 0] + 0.1 * x[:, 1])[0][0]
    'a'
    """
    if len(names) != np.shape(draws)[-1]:
        raise InputError(f"{len(names)} names for {np.shape(draws)[-1]} inputs", "one name each")
    shares = first_order_from_draws(draws, answer)
    if shares.sum() <= 0:
        return ()
    shares = shares / shares.sum()
    return tuple((names[i], float(shares[i])) for i in np.argsort(-shares, kind="stable"))


class _Quantiles:
    """A distribution as scipy's index function wants it."""

    def __init__(self, distribution: Distribution) -> None:
        self.distribution = distribution

    def ppf(self, p: FloatArray) -> FloatArray:
        return self.distribution.from_uniform(np.clip(p, 1e-12, 1 - 1e-12))


def _share(x: FloatArray, y: FloatArray, classes: int, total: float) -> float:
    if np.ptp(x) <= 0:
        return 0.0
    # Ties stay together: equal values must not be told apart by their place in the row.
    edges = np.unique(np.quantile(x, np.linspace(0, 1, classes + 1)[1:-1]))
    group = np.searchsorted(edges, x, side="right")
    count = np.bincount(group)
    mean = np.bincount(group, y)[count > 0] / count[count > 0]
    count = count[count > 0]
    between = float(np.sum(count * (mean - y.mean()) ** 2))
    if count.size < 2 or y.size <= count.size:
        return 0.0
    noise = (total - between) / (y.size - count.size)
    return float(np.clip((between - (count.size - 1) * noise) / total, 0.0, 1.0))
