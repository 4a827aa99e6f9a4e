"""What a use would ask and allow if its numbers were others: from the stored draws, no refit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event import Recorded, event_draws
from ratemodel.inference.ratefit import RateFit, stratified_scatter
from ratemodel.inference.scatter import specimen_quantile
from ratemodel.limits import FailureProbability, Limit, failure_probability, working_load_limits
from ratemodel.odds import DemandAndStrength
from ratemodel.records.tables import Distribution, Use
from ratemodel.shown import Quantity, quantity
from ratemodel.translation import UseStrength, translate

#: Rows of the fit that answer a change; the tails are analytic, so these are plenty.
ROWS = 3000
_STATES, _EVENTS = 200, 256  # of knowledge and of the event that meet for the odds
_POINTS_PER_DECADE = 8
_BEYOND = 1.0  # decades of rate shown beyond the tests and the use
_SWEPT = {"fall": "fall", "snatch": "closing_speed"}


@dataclass(frozen=True)
class Change:
    """Numbers put in place of a use's own.

    Attributes
    ----------
    medians : mapping of str to float
        Quantity of the use (``mass``, ``fall``, ``closing_speed``, ``line_length``,
        ``stiffness``, ``load``) to its new median in SI; its relative spread stays as stated.
    target_failure_probability : float, optional
        New target; None leaves the use's own.
    """

    medians: Mapping[str, float] = field(default_factory=dict)
    target_failure_probability: float | None = None


@dataclass(frozen=True)
class Basis:
    """What a fit and a use give once, before any change; arrays (draws, n) over rates ``u``.

    ``one_ln`` is ln strength of one line drawn from each row, ``low_ln`` the strength that the
    bound's fraction of lines exceeds, both without the factors of the use.
    """

    fit: RateFit
    use: Use
    u: FloatArray
    one_ln: FloatArray
    low_ln: FloatArray
    curve: Recorded | None = None


@dataclass(frozen=True)
class WhatIf:
    """Answer to a change (SI; strengths and bands on ln S with the use's factors counted).

    Attributes
    ----------
    u, band, bound : ndarray
        log10 rates (n,); low, median and high of single lines (3, n); lower bound (n,).
    path_u, path_ln : ndarray
        The demand curve: rate and ln peak force as the fall or speed grows from little to
        much with every other number at its median; empty where the use has no demand.
    margin : Quantity or None
        Strength of one line over the event's peak force.
    failure : FailureProbability or None
        That the event breaks one line, all uncertainty averaged.
    """

    strength: UseStrength
    u: FloatArray
    band: FloatArray
    bound: FloatArray
    path_u: FloatArray
    path_ln: FloatArray
    margin: Quantity | None
    failure: FailureProbability | None
    limits: tuple[Limit, ...]


def what_if_basis(fit: RateFit, use: Use, *, rows: int = ROWS, curve: Recorded | None = None
                  ) -> Basis:  # fmt: skip
    """Do once what no change alters: the strength of single lines over a grid of rates.

    Parameters
    ----------
    fit : RateFit
        Fit of the use's own series.
    use : Use
    rows : int
        Joint draws kept; all of the fit's where it has fewer.
    curve : Recorded, optional
        Loading curve of a use whose line is "recorded", as for `translate`.
    """
    size = min(rows, fit.owner.size)
    part = fit.take(np.linspace(0, fit.owner.size - 1, size).astype(np.int64))
    middle = float(np.median(translate(part, use, rng=np.random.default_rng(0), curve=curve).u))
    low = min(float(fit.data.u.min()), middle - _BEYOND) - 0.3
    high = max(float(fit.data.u.max()), middle + _BEYOND) + 0.3
    u = np.linspace(low, high, int((high - low) * _POINTS_PER_DECADE) + 2)
    mean, sigma, spool = part.mean_ln(u), part.sigma_at(u), part.batch_sd()[:, None]
    one = mean + stratified_scatter(sigma, spool, fit.scatter)
    offset = specimen_quantile(1 - fit.bound.fraction, sigma, spool, fit.scatter)
    return Basis(part, use, u, one, mean + offset, curve)


def changed_use(use: Use, change: Change) -> Use:
    """The use with other medians, relative spreads kept.

    Raises
    ------
    InputError
        A quantity that the use does not have, a value that is not above 0, or a target that is
        no probability.
    """
    quantities = dict(use.quantities)
    for name, median in change.medians.items():
        if name not in quantities:
            raise InputError(f"use {use.name} has no {name}", "one of " + ", ".join(quantities))
        if not 0 < median < np.inf:
            raise InputError(f"{name} of {median:g}", "a number above 0")
        quantities[name] = moved(quantities[name], median)
    target = change.target_failure_probability
    if target is None:
        target = use.target_failure_probability
    elif not 0 < target < 1:
        raise InputError(f"a target failure probability of {target:g}", "a number from 0 to 1")
    return replace(use, quantities=quantities, target_failure_probability=target)


def moved(distribution: Distribution, median: float) -> Distribution:
    """A distribution of a positive quantity moved to another median, relative spread kept.

    Examples
    --------
    >>> moved(Distribution("normal", 80.0, 8.0), 100.0)
    Distribution(kind='normal', a=100.0, b=10.0)
    """
    if distribution.median <= 0:
        return Distribution("fixed", median)
    ratio = median / distribution.median
    if distribution.kind == "lognormal":
        return Distribution("lognormal", median, distribution.b)
    return Distribution(distribution.kind, distribution.a * ratio, distribution.b * ratio)


def what_if_answer(basis: Basis, change: Change, *, rng: np.random.Generator) -> WhatIf:
    """Demand, strength, margin, odds and limits of a changed use, from the stored draws.

    Parameters
    ----------
    basis : Basis
        From `what_if_basis`.
    change : Change
    rng : numpy.random.Generator
        For the event and the factors; the same state for every change makes the answer move
        smoothly.

    Raises
    ------
    InputError
        As `changed_use` and `translate`.
    """
    use = changed_use(basis.use, change)
    fit, level = basis.fit, basis.fit.level
    strength = translate(fit, use, rng=rng, curve=basis.curve)
    factors = sum(strength.factors.values(), start=np.zeros(fit.owner.size))[:, None]
    ends = [(1 - level) / 2, 0.5, (1 + level) / 2]
    band = np.quantile(basis.one_ln + factors, ends, axis=0)
    bound = np.quantile(basis.low_ln + factors, 1 - fit.bound.confidence, axis=0)
    path_u, path_ln = _demand_path(use, strength, rng)
    odds = failure_probability(strength, states=_STATES, events=_EVENTS)
    limits = tuple(working_load_limits(strength, scale_demand=False))
    return WhatIf(strength, basis.u, band, bound, path_u, path_ln, _margin(strength), odds, limits)


def _margin(strength: UseStrength) -> Quantity | None:
    demand = strength.event.peak_force_N
    if demand is None or strength.unit.dimension != "force":
        return None
    return quantity(np.exp(one_line_ln(strength)) / demand, strength.fit.level)


def one_line_ln(strength: UseStrength) -> FloatArray:
    """Strength of one line in the use (ln, SI), one specimen drawn in every joint draw."""
    spool = strength.batch_sd[:, None]
    scatter = stratified_scatter(strength.sigma[:, None], spool, strength.fit.scatter)[:, 0]
    return np.asarray(strength.mean_ln + scatter)


def demand_and_strength(strength: UseStrength) -> DemandAndStrength:
    """Draws of an event's demand and of one line's strength at its rate, with the odds.

    Raises
    ------
    InputError
        The use has no demand, or its strength is no force.
    """
    demand = strength.event.peak_force_N
    if demand is None or strength.unit.dimension != "force":
        raise InputError(f"use {strength.use.name} asks no force", "a fall, a snatch or a load")
    return DemandAndStrength(strength.use.name, demand, np.exp(one_line_ln(strength)),
                             failure_probability(strength))  # fmt: skip


def _demand_path(use: Use, strength: UseStrength, rng: np.random.Generator
                 ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Rate and ln peak force of the event from mild to hard, all else at its median."""
    name = _SWEPT.get(use.kind)
    if name is None or strength.unit.dimension != "force":
        return np.empty(0), np.empty(0)
    fixed = {n: Distribution("fixed", d.median) for n, d in use.quantities.items()}
    middle = max(use.quantities[name].median, 1e-6)
    swept = replace(use, quantities={**fixed, name: Distribution("lognormal", middle, 3.0)})
    event = event_draws(swept, 64, rng, curve=strength.curve)
    if event.strain_rate_per_s is None or event.peak_force_N is None:
        return np.empty(0), np.empty(0)
    order = np.argsort(event.inputs[name])
    rate, force = event.strain_rate_per_s[order], event.peak_force_N[order]
    some = (rate > 0) & (force > 0)
    return np.log10(rate[some]), np.log(force[some])
