"""Tables and texts of one result each, as blocks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.analysis import UseResult
from ratemodel.answers import model_answers
from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.inference.priors import Prior, RatePriors
from ratemodel.inference.ratefit import RateFit
from ratemodel.limits import Limit
from ratemodel.records.tables import Distribution
from ratemodel.report.blocks import Block, Bullets, Table, Text
from ratemodel.report.sentences import (
    demand_sentence,
    label_sentence,
    models_sentence,
    ratio_of,
    sentence,
    use_sentence,
)
from ratemodel.screening import ScreeningFinding
from ratemodel.shown import (
    change_text,
    decades_text,
    odds_beyond,
    rate_text,
    shown_unit,
    speed_text,
    strength_quantity,
    unit_text,
)
from ratemodel.steps import Explanation
from ratemodel.translation import UseStrength
from ratemodel.units import Unit, Units
from ratemodel.words import CAUTION, limit_text, number_text, quantity_text

_QUIET = frozenset({"nothing unusual", "pool", "alike"})


def use_finding(result: UseResult, units: Units | None = None) -> tuple[Block, ...]:
    """The answer for one use in sentences, with the caution."""
    said = [demand_sentence(result, units), label_sentence(result, units)]
    return (
        Text(use_sentence(result.strength, units), "lead"),
        *(Text(s) for s in said if s is not None),
        Text(CAUTION, "caution"),
    )


def limits_table(
    limits: Sequence[Limit], strength: UseStrength, units: Units | None = None
) -> tuple[Block, ...]:
    """Working load limits by every policy, with what each implies, and the caution."""
    if not limits:
        return (Text("No working load limit: the use states neither a design factor nor a target "
                     "failure probability."),)  # fmt: skip
    unit = shown_unit(strength.unit, units)
    beyond = decades_text(strength.decades_beyond)
    rows = tuple(
        (
            row.policy,
            limit_text(unit.from_si(row.value), unit_text(unit)),
            _interval(row, unit),
            odds_beyond(row.implied_failure_probability, strength.decades_beyond, row.informative),
            row.basis,
        )
        for row in limits
    )
    header = ("policy", "limit", "if the curve were known exactly", "odds that one line is weaker",
              "basis")  # fmt: skip
    caption = (
        f"Working load limits by policy in use {strength.use.name} (rounded down; its rate is "
        f"{beyond})"
    )
    return (
        Table(caption, header, rows, (1, 2)),
        Text(f"{CAUTION} The odds leave out wear, knots, edges, wet, heat, age and errors of "
             "handling.", "caution"),
    )  # fmt: skip


def _interval(row: Limit, unit: Unit) -> str:
    low, high = (unit.from_si(x) for x in row.interval)
    if high - low <= 1e-9 * high:
        return "as stated"
    return f"{number_text(low)} to {number_text(high)}"


def steps_table(
    explanation: Explanation, strength: UseStrength, units: Units | None = None
) -> Table:
    """Steps from the label (or the slowest pull) to one line in use."""
    shown, level = shown_unit(strength.unit, units), strength.fit.level
    start = strength_quantity(explanation.ln_start, level, shown).text(unit_text(shown))
    end = strength_quantity(explanation.ln_end, level, shown).text(unit_text(shown))
    rows = [(explanation.start_name, start, "")]
    rows += [
        (step.name, change_text(ratio_of(step.ln_ratio, level)), step.origin)
        for step in explanation.steps
    ]
    rows.append(("one line in use", end, ""))
    return Table(f"From the {explanation.start_name} to one line in use {strength.use.name}",
                 ("step", "value or change", "origin"), tuple(rows), (1,))  # fmt: skip


def models_table(strength: UseStrength, units: Units | None = None) -> tuple[Block, ...]:
    """Odds of every model and what it alone says at the use's rate."""
    unit = shown_unit(strength.unit, units)
    rows = []
    for answer in sorted(model_answers(strength), key=lambda a: -a.weight):
        ends = (answer.ln_mean.median, answer.ln_mean.low, answer.ln_mean.high)
        median, low, high = (unit.from_si(float(np.exp(x))) for x in ends)
        text = quantity_text(median, low, high, unit_text(unit))
        rows.append((answer.name, answer.title, _percent(answer.weight), text))
    total = strength_quantity(strength.mean_ln, strength.fit.level, unit).text(unit_text(unit))
    rows.append(("average of all", "", "", total))
    caption = f"What each model alone says of the average line in use {strength.use.name}"
    return (
        Text(models_sentence(strength, units)),
        Table(caption, ("model", "in words", "odds", "average strength"), tuple(rows), (2, 3)),
    )


def fit_table(fit: RateFit, units: Units | None = None) -> tuple[Block, ...]:
    """Strength at each tested rate."""
    unit = shown_unit(fit.series.strength_unit, units)
    curve = fit.curve(fit.data.rates)
    speeds = _speeds(fit, curve.u, units or Units())
    rows = []
    for i in range(curve.u.size):
        ln = (curve.median[i], curve.mean_interval[0, i], curve.mean_interval[1, i])
        median, low, high = (unit.from_si(float(np.exp(x))) for x in ln)
        bound = unit.from_si(float(np.exp(curve.lower_bound[i])))
        near = int((fit.data.speed == i).sum())
        rows.append((rate_text(float(10 ** curve.u[i])), *speeds[i : i + 1], str(near),
                     quantity_text(median, low, high, unit_text(unit)),
                     limit_text(bound, unit_text(unit))))  # fmt: skip
    caption = f"Strength of {fit.series.name} at the tested rates"
    header = ("strain rate", *(["machine speed"] if speeds else []), "specimens", "average",
              f"lower bound {fit.bound.label}")  # fmt: skip
    return (Table(caption, header, tuple(rows), tuple(range(len(header)))),)


def _speeds(fit: RateFit, u: FloatArray, units: Units) -> list[str]:
    """Machine speed at each tested rate by the free length; empty where none is stated."""
    used = fit.series.used
    out = []
    for rate in u:
        near = np.abs(np.log10(used.strain_rate_per_s) - rate) < 0.05
        lengths = used.free_length_m[near]
        known = lengths[np.isfinite(lengths)]
        out.append(speed_text(float(10**rate * np.median(known)), units) if known.size else "")
    return out if any(out) else []


def odds_table(fit: RateFit) -> Table:
    """Odds of the models of one fit."""
    rows = tuple(
        (m.model.name, m.model.title, _percent(m.weight))
        for m in sorted(fit.models, key=lambda m: -m.weight)
    )
    return Table(f"Odds of the models, {fit.series.name}", ("model", "in words", "odds"), rows,
                 (2,))  # fmt: skip


def problems_block(problems: Sequence[Problem]) -> tuple[Block, ...]:
    """Findings that limit how far a result may be trusted, gravest first."""
    order = {"serious": 0, "caution": 1, "note": 2}
    seen: dict[str, Problem] = {p.message: p for p in problems}
    ranked = sorted(seen.values(), key=lambda p: order[p.severity])
    if not ranked:
        return (Text("No finding limits these results beyond what stands above."),)
    return (Bullets(tuple(f"{p.severity.capitalize()}: {sentence(p.message)}" for p in ranked)),)


def screening_block(findings: Sequence[ScreeningFinding], name: str) -> tuple[Block, ...]:
    """Screening: what to look at as a table, the rest as a count."""
    loud = [f for f in findings if f.verdict not in _QUIET]
    quiet = len(findings) - len(loud)
    blocks: list[Block] = []
    if loud:
        rows = tuple((f.check, f.verdict, _names(f.specimens), f.detail) for f in loud)
        header = ("check", "verdict", "specimens", "detail")
        blocks.append(Table(f"Screening of {name}: look at these", header, rows))
    said = "1 check" if quiet == 1 else f"{quiet} checks"
    blocks.append(Text(f"{name}: {said} with nothing to look at. No specimen was removed."))
    return tuple(blocks)


def priors_table(priors: RatePriors, name: str) -> Table:
    """What was held before the tests were read."""
    rows = [(p.name, _prior_text(p), p.unit, p.origin) for p in priors.parameters.values()]
    rows += [
        (f"machine {m}" if m else "machine (each)", f"normal, mean 0, sd {number_text(sd)}", "",
         "calibration, as a fraction of the reading")
        for m, sd in priors.machine_sd.items()
    ]  # fmt: skip
    rows += [(f"odds of {m}", number_text(w), "", "before the tests")
             for m, w in priors.weights.items()]  # fmt: skip
    return Table(f"Prior knowledge used for {name}", ("of", "held before the tests", "unit",
                 "origin"), tuple(rows))  # fmt: skip


def shares_text(result: UseResult) -> str:
    """Where the uncertainty of one line comes from."""
    parts = [f"{name} {_percent(share)}" for name, share in result.shares if share >= 0.005]
    return "The uncertainty of one line comes from: " + ", ".join(parts) + "."


def _prior_text(prior: Prior) -> str:
    text = distribution_text(prior.distribution)
    if prior.broad is not None and prior.broad_weight > 0:
        text += f"; with odds {_percent(prior.broad_weight)}: {distribution_text(prior.broad)}"
    return text


def distribution_text(d: Distribution) -> str:
    """A distribution in words."""
    a, b = number_text(d.a), number_text(d.b)
    return {
        "fixed": a,
        "normal": f"normal, mean {a}, sd {b}",
        "uniform": f"uniform, {a} to {b}",
        "lognormal": f"lognormal, median {a}, factor {b}",
    }[d.kind]


def _percent(share: float) -> str:
    return "< 1 %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def _names(names: Sequence[str], most: int = 6) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"
