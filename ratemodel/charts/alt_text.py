"""What each chart shows, in words, for those who can not see it.

The first sentence serves as the picture's title.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.analysis import UseResult
from ratemodel.answers import model_answers
from ratemodel.inference.ratefit import Curve, RateFit
from ratemodel.limits import Limit, Limits
from ratemodel.planning import NextTest
from ratemodel.shown import (
    change_text,
    decades_text,
    odds_beyond,
    quantity,
    rate_text,
    shown_unit,
    strength_quantity,
    unit_text,
)
from ratemodel.steps import Explanation, Step
from ratemodel.translation import UseStrength
from ratemodel.units import Units
from ratemodel.what_if import WhatIf
from ratemodel.words import limit_text, number_text


def strength_rate_alt(
    fit: RateFit,
    uses: Sequence[UseStrength] = (),
    units: Units | str | None = None,
    *,
    curve: Curve | None = None,
) -> str:
    """Words for `strength_against_rate`; ``curve`` spares the work where it has the tested ends."""
    unit = shown_unit(fit.series.strength_unit, units)
    symbol = unit_text(unit)
    low, high = fit.tested
    ends = np.log10(np.array(sorted({low, high})))
    if curve is None or curve.u[0] > ends[0] + 1e-9 or curve.u[-1] < ends[-1] - 1e-9:
        curve = fit.curve(ends)
    means = np.exp(np.interp(ends, curve.u, curve.median)) / unit.factor
    told = [
        f"{number_text(float(mean))} {symbol} at {rate_text(float(10**end))}"
        for mean, end in zip(means, ends, strict=True)
    ]
    held = int((~fit.series.used.broke).sum())
    also = f", {held} of which held without breaking" if held else ""
    parts = [
        f"Breaking strength of {fit.series.name} against strain rate.",
        f"{len(fit.series.used)} specimens{also}, tested from {rate_text(low)} to "
        f"{rate_text(high)} on {_count(len(fit.data.machines), 'machine')}.",
        f"The average runs from {' to '.join(told)}, inside a band of {100 * fit.level:g} % of "
        f"single lines and above a {fit.bound.label} lower bound.",
    ]
    for use in uses:
        if use.fit.series.name != fit.series.name:
            continue
        bound = use.lower_bound / unit.factor
        parts.append(
            f"Use {use.use.name} is marked at {rate_text(float(10 ** np.median(use.u)))}, "
            f"{decades_text(use.decades_beyond)}; lower bound for it, factors counted, "
            f"{limit_text(bound, symbol)}."
        )
    parts.append("What lies beyond the tests is hatched. An estimate, not a working load.")
    return " ".join(parts)


def steps_alt(result: UseResult, units: Units | str | None = None) -> str:
    """Words for `steps_chart`."""
    strength, explanation = result.strength, result.explanation
    unit, level = shown_unit(strength.unit, units), strength.fit.level
    start = strength_quantity(explanation.ln_start, level, unit).text(unit_text(unit))
    end = strength_quantity(explanation.ln_end, level, unit).text(unit_text(unit))
    steps = "; ".join(
        f"{s.name} {change_text(quantity(np.exp(s.ln_ratio), level))}"
        for s in shown_steps(explanation)
    )
    return (
        f"Steps from the {explanation.start_name} to one line in use {strength.use.name}. "
        f"Start {start}; {steps}; one line in use {end}. Brackets hold {100 * level:g} %; "
        f"{rests_on(strength)}. An estimate, not a working load."
    )


def models_alt(result: UseResult, units: Units | str | None = None) -> str:
    """Words for `models_chart`."""
    strength = result.strength
    unit = shown_unit(strength.unit, units)
    symbol = unit_text(unit)
    rows = sorted(model_answers(strength), key=lambda a: -a.weight)
    told = "; ".join(
        f"{a.title} {odds_text(a.weight)}, "
        f"{number_text(float(np.exp(a.ln_mean.median)) / unit.factor)} {symbol}"
        for a in rows
    )
    total = strength_quantity(strength.mean_ln, strength.fit.level, unit).text(symbol)
    return (
        f"What each rate model says of the average strength in use {strength.use.name}. "
        f"{told}; average of all {total}; {rests_on(strength)}. An estimate, not a working load."
    )


def _odds(row: Limit) -> str:
    return odds_beyond(row.implied_failure_probability, row.decades_beyond, row.informative)


def limits_alt(result: UseResult | Limits, units: Units | str | None = None) -> str:
    """Words for `limits_chart`."""
    strength = result.strength
    unit = shown_unit(strength.unit, units)
    symbol = unit_text(unit)
    told = "; ".join(
        f"{row.policy} {limit_text(row.value / unit.factor, symbol)}, odds that a line is weaker "
        f"{_odds(row)}"
        for row in (result if isinstance(result, Limits) else result.limits)
    )
    bound = limit_text(strength.lower_bound / unit.factor, symbol)
    return (
        f"Working load limits by policy in use {strength.use.name}. {told or 'No policy stated'}. "
        f"Lower bound {strength.fit.bound.label}: {bound}; {rests_on(strength)}. Not a permission "
        "to load anything; life-safety use needs certified equipment."
    )


def next_test_alt(plan: NextTest) -> str:
    """Words for `next_test_chart`."""
    return (
        f"Which further test of {plan.series} would narrow the {plan.question} most. "
        f"{plan.specimens} specimens at {rate_text(plan.strain_rate_per_s)} are expected to bring "
        f"its interval to {100 * plan.expected_interval_ratio:.0f} % of the width it has now."
    )


def what_if_alt(answer: WhatIf, units: Units | str | None = None) -> str:
    """Words for `what_if_chart`."""
    strength = answer.strength
    unit = shown_unit(strength.unit, units)
    symbol, level = unit_text(unit), strength.fit.level
    at = rate_text(float(10 ** np.median(strength.u)))
    told = [f"What if, use {strength.use.name}: demand against strength of single lines."]
    force = strength.event.peak_force_N
    if force is not None and answer.margin is not None:
        peak = quantity(force / unit.factor, level).text(symbol)
        told.append(f"The event asks {peak} at {at}; one line holds {answer.margin.text()} times "
                    "that.")  # fmt: skip
    else:
        told.append(f"Strength is read at {at}.")
    bound = limit_text(strength.lower_bound / unit.factor, symbol)
    told.append(f"Lower bound {strength.fit.bound.label} there, factors counted: {bound}.")
    told.append(f"The rate is {decades_text(strength.decades_beyond)}. Not a permission to load "
                "anything.")  # fmt: skip
    return " ".join(told)


def rests_on(strength: UseStrength) -> str:
    """Number of specimens and extrapolation behind a use, in a few words."""
    beyond = strength.decades_beyond
    where = f"{beyond:.1f} decades beyond the tests" if beyond >= 0.05 else "within the tests"
    return f"{len(strength.fit.series.used)} specimens, rate {where}"


def shown_steps(explanation: Explanation) -> list[Step]:
    """Steps that change anything."""
    return [s for s in explanation.steps if bool(np.any(np.abs(s.ln_ratio) > 1e-12))]


def odds_text(weight: float) -> str:
    """Odds of a model in per cent."""
    return "< 1 %" if weight < 0.01 else f"{100 * weight:.0f} %"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
