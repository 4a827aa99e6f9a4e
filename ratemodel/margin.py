"""What dominates the margin of a use, and its uncertainty as a budget.

The margin is ln(strength of one line) − ln(demand), seen as a function of independent groups of
inputs: one row of the fit (model, parameters, machines), each quantity of the event, each factor,
the spool and the specimen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.budget import Budget, Input
from ratemodel.dominance import VarianceShares, sobol_shares
from ratemodel.event.draws import event_of
from ratemodel.inference.ratefit import RateFit, stratified_scatter
from ratemodel.inference.scatter import standard_quantile
from ratemodel.propagation import first_order
from ratemodel.records.tables import Distribution
from ratemodel.translation import UseStrength, rate_of_use

CURVE = "rate model and its parameters"
MACHINES = "machine calibration"
SPOOL = "spool-to-spool scatter"
SPECIMEN = "specimen-to-specimen scatter"
#: Quantities are drawn within 3 standard deviations, where campaign.toml warrants possible values.
_WITHIN = (0.00135, 0.99865)
#: Quantities that take an event out of closed form.
_SLOW = frozenset({"exponent", "stiffness_exponent", "slip_force", "second_slack"})
_UNIT = Distribution("uniform", 0.0, 1.0)


@dataclass(frozen=True)
class Dominance:
    """Shares of the variance of a use's margin.

    Attributes
    ----------
    names : tuple of str
    first, total : ndarray, shape (inputs,)
        First-order and total Sobol indices; their difference is what acts only together.
    of_what : str
        The quantity shared out.
    """

    names: tuple[str, ...]
    first: FloatArray
    total: FloatArray
    of_what: str

    @property
    def shares(self) -> tuple[tuple[str, float], ...]:
        """First-order indices scaled to add up to one, largest first."""
        whole = float(self.first.sum()) or 1.0
        order = np.argsort(-self.first, kind="stable")
        return tuple((self.names[i], float(self.first[i] / whole)) for i in order)


def margin_shares(
    strength: UseStrength, *, rng: np.random.Generator, points: int | None = None
) -> Dominance:
    """First-order and total Sobol indices of ln(strength of one line) − ln(demand).

    Every group of inputs is driven by one uniform number: it picks a row of the fit (rows belong
    together and stay so), a quantile of an event's quantity or of a factor, or a deviate of spool
    and specimen. The event is computed anew for each, so its quantities act on demand and on the
    rate alike. The part of the curve that goes with the machine effects of the joint draws is told
    apart as `MACHINES`, by regression on them.

    Parameters
    ----------
    strength : UseStrength
        As translated; of kind ``rate`` the margin is ln(strength) alone.
    rng : numpy.random.Generator
    points : int, optional
        A power of 2; points × (groups + 2) evaluations. By default 2048, and 512 where the event
        has no closed form.
    """
    if points is None:
        slow = strength.curve is not None or not _SLOW.isdisjoint(strength.use.quantities)
        points = 512 if slow else 2048
    groups = _groups(strength)
    margin = _Margin(strength)
    found = sobol_shares(margin, dict.fromkeys(groups, _UNIT), rng, points=points)
    first, total = np.clip(found.first, 0.0, 1.0), np.clip(found.total, 0.0, None)
    names, first, total = _split_machines(strength, VarianceShares(groups, first, total))
    what = "ln strength of one line"
    if strength.event.peak_force_N is not None:
        what += " over demand"
    return Dominance(names, first, total, what)


def uncertainty_budget(
    strength: UseStrength, *, one_line: bool = False, coverage: float | None = None
) -> Budget:
    """Uncertainty budget of the strength in use, as the GUM lays it out.

    The answer is a product, exact in the draws: curve at the use's typical rate (without and with
    the machines' part) × the effect of the event's varying rate × each factor [× one line]. Its
    inputs' means and standard deviations are those of the joint draws, their correlations
    likewise; the first-order law then gives sensitivities and contributions.

    Parameters
    ----------
    strength : UseStrength
        As translated.
    one_line : bool
        Strength of a single line, its scatter included, instead of the mean.
    coverage : float, optional
        Of the expanded interval; the fit's level where not given.

    References
    ----------
    JCGM 100:2008, clauses 5 and 8.
    """
    fit = strength.fit
    typical = np.array([float(np.median(strength.u))])
    curve = fit.mean_ln(typical)[:, 0]
    machines = _machine_part(fit, curve)
    parts = {CURVE: (curve - machines, "fitted")}
    if np.ptp(machines) > 0:
        parts[MACHINES] = (machines, "prior of the machines, updated by the tests")
    at_use = fit.mean_ln(strength.u[:, None])[:, 0]
    parts["event's rate"] = (at_use - curve, "event, along the curve")
    for name, values in strength.factors.items():
        parts[name] = (values, strength.origins.get(name, "assumed"))
    if one_line:
        parts["line-to-line scatter"] = (_line_scatter(strength), "fitted scatter")
    columns = {name: np.exp(ln) for name, (ln, _) in parts.items()}
    inputs = [
        Input(name, float(x.mean()), float(x.std(ddof=1)) if np.ptp(x) > 0 else 0.0,
              origin=parts[name][1])
        for name, x in columns.items()
    ]  # fmt: skip
    answer = f"{'strength of one line' if one_line else 'mean strength'} in use {strength.use.name}"
    return first_order(
        lambda *x: np.prod(np.stack(np.broadcast_arrays(*x)), axis=0),
        inputs,
        correlation=_correlation(list(columns.values())),
        coverage=coverage or fit.level,
        answer=f"{answer} (SI)",
    )


class _Margin:
    """ln strength of one line less ln demand, from uniform numbers by group."""

    def __init__(self, strength: UseStrength) -> None:
        self.strength = strength
        self.factors = {n: np.sort(v) for n, v in strength.factors.items()}
        # Rows in the order of what they say, so that like numbers pick like rows.
        typical = strength.fit.mean_ln(np.array([float(np.median(strength.u))]))[:, 0]
        self.order = np.argsort(typical, kind="stable")

    def __call__(self, p: Mapping[str, FloatArray]) -> FloatArray:
        s, fit = self.strength, self.strength.fit
        use = s.use
        size = p[CURVE].size
        middle = np.full(size, 0.5)
        q = {
            n: d.from_uniform(np.clip(p.get(_event_name(n), middle), *_WITHIN))
            for n, d in use.quantities.items()
        }
        event = event_of(use, q, s.curve)
        part = fit.take(self.order[(p[CURVE] * (fit.owner.size - 1)).astype(np.int64)])
        u = np.broadcast_to(rate_of_use(fit, use, event), size)[:, None]
        out = part.mean_ln(u)[:, 0]
        for name, values in self.factors.items():
            picked = (p.get(name, middle) * (values.size - 1)).astype(np.int64)
            out += values[picked]
        e = standard_quantile(np.clip(p[SPECIMEN], 1e-9, 1 - 1e-9), fit.scatter)
        z = standard_quantile(np.clip(p[SPOOL], 1e-9, 1 - 1e-9), "normal")
        out += part.sigma_at(u)[:, 0] * e + part.batch_sd() * z
        if event.peak_force_N is not None:
            out -= np.log(np.maximum(event.peak_force_N, 1e-9))
        return out


def _groups(strength: UseStrength) -> tuple[str, ...]:
    ignored = {"temperature", "shocks"}
    quantities = strength.use.quantities
    events = [_event_name(n) for n, d in quantities.items()
              if d.kind != "fixed" and n not in ignored]  # fmt: skip
    factors = [n for n, v in strength.factors.items() if np.ptp(v) > 0]
    return (CURVE, *events, *factors, SPOOL, SPECIMEN)


def _event_name(quantity: str) -> str:
    return f"event: {quantity.replace('_', ' ')}"


def _split_machines(
    strength: UseStrength, found: VarianceShares
) -> tuple[tuple[str, ...], FloatArray, FloatArray]:
    """Divide the curve's share between the machines and the rest, by explained variance."""
    curve = strength.fit.mean_ln(np.array([float(np.median(strength.u))]))[:, 0]
    spread = float(curve.var())
    part = float(_machine_part(strength.fit, curve).var()) / spread if spread > 0 else 0.0
    if part <= 0:
        return found.names, found.first, found.total
    first = np.r_[found.first[0] * (1 - part), found.first[0] * part, found.first[1:]]
    total = np.r_[found.total[0] * (1 - part), found.total[0] * part, found.total[1:]]
    return (CURVE, MACHINES, *found.names[1:]), first, total


def _machine_part(fit: RateFit, curve: FloatArray) -> FloatArray:
    """The part of the curve, mean 0, that goes with the machine effects of the joint draws."""
    widths = {m.draws.machine.shape[1] for m in fit.models}
    if len(widths) != 1 or widths == {0}:
        return np.zeros_like(curve)
    effects = np.empty((fit.owner.size, widths.pop()))
    for j, model in enumerate(fit.models):
        mine = fit.owner == j
        effects[mine] = model.draws.machine[fit.row[mine]]
    effects = effects - effects.mean(axis=0)
    slope = np.linalg.lstsq(effects, curve - curve.mean(), rcond=None)[0]
    return np.asarray(effects @ slope)


def _line_scatter(strength: UseStrength) -> FloatArray:
    return stratified_scatter(
        strength.sigma[:, None], strength.batch_sd[:, None], strength.fit.scatter
    )[:, 0]


def _correlation(columns: list[FloatArray]) -> FloatArray:
    matrix = np.eye(len(columns))
    varying = [i for i, c in enumerate(columns) if np.ptp(c) > 0]
    if len(varying) > 1:
        found: FloatArray = np.array(np.corrcoef(np.stack([columns[i] for i in varying])))
        # Below the noise of this many draws there is no correlation to tell.
        found[np.abs(found) < 4 / np.sqrt(columns[0].size)] = 0.0
        matrix[np.ix_(varying, varying)] = found
        np.fill_diagonal(matrix, 1.0)
    if np.linalg.eigvalsh(matrix)[0] < 0:
        return np.eye(len(columns))
    return matrix
