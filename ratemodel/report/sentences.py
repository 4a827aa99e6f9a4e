"""Findings in plain sentences, each with its uncertainty."""

from __future__ import annotations

import numpy as np

from ratemodel.analysis import UseResult
from ratemodel.answers import model_answers
from ratemodel.inference.ratefit import RateFit
from ratemodel.planning import NextTest
from ratemodel.shown import (
    Quantity,
    change_text,
    decades_text,
    odds_beyond,
    quantity,
    rate_text,
    shown_unit,
    strength_quantity,
    time_text,
    unit_text,
)
from ratemodel.translation import UseStrength
from ratemodel.units import Units
from ratemodel.words import limit_text, number_text


def use_sentence(strength: UseStrength, units: Units | None = None) -> str:
    """The strength of one line in a use, with its lower bound."""
    fit, unit = strength.fit, shown_unit(strength.unit, units)
    mean = strength_quantity(strength.mean_ln, fit.level, unit).text(unit_text(unit))
    rate = rate_text(float(10 ** np.median(strength.u)))
    kept = f", with {_listed(list(strength.factors))} counted" if strength.factors else ""
    bound = limit_text(unit.from_si(strength.lower_bound), unit_text(unit))
    return (
        f"At the rate of use {strength.use.name} ({rate}, {decades_text(strength.decades_beyond)}) "
        f"one line of {strength.use.series} breaks on average at {mean}{kept}. Single lines "
        f"scatter about that: {bound_sentence(fit)} {bound}."
    )


def headline(result: UseResult, units: Units | None = None) -> str:
    """The answer for one use in one sentence: strength, label, and how far from the tests."""
    strength = result.strength
    unit, level = shown_unit(strength.unit, units), strength.fit.level
    mean = strength_quantity(strength.mean_ln, level, unit).text(unit_text(unit))
    text = (
        f"At the rate of use {strength.use.name} "
        f"({rate_text(float(10 ** np.median(strength.u)))}) one line of {strength.use.series} "
        f"breaks on average at {mean}"
    )
    ratio = label_ratio(strength)
    if ratio is not None:
        text += f"; the label {reading(ratio, 'that rate')}"
        if strength.factors:
            text += f", {_listed(list(strength.factors))} not counted"
    if strength.decades_beyond >= 0.05:
        text += f". That rate lies {decades_text(strength.decades_beyond)}"
    return text + "."


def reading(ratio: Quantity, against: str) -> str:
    """How a label reads against an average: ``"reads 12 % high (9 to 15)"``."""
    sign, word = (1, "high") if ratio.low > 1 else (-1, "low")
    if ratio.low <= 1 <= ratio.high:
        return f"can not be told apart from {against}: {change_text(ratio)}"
    ends = sorted(100 * sign * (x - 1) for x in (ratio.low, ratio.high))
    middle = 100 * sign * (ratio.median - 1)
    return (
        f"reads {middle:.0f} % {word} ({np.floor(ends[0]):.0f} to {np.ceil(ends[1]):.0f}) "
        f"against {against}"
    )


def label_ratio(strength: UseStrength) -> Quantity | None:
    """Label over the average at the use's rate, factors left out; None without a label."""
    rating = strength.fit.series.rating
    if rating is None:
        return None
    shift = sum(strength.factors.values(), start=np.zeros(strength.mean_ln.size))
    new = strength.mean_ln - shift
    return quantity(np.exp(np.log(rating.strength) - new), strength.fit.level)


def bound_sentence(fit: RateFit) -> str:
    """What the lower bound means, up to its value."""
    share, sure = 100 * fit.bound.fraction, 100 * fit.bound.confidence
    return f"with {sure:g} % confidence {share:g} % of them hold more than"


def label_sentence(result: UseResult, units: Units | None = None) -> str | None:
    """How far the label reads high or low at the use's rate; None where there is no label."""
    strength = result.strength
    rating, ratio = strength.fit.series.rating, label_ratio(strength)
    if rating is None or ratio is None:
        return None
    unit = shown_unit(strength.unit, units)
    label = f"The label ({number_text(unit.from_si(rating.strength))} {unit_text(unit)})"
    return (
        f"{label} {reading(ratio, 'the average of new specimens at this rate')}."
        f"{_rate_part(result)}"
    )


def _rate_part(result: UseResult) -> str:
    step = next((s for s in result.explanation.steps if s.name == "rate"), None)
    if step is None:
        return ""
    change = change_text(quantity(np.exp(step.ln_ratio), result.strength.fit.level))
    return f" Rate alone changes strength by {change} from that pull to this use."


def demand_sentence(result: UseResult, units: Units | None = None) -> str | None:
    """Peak force of the event and the odds that it exceeds one line; None without a demand."""
    event, level = result.strength.event, result.strength.fit.level
    if event.peak_force_N is None:
        return None
    unit = (units or Units()).force
    peak = quantity(event.peak_force_N / unit.factor, level).text(unit_text(unit))
    if event.kind == "steady":
        text = f"The load is {peak}"
    else:
        text = f"The event's peak force is {peak}"
        if event.time_to_peak_s is not None:
            text += f", reached after {time_text(float(np.median(event.time_to_peak_s)))}"
    if result.failure is None:
        return text + "."
    if not result.failure.informative:
        return f"{text}; odds taken from pulls are not informative: creep rupture governs it."
    odds = odds_beyond(result.failure.mean, result.strength.decades_beyond)
    return (
        f"{text}; the odds that it exceeds the strength of one new line, under the assumptions "
        f"stated, come out at {odds}."
    )


def models_sentence(strength: UseStrength, units: Units | None = None) -> str:
    """How far the models disagree about a use."""
    answers = [a for a in model_answers(strength) if a.weight >= 0.01]
    unit = shown_unit(strength.unit, units)
    best = max(answers, key=lambda a: a.weight)
    values = [unit.from_si(float(np.exp(a.ln_mean.median))) for a in answers]
    text = f"Best supported: {best.title} ({best.name}, {100 * best.weight:.0f} % of the odds). "
    if len(answers) == 1:
        return text + "No other model has odds above 1 %."
    return text + (
        f"The {len(answers)} models with odds above 1 % put the average between "
        f"{number_text(min(values))} and {number_text(max(values))} {unit_text(unit)}."
    )


def sentence(message: str) -> str:
    """A finding as a sentence: a capital first, a full stop last."""
    text = message.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


def next_test_sentence(plan: NextTest) -> str:
    """What to test next and what it would bring."""
    gain = 100 * (1 - plan.expected_interval_ratio)
    return (
        f"Test {plan.specimens} more specimens of {plan.series} at "
        f"{rate_text(plan.strain_rate_per_s)}: about {time_text(3600 * plan.machine_time_h)} of "
        f"machine time, expected to narrow the interval of the {plan.question} by {gain:.0f} %."
    )


def fit_sentence(fit: RateFit) -> str:
    """What a fit rests on."""
    held = int((~fit.series.used.broke).sum())
    low, high = (rate_text(r) for r in fit.tested)
    rates = fit.data.rates.size
    where = f"at {low}" if rates == 1 else f"at {rates} rates from {low} to {high}"
    also = f", {held} of them held without breaking" if held else ""
    aside = len(fit.series.set_aside)
    left = f"; {aside} set aside with a reason" if aside else ""
    return f"{len(fit.series.used)} specimens {where}{also}{left}."


def ratio_of(ln_ratio: np.ndarray, level: float) -> Quantity:
    """Ratio of a step from draws of its logarithm."""
    return quantity(np.exp(ln_ratio), level)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
