"""From a campaign to the request for a plan: machines, budget, question, what is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, cast

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.inference.priors import RatePriors, default_priors
from ratemodel.inference.ratefit import RateFit
from ratemodel.planning.knowledge import at_rates
from ratemodel.planning.lab import SET_UP_S, Machine, PlanRequest, Question
from ratemodel.records.names import Stem
from ratemodel.records.tables import Campaign, Series, Use
from ratemodel.records.toml import Node
from ratemodel.translation import ASSUMED_STRAIN, translate

_FILE = "campaign.toml"
_STEMS: Mapping[str, Stem] = {
    "budget": Stem(("time",)),
    "free_length": Stem(("length",)),
    "strain_at_break": Stem(("ratio",), high=1.0),
    "expected_strength": Stem(("force",)),
    "preload_bias_limit": Stem(("ratio",), low_included=True, high=0.5),
}
_OTHERS = ("hours", "specimens", "spools", "series", "use", "question", "note")
_KINDS = ("mean", "bound")
_FREE_LENGTH_M = 0.5


@dataclass(frozen=True)
class Choice:
    """What the person planning asks for; None leaves it to the campaign's ``[plan]`` table.

    Attributes
    ----------
    use : str, optional
        Use case whose rate is asked about.
    rate : float, optional
        Strain rate (1/s) asked about, in place of a use case.
    series : str, optional
        Product; needed beside ``rate`` where the campaign has several.
    question : {"mean", "bound"}, optional
    hours : float, optional
    specimens : int, optional
    """

    use: str | None = None
    rate: float | None = None
    series: str | None = None
    question: Literal["mean", "bound"] | None = None
    hours: float | None = None
    specimens: int | None = None
    settings: Settings = field(default_factory=Settings)


@dataclass(frozen=True)
class _Table:
    """The ``[plan]`` table, read and checked."""

    numbers: Mapping[str, float]
    node: Node

    def text(self, key: str) -> str | None:
        return self.node.text(key) if key in self.node.values else None


def plan_request(campaign: Campaign, choice: Choice | None = None, *, rng: np.random.Generator
                 ) -> PlanRequest:  # fmt: skip
    """The request that a campaign and a choice make; fits the series where it has been tested.

    Parameters
    ----------
    campaign : Campaign
        Its ``[machine.*]`` tables describe the lab; its ``[plan]`` table may give ``hours`` (or
        ``budget_h``), ``specimens``, ``spools``, ``series``, ``use``, ``question`` ("mean" or
        "bound"), ``free_length``, ``strain_at_break``, ``expected_strength`` and
        ``preload_bias_limit`` with their units.
    choice : Choice, optional
    rng : numpy.random.Generator
        For the fit and the event.

    Raises
    ------
    InputError
        An unknown use or series, or a quantity that makes no sense.
    """
    choice = choice or Choice()
    table = _read_table(campaign)
    use = _use(campaign, choice, table)
    series = campaign.series[_series_name(campaign, choice, table, use)]
    tested = len(series.used) > 0 and bool(series.used.broke.any())
    fit = None
    if tested:
        fit = fit_rate(series, rng=rng, settings=choice.settings, options=campaign.options,
                       sha256=campaign.sha256)  # fmt: skip
    kind = choice.question or table.text("question") or "mean"
    if kind not in _KINDS:
        raise table.node.error("question", f"question {kind!r}", " or ".join(_KINDS))
    rate = _rate(choice, use, fit, rng)
    length = table.numbers.get("free_length", _known(series.used.free_length_m, _FREE_LENGTH_M))
    strain = table.numbers.get("strain_at_break",
                               _known(series.used.strain_at_break, ASSUMED_STRAIN))  # fmt: skip
    machines = machines_of(campaign.options) or (_any_machine(fit, rate, length),)
    rating = series.rating.strength if series.rating is not None else None
    return PlanRequest(
        machines, Question(cast(Literal["mean", "bound"], kind), rate),
        hours=choice.hours or table.numbers.get("hours", 8.0),
        specimens=choice.specimens or int(table.numbers.get("specimens", 15)),
        known=fit, series=series, free_length_m=length, strain_at_break=strain,
        spools=_spools(table),
        strength_N=table.numbers.get("expected_strength", rating if not tested else None),
        priors=None if tested else _priors(series, campaign, machines, length),
        preload_bias_limit=table.numbers.get("preload_bias_limit", 0.001),
        level=choice.settings.level, bound=choice.settings.bound,
    )  # fmt: skip


def machines_of(options: Mapping[str, object]) -> tuple[Machine, ...]:
    """Machines of campaign.toml that state both ends of their speed range."""
    out = []
    tables = options.get("machine", {})
    for name, entry in tables.items() if isinstance(tables, Mapping) else ():
        number = {k: float(v) for k, v in entry.items() if isinstance(v, int | float)}
        if {"speed_min_m_per_s", "speed_max_m_per_s"} <= number.keys():
            out.append(Machine(name, number["speed_min_m_per_s"], number["speed_max_m_per_s"],
                               number.get("force_limit_N", float("inf")),
                               number.get("setup_s", SET_UP_S)))  # fmt: skip
    return tuple(out)


def _read_table(campaign: Campaign) -> _Table:
    raw = campaign.options.get("plan", {})
    node = Node(_FILE, "plan.", raw if isinstance(raw, Mapping) else {})
    matches = node.matches(_STEMS, _OTHERS)
    numbers = {s: node.number(m.name, _STEMS[s], m) for s, m in matches.items()}
    if "budget" in numbers:
        numbers["hours"] = numbers.pop("budget") / 3600
    for key in ("hours", "specimens"):
        if key in node.values:
            value = node.values[key]
            if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
                raise node.error(key, f"{key} = {value!r}", "a number above 0")
            numbers[key] = float(value)
    if numbers.get("specimens", 1.0) % 1 != 0:
        raise node.error("specimens", f"specimens = {numbers['specimens']:g}", "a whole number")
    return _Table(numbers, node)


def _use(campaign: Campaign, choice: Choice, table: _Table) -> Use | None:
    if choice.rate is not None:
        return None
    name = choice.use if choice.use is not None else table.text("use")
    if name is not None:
        if name not in campaign.use:
            known = ", ".join(campaign.use) or "none"
            raise InputError(f"use {name!r} is not in the campaign", f"one of {known}", file=_FILE)
        return campaign.use[name]
    wanted = choice.series or table.text("series")
    fitting = [u for u in campaign.use.values() if wanted in (None, u.series)]
    if not fitting:
        raise InputError("the campaign has no use case to plan for", "a rate, as --rate 1.0",
                         file=_FILE)  # fmt: skip
    return fitting[0]


def _series_name(campaign: Campaign, choice: Choice, table: _Table, use: Use | None) -> str:
    if use is not None:
        return use.series
    name = choice.series or table.text("series")
    if name is None and len(campaign.series) == 1:
        return next(iter(campaign.series))
    if name is None or name not in campaign.series:
        problem = "several series to plan for" if name is None else f"series {name!r} is unknown"
        raise InputError(problem, "one of " + ", ".join(campaign.series), file=_FILE)
    return name


def _rate(choice: Choice, use: Use | None, fit: RateFit | None, rng: np.random.Generator) -> float:
    """The rate asked about: given, or the median rate of the use's events."""
    if choice.rate is not None:
        return choice.rate
    assert use is not None
    if fit is not None:
        return float(10 ** np.median(translate(fit, use, rng=rng).u))
    from ratemodel.event import event_draws

    event = event_draws(use, 1000, rng)
    if event.strain_rate_per_s is None:
        raise InputError(f"use {use.name} is held steadily and nothing has been tested, so it has "
                         "no rate to plan for", "a rate, as --rate 1e-6")  # fmt: skip
    return float(np.median(event.strain_rate_per_s))


def _priors(series: Series, campaign: Campaign, machines: tuple[Machine, ...], length: float
            ) -> RatePriors:  # fmt: skip
    low = min(m.speed_min_m_per_s for m in machines) / length
    high = max(m.speed_max_m_per_s for m in machines) / length
    return default_priors(at_rates(series, low, high), campaign.options)


def _any_machine(fit: RateFit | None, rate: float, length: float) -> Machine:
    """Where no machine is described: one that reaches a decade beyond what was tested."""
    low, high = (rate, rate) if fit is None else fit.tested
    name = fit.data.machines[0] if fit is not None and len(fit.data.machines) == 1 else "any"
    return Machine(name or "any", low / 10 * length, high * 10 * length)


def _spools(table: _Table) -> tuple[str, ...]:
    value = table.node.values.get("spools", [])
    if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
        raise table.node.error("spools", "spools is no list of names", 'as in ["A", "B"]')
    return tuple(value)


def _known(values: FloatArray, default: float) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else default
