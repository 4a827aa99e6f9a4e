"""Working load limits by several policies side by side, each with what it implies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.lives import HeldLoad
from ratemodel.odds import NOT_INFORMATIVE, FailureProbability, Spread, odds_words
from ratemodel.reliability import demand_scale, tail_probability
from ratemodel.shocks import PULLS_REACH_DECADES, failure_probability, meet
from ratemodel.showing import Shown
from ratemodel.tolerance import Convention
from ratemodel.translation import UseStrength
from ratemodel.words import CAUTION

#: Probability of the characteristic value and of the two design values of EN 1990:2002 Annex D.
CHARACTERISTIC = 0.05
DESIGN: dict[Convention, float] = {"probability-0.001": 0.001, "index-3.04": float(ndtr(-3.04))}
_ANNEX_D = "EN 1990 Annex D, variation unknown: {what}, predicted for the next line at this rate"


@dataclass(frozen=True, repr=False)
class Limit(Shown):
    """A working load limit by one policy.

    Attributes
    ----------
    policy : str
        Name of the rule.
    value : float
        The limit (SI).
    interval : tuple of float
        What the rule gives over the joint draws, at the fit's level; equal ends for a rule that
        looks at the label alone.
    implied_failure_probability : float
        Probability that one line loaded to this limit, at the use's rate, is weaker than it.
    basis : str
        The rule in words.
    decades_beyond : float
        Decades by which the use's rate lies beyond the tested rates.
    informative : bool
        False where the probability says nothing: a load held far longer than any pull.
    """

    policy: str
    value: float
    interval: tuple[float, float]
    implied_failure_probability: float
    basis: str
    decades_beyond: float = 0.0
    informative: bool = True

    @property
    def odds(self) -> str:
        """The implied probability as text."""
        known = odds_words(self.implied_failure_probability)
        return known if self.informative else "not informative"


@dataclass(frozen=True, repr=False)
class Limits(Shown):
    """The limits of one use by every policy, to be read side by side; iterates over them.

    Attributes
    ----------
    rows : tuple of Limit
    strength : UseStrength
        What they are taken from.
    demand_scale : float or None
        Factor on all demands of the event at which the target failure probability is met: above
        1 there is room, below 1 the use asks too much. None without target or demand.
    caution : str
        To be shown wherever a limit is.
    problems : tuple of Problem
    """

    rows: tuple[Limit, ...]
    strength: UseStrength
    demand_scale: float | None = None
    caution: str = CAUTION
    problems: tuple[Problem, ...] = ()

    def __iter__(self) -> Iterator[Limit]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, place: int) -> Limit:
        return self.rows[place]

    def by(self, policy: str) -> Limit:
        """The limit of one policy, by its name.

        Raises
        ------
        KeyError
            The use does not give the numbers for it.
        """
        for row in self.rows:
            if row.policy == policy:
                return row
        raise KeyError(f"no limit by {policy}; there are {', '.join(r.policy for r in self.rows)}")


def working_load_limits(
    strength: UseStrength,
    held: HeldLoad | None = None,
    *,
    convention: Convention = "probability-0.001",
    scale_demand: bool = True,
) -> Limits:
    """The limit by each policy that the use case gives the numbers for.

    Policies: ``rating / design factor``, ``lower bound / design factor``,
    ``EN 1990 characteristic / design factor`` (without a design factor
    ``EN 1990 characteristic``), ``EN 1990 design value``, ``target failure probability`` and, for
    a steady load with creep rupture tests, ``service life``. None of them is a permission to load
    anything; see the caution.

    Parameters
    ----------
    strength : UseStrength
        As translated.
    held : HeldLoad, optional
        What creep rupture tests say of a steady use; without it the row ``service life`` is left
        out, with a finding, and the others stand for a pull as long as the service life.
    convention : {"probability-0.001", "index-3.04"}
        What a design value means; see `ratemodel.tolerance.Convention`.
    scale_demand : bool
        False leaves ``demand_scale`` out, which takes most of the time.

    Notes
    -----
    EN 1990 Annex D derives its factors as the prediction of the next value from n normal ones
    under a vague prior (D7.1): for one rate the 5 % quantile predicted from the joint draws *is*
    exp(m − kₙ s) with kₙ of table D1, variation unknown. With several rates the same prediction,
    taken at the use's rate, is the only reading that keeps the Annex's meaning.
    """
    use = strength.use
    rows: list[Limit] = []
    if use.design_factor is not None:
        rows += _by_factor(strength, use.design_factor)
    rows += _annex_d(strength, use.design_factor, convention)
    if use.target_failure_probability is not None:
        p = use.target_failure_probability
        basis = f"one line in {1 / p:_.0f} weaker, all uncertainty averaged".replace("_", " ")
        rows.append(_limit(strength, "target failure probability", _predicted(strength, p), basis))
    problems: tuple[Problem, ...] = ()
    if strength.event.kind == "steady":
        by_life, problems = _service_life(strength, held)
        rows += by_life
    room = _room(strength, held) if scale_demand else None
    return Limits(tuple(rows), strength, room, problems=problems)


def predictive_quantile_ln(strength: UseStrength, probability: float) -> float:
    """ln load that one line fails to carry with a probability, averaged over all uncertainty.

    The tail is analytic in every draw, so small probabilities need no counting of rare draws.
    """
    per_draw = strength.quantile_ln(probability)
    low, high = float(per_draw.min()) - 1e-6, float(per_draw.max()) + 1e-6

    def excess(x: float) -> float:
        return float(np.log(max(_weaker(strength, x), 1e-300) / probability))

    return float(brentq(excess, low, high, xtol=1e-10))


def _by_factor(strength: UseStrength, factor: float) -> list[Limit]:
    fit, rows = strength.fit, []
    rating = fit.series.rating
    if rating is not None:
        value = rating.strength / factor
        rows.append(_limit(strength, "rating / design factor", (value, value, value),
                           f"declared value over {factor:g}"))  # fmt: skip
    low, high = np.exp(np.quantile(strength.quantile_ln(1 - fit.bound.fraction), _tails(strength)))
    values = (strength.lower_bound / factor, float(low) / factor, float(high) / factor)
    basis = f"{fit.bound.label} lower bound over {factor:g}"
    rows.append(_limit(strength, "lower bound / design factor", values, basis))
    return rows


def _annex_d(strength: UseStrength, factor: float | None, convention: Convention) -> list[Limit]:
    value, low, high = _predicted(strength, CHARACTERISTIC)
    by = factor or 1.0
    policy = "EN 1990 characteristic" + (" / design factor" if factor else "")
    over = f", over {by:g}" if factor else ", not yet over any factor"
    basis = _ANNEX_D.format(what="5 % fractile") + over
    one = _limit(strength, policy, (value / by, low / by, high / by), basis)
    p = DESIGN[convention]
    basis = _ANNEX_D.format(what=f"design value, fractile {p:.3g} (convention {convention})")
    basis += "; a resistance to set against a load with its own partial factor"
    return [one, _limit(strength, "EN 1990 design value", _predicted(strength, p), basis)]


def _service_life(
    strength: UseStrength, held: HeldLoad | None
) -> tuple[list[Limit], tuple[Problem, ...]]:
    """Load that lasts the service life, by lives under load; a finding where there are none."""
    label = strength.fit.bound.label
    if held is not None:
        broken = 1 - held.fraction
        basis = (
            f"{label} lower bound on life beyond the service life, by creep rupture tests; the "
            f"odds are the share of {broken:.3g} allowed to break within it"
        )
        ends, beyond = held.working_load_interval_N, strength.decades_beyond
        row = Limit("service life", held.working_load_N, ends, broken, basis, beyond)
        return [row], held.problems
    return [], (Problem(
        "no-limit-by-service-life",
        f"use {strength.use.name}: no limit by service life, since no creep rupture tests tell how "
        "long a load is held; the limits given are those of a pull as long as the service life; "
        "hold specimens to the break at two or more loads (creep.csv, broke = yes)",
        "serious"),)  # fmt: skip


def _room(strength: UseStrength, held: HeldLoad | None) -> float | None:
    """Factor on the demand at which the target is met; from pulls, so not for steady loads."""
    target, demand = strength.use.target_failure_probability, strength.event.peak_force_N
    one_shock = "shocks" not in strength.event.inputs
    usable = target is not None and target < 0.5 and demand is not None and held is None
    if not usable or strength.unit.dimension != "force" or strength.event.kind == "steady":
        return None
    if target is None or demand is None or not one_shock:
        return None
    rows = np.linspace(0, demand.size - 1, min(256, demand.size)).astype(np.int64)
    m = meet(strength, demand[rows], strength.u[rows], np.ones(rows.size), 1000)
    if not (m.demand > 0).all():
        return None
    spread = Spread(strength.fit.scatter, m.spool)
    return demand_scale(target, m.demand, m.mean, m.sigma, scatter=spread)


def _predicted(strength: UseStrength, p: float) -> tuple[float, float, float]:
    low, high = np.exp(np.quantile(strength.quantile_ln(p), _tails(strength)))
    return float(np.exp(predictive_quantile_ln(strength, p))), float(low), float(high)


def _weaker(strength: UseStrength, ln_load: float) -> float:
    """Probability that one line is weaker than a load, averaged over the joint draws."""
    per_draw: FloatArray = tail_probability(
        ln_load, strength.mean_ln, strength.sigma,
        Spread(strength.fit.scatter, strength.batch_sd),
    )  # fmt: skip
    return float(per_draw.mean())


def _tails(strength: UseStrength) -> list[float]:
    return [(1 - strength.fit.level) / 2, (1 + strength.fit.level) / 2]


def _limit(strength: UseStrength, policy: str, values: tuple[float, float, float], basis: str
           ) -> Limit:  # fmt: skip
    value, low, high = values
    p = _weaker(strength, float(np.log(value)))
    beyond = strength.decades_beyond
    steady = strength.event.kind == "steady" and beyond >= PULLS_REACH_DECADES
    return Limit(policy, value, (low, high), p, basis, beyond, not steady)


__all__ = [
    "NOT_INFORMATIVE",
    "FailureProbability",
    "Limit",
    "Limits",
    "failure_probability",
    "predictive_quantile_ln",
    "working_load_limits",
]
