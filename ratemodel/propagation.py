"""Uncertainty of an answer from that of its inputs: first-order law and Monte Carlo, as a budget.

After JCGM 100:2008 (GUM) clause 5 and Annex G, and JCGM 101:2008.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.budget import Budget, BudgetRow, Input
from ratemodel.errors import InputError, Problem

Function: TypeAlias = Callable[..., FloatArray]
"""Measurement model: one positional array ``(n,)`` per input, answer ``(n,)``."""


def first_order(
    function: Function,
    inputs: Sequence[Input],
    *,
    correlation: ArrayLike | None = None,
    coverage: float = 0.95,
    answer: str = "",
) -> Budget:
    r"""Budget by the law of propagation of uncertainty.

    .. math:: u_c^2 = \sum_i \sum_j c_i c_j\, u_i u_j\, r_{ij}, \quad c_i = \partial f/\partial x_i

    Parameters
    ----------
    function : callable
        Takes one array per input, in their order.
    inputs : sequence of Input
        Quantities.
    correlation : array_like, optional
        Matrix r, shape (inputs, inputs); None: independent.
    coverage : float
        Probability of the expanded interval, from the t distribution.
    answer : str
        Its name.

    Returns
    -------
    Budget
        With a problem where curvature makes the first order a poor guide.

    Raises
    ------
    InputError
        No correlation matrix of the inputs, negative uncertainty, coverage outside 0 to 1.

    References
    ----------
    JCGM 100:2008, equations (13) and (16), G.2b.

    Examples
    --------
    >>> from ratemodel.budget import Input
    >>> strain = Input("strain", 0.02, 0.0004), Input("stiffness", 50e3, 1e3)
    >>> round(first_order(lambda e, k: e * k, strain).standard_uncertainty, 2)
    28.28
    """
    from scipy.special import stdtrit

    matrix = _checked(inputs, correlation, coverage)
    slopes, bends, value = _derivatives(function, inputs)
    u = np.array([q.standard_uncertainty for q in inputs])
    parts = slopes * u
    combined = float(np.sqrt(max(parts @ matrix @ parts, 0.0)))
    dof, problems = _effective_dof(inputs, parts, combined, matrix)
    # Second-order part of the variance for independent normal inputs: JCGM 100, 5.1.2 note.
    second = float(np.sqrt(0.5 * np.sum((bends * u**2) ** 2)))
    if second > 0.2 * combined and second > 0:
        problems.append(
            Problem(
                "curved",
                f"the second-order part of the uncertainty is {second:.2g} beside {combined:.2g}: "
                "the first-order law is a poor guide here; use Monte Carlo",
            )
        )
    edge = (1 + coverage) / 2
    factor = float(stdtrit(min(dof, 1e12), edge))
    half = factor * combined
    return Budget(
        answer, "first-order", _rows(inputs, slopes), value, combined, dof, coverage, factor,
        half, (value - half, value + half), (value - half, value + half), tuple(problems),
    )  # fmt: skip


def monte_carlo(
    function: Function,
    inputs: Sequence[Input],
    draws: int,
    rng: np.random.Generator,
    *,
    correlation: ArrayLike | None = None,
    coverage: float = 0.95,
) -> Budget:
    """Budget by propagation of distributions (JCGM 101:2008, clause 7).

    Correlated inputs are joined by a normal copula, exact for normal ones. The sensitivity of a
    row is the spread with that input alone varying, over its standard uncertainty (Annex B).

    Parameters
    ----------
    function, inputs, correlation, coverage
        As in `first_order`.
    draws : int
        Joint draws; at least 1000.
    rng : numpy.random.Generator
        The only source of randomness.

    Returns
    -------
    Budget

    Raises
    ------
    InputError
        As `first_order`, too few draws, or an answer that is not a number in some draws.
    """
    from scipy.special import ndtr

    matrix = _checked(inputs, correlation, coverage)
    if draws < 1000:
        raise InputError(f"{draws} draws", "at least 1000")
    root = _root(matrix)
    p = ndtr(root @ rng.standard_normal((len(inputs), draws)))
    columns = [q.from_uniform(p[i]) for i, q in enumerate(inputs)]
    y = _evaluate(function, columns)
    centre = [np.full(draws, q.value) for q in inputs]
    slopes = np.zeros(len(inputs))
    for i, q in enumerate(inputs):
        if q.standard_uncertainty > 0:
            alone = [c if j != i else columns[i] for j, c in enumerate(centre)]
            slopes[i] = _evaluate(function, alone).std(ddof=1) / q.standard_uncertainty
    edge = (1 - coverage) / 2
    low, high = (float(v) for v in np.quantile(y, [edge, 1 - edge]))
    sd, half = float(y.std(ddof=1)), (high - low) / 2
    return Budget(
        "", "monte-carlo", _rows(inputs, slopes), float(y.mean()), sd, np.inf, coverage,
        half / sd if sd > 0 else 0.0, half, (low, high), shortest_interval(y, coverage),
    )  # fmt: skip


def shortest_interval(draws: FloatArray, coverage: float) -> tuple[float, float]:
    """Shortest interval that holds a share of the draws (JCGM 101, 5.3.4 and 7.7.4)."""
    y = np.sort(draws)
    inside = min(int(np.ceil(coverage * y.size)), y.size - 1)
    start = int(np.argmin(y[inside:] - y[: y.size - inside]))
    return float(y[start]), float(y[start + inside])


def _checked(inputs: Sequence[Input], correlation: ArrayLike | None, coverage: float) -> FloatArray:
    k = len(inputs)
    for q in inputs:
        if not q.standard_uncertainty >= 0 or not q.degrees_of_freedom > 0:
            raise InputError(
                f"{q.name}: uncertainty {q.standard_uncertainty:g} with "
                f"{q.degrees_of_freedom:g} degrees of freedom",
                "an uncertainty of 0 or above, more than 0 degrees of freedom",
            )
    if not k or not 0 < coverage < 1:
        raise InputError(f"{k} inputs, coverage {coverage:g}", "inputs, coverage between 0 and 1")
    matrix = np.eye(k) if correlation is None else np.asarray(correlation, dtype=np.float64)
    good = matrix.shape == (k, k) and np.allclose(matrix, matrix.T)
    good = good and np.allclose(np.diag(matrix), 1) and bool((np.abs(matrix) <= 1 + 1e-12).all())
    if not good or np.linalg.eigvalsh(matrix)[0] < -1e-9:
        raise InputError(
            "a matrix that is no correlation matrix of the inputs",
            f"{k} × {k}, symmetric, ones on the diagonal, no negative eigenvalue",
        )
    return matrix


def _root(matrix: FloatArray) -> FloatArray:
    """Square root; by eigenvalues, since a correlation of exactly 1 is singular."""
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _evaluate(function: Function, columns: Sequence[FloatArray]) -> FloatArray:
    y = np.broadcast_to(np.asarray(function(*columns), dtype=np.float64), columns[0].shape)
    if not np.isfinite(y).all():
        raise InputError(
            f"an answer that is no number in {(~np.isfinite(y)).sum()} of {y.size} draws",
            "a function defined over the whole spread of its inputs",
        )
    return y


def _derivatives(
    function: Function, inputs: Sequence[Input]
) -> tuple[FloatArray, FloatArray, float]:
    """First and second derivatives by five-point differences, and the value."""
    offsets = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    slopes, bends = np.zeros(len(inputs)), np.zeros(len(inputs))
    value = float(_evaluate(function, [np.array([q.value]) for q in inputs])[0])
    for i, q in enumerate(inputs):
        # A twentieth of the uncertainty: small against any curvature that matters, large against
        # rounding; a quantity known exactly gets a step by its size.
        h = 0.05 * q.standard_uncertainty or 1e-4 * abs(q.value) or 1e-6
        columns = [np.full(5, p.value) for p in inputs]
        columns[i] = q.value + h * offsets
        y = _evaluate(function, columns)
        slopes[i] = y @ np.array([1, -8, 0, 8, -1]) / (12 * h)
        bends[i] = y @ np.array([-1, 16, -30, 16, -1]) / (12 * h**2)
    return slopes, bends, value


def _effective_dof(
    inputs: Sequence[Input], parts: FloatArray, combined: float, matrix: FloatArray
) -> tuple[float, list[Problem]]:
    dof = np.array([q.degrees_of_freedom for q in inputs])
    if combined == 0 or np.isinf(dof[parts != 0]).all():
        return np.inf, []
    if np.allclose(matrix, np.eye(len(inputs))):
        return float(combined**4 / np.sum(parts**4 / dof)), []
    used = dof[parts != 0]
    if np.ptp(used) == 0:
        # Estimates of one fit share one residual scatter and its degrees of freedom.
        return float(used[0]), []
    return float(used.min()), [
        Problem(
            "degrees-of-freedom",
            "correlated inputs of unlike degrees of freedom have no Welch–Satterthwaite formula "
            "(JCGM 100, G.4.1 is for independent ones); the smallest was taken",
        )
    ]


def _rows(inputs: Sequence[Input], slopes: FloatArray) -> tuple[BudgetRow, ...]:
    return tuple(
        BudgetRow(
            q.name,
            q.value,
            q.standard_uncertainty,
            float(c),
            float(abs(c) * q.standard_uncertainty),
            q.degrees_of_freedom,
            q.origin,
        )
        for q, c in zip(inputs, slopes, strict=True)
    )
