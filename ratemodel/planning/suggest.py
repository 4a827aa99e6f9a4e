"""What to test next: the rate whose result would narrow the answer most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.inference.ratefit import RateFit
from ratemodel.showing import Shown
from ratemodel.translation import ASSUMED_STRAIN, UseStrength

SET_UP_H = 0.25
SPECIMENS = 3
#: Slices of like outcome in the preposterior analysis on draws.
OUTCOMES = 32


@dataclass(frozen=True, repr=False)
class NextTest(Shown):
    """A suggested further test.

    Attributes
    ----------
    series : str
    strain_rate_per_s : float
    specimens : int
    machine_time_h : float
        Set-up and pulling of all specimens.
    expected_interval_ratio : float
        Expected width of the answer's interval after the test over its width now.
    question : str
        The answer it is chosen for.
    candidates : ndarray, shape (n, 2)
        log10 rate and expected ratio of every rate looked at.
    """

    series: str
    strain_rate_per_s: float
    specimens: int
    machine_time_h: float
    expected_interval_ratio: float
    question: str
    candidates: FloatArray


def next_test(fits: Mapping[str, RateFit], uses: Sequence[UseStrength],
              options: Mapping[str, object]) -> NextTest | None:  # fmt: skip
    """Rate at which three more specimens would narrow the widest use-case answer most.

    Without a use case the question is the mean strength one decade above the fastest pull. Rates
    are looked for within what the machines named in campaign.toml can do; where none is described,
    from a decade below the slowest to a decade above the fastest pull.
    """
    if not fits:
        return None
    if uses:
        # A steady hold is a matter of creep rupture; further pulls would hardly answer it.
        pulled = [s for s in uses if s.use.kind != "steady"] or list(uses)
        use = max(pulled, key=_uncertainty)
        fit, u, question = use.fit, use.u, f"strength in use {use.use.name}"
    else:
        fit = next(iter(fits.values()))
        u = np.array([fit.data.u.max() + 1.0])
        question = "mean strength one decade above the fastest pull"
    fit_rows = fit.take(np.arange(min(fit.owner.size, 8000)))
    at = u[:8000, None] if u.size > 1 else u
    target = fit_rows.mean_ln(at)[:, 0]
    where = _candidates(fit, options)
    ratio = expected_ratio(fit_rows, target, where, SPECIMENS)
    best = int(np.argmin(ratio))
    rate = float(10 ** where[best])
    hours = SPECIMENS * (_set_up_hours(options) + _strain(fit) / rate / 3600.0)
    return NextTest(fit.series.name, rate, SPECIMENS, hours, float(ratio[best]), question,
                    np.column_stack([where, ratio]))  # fmt: skip


def _uncertainty(strength: UseStrength) -> float:
    """Spread of ln strength before the use's factors, which no break test narrows."""
    factors = sum(strength.factors.values(), start=np.zeros(strength.mean_ln.size))
    return float(np.std(strength.mean_ln - factors))


def expected_ratio(fit: RateFit, target: FloatArray, where: FloatArray, specimens: int
                   ) -> FloatArray:  # fmt: skip
    """Expected interval width of ``target`` after a test at each rate, over its width now.

    Preposterior analysis on the joint draws: the mean of the new specimens is predicted in every
    draw, draws are sorted by it, and the interval of the target is taken within slices of like
    outcome. It sees what the models disagree about as well as what their parameters do.

    Parameters
    ----------
    target : ndarray, shape (draws,)
        The quantity wanted, per draw of ``fit``.
    where : ndarray, shape (n,)
        log10 rates looked at.
    """
    return np.array([outcome_ratios(fit, target, float(u), specimens).mean() for u in where])


def outcome_ratios(fit: RateFit, target: FloatArray, u: float, specimens: int) -> FloatArray:
    """Interval width of ``target`` over its width now, for 32 equally likely test outcomes.

    The specimens come from as many spools and are read on the machine that was run nearest to the
    rate, with the calibration it already has: a second look through the same load cell.
    """
    tails = [(1 - fit.level) / 2, (1 + fit.level) / 2]
    now = float(np.diff(np.quantile(target, tails))[0])
    at = np.array([u])
    noise = np.random.default_rng(7).standard_normal(target.size)
    scatter = np.hypot(fit.sigma_at(at)[:, 0], fit.batch_sd()) / np.sqrt(specimens)
    outcome = fit.mean_ln(at)[:, 0] + fit.machine_effect(_nearest_machine(fit, u)) + noise * scatter
    slices = np.array_split(np.argsort(outcome, kind="stable"), OUTCOMES)
    widths = [float(np.diff(np.quantile(target[s], tails))[0]) for s in slices]
    return np.array(widths) / max(now, 1e-12)


def _nearest_machine(fit: RateFit, u: float) -> int:
    """Index of the machine that pulled nearest to a log10 rate."""
    return int(fit.data.machine[int(np.argmin(np.abs(fit.data.u - u)))])


def _candidates(fit: RateFit, options: Mapping[str, object]) -> FloatArray:
    low, high = float(fit.data.u.min()) - 1.0, float(fit.data.u.max()) + 1.0
    length = fit.series.used.free_length_m
    known = length[np.isfinite(length)]
    ranges = _machine_speeds(options)
    if ranges and known.size:
        gauge = float(np.median(known))
        low = float(np.log10(min(a for a, _ in ranges) / gauge))
        high = float(np.log10(max(b for _, b in ranges) / gauge))
    return np.linspace(low, high, max(int(np.ceil((high - low) * 4)) + 1, 2))


def _machine_speeds(options: Mapping[str, object]) -> list[tuple[float, float]]:
    """Speed ranges (m/s) of the machines described in campaign.toml."""
    from ratemodel.units import split_name

    out = []
    machines = options.get("machine", {})
    for entry in machines.values() if isinstance(machines, Mapping) else ():
        found: dict[str, float] = {}
        for key, value in entry.items() if isinstance(entry, Mapping) else ():
            stem, unit = split_name(key)
            if unit is not None and unit.dimension == "speed" and isinstance(value, int | float):
                found[stem] = unit.to_si(float(value))
        if {"speed_min", "speed_max"} <= found.keys():
            out.append((found["speed_min"], found["speed_max"]))
    return out


def _set_up_hours(options: Mapping[str, object]) -> float:
    machines = options.get("machine", {})
    minutes = [
        float(entry["setup_s"]) / 60.0
        for entry in (machines.values() if isinstance(machines, Mapping) else ())
        if isinstance(entry, Mapping) and isinstance(entry.get("setup_s"), int | float)
    ]
    return float(np.mean(minutes)) / 60.0 if minutes else SET_UP_H


def _strain(fit: RateFit) -> float:
    given = fit.series.used.strain_at_break
    known = given[np.isfinite(given)]
    return float(np.median(known)) if known.size else ASSUMED_STRAIN
