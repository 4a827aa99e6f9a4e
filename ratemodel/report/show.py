"""Results as short text and as HTML, the same words in a terminal, a notebook and a report."""

from __future__ import annotations

from ratemodel.analysis import Analysis, UseResult
from ratemodel.inference.ratefit import RateFit
from ratemodel.limits import Limit, Limits
from ratemodel.planning import NextTest
from ratemodel.report.blocks import Block, Heading, Text
from ratemodel.report.endurance_part import creep_sentence, preload_sentence
from ratemodel.report.parts import (
    fit_table,
    limits_table,
    models_table,
    odds_table,
    problems_block,
    steps_table,
    use_finding,
)
from ratemodel.report.plain import to_plain
from ratemodel.report.sentences import fit_sentence, headline, next_test_sentence, use_sentence
from ratemodel.shown import odds_beyond, units_chosen
from ratemodel.translation import UseStrength
from ratemodel.units import Units
from ratemodel.words import CAUTION, quantity_text, round_down


def summary(result: object) -> str:
    """A result in one line."""
    if isinstance(result, Analysis):
        uses = ", ".join(u.strength.use.name for u in result.uses) or "none"
        series = ", ".join(r.fit.series.name for r in result.series)
        return f"{result.campaign.name}; series {series}; uses {uses}"
    if isinstance(result, UseResult):
        return headline(result)
    if isinstance(result, UseStrength):
        return use_sentence(result)
    if isinstance(result, RateFit):
        return f"{result.series.name}, {fit_sentence(result)}"
    if isinstance(result, NextTest):
        return next_test_sentence(result)
    if isinstance(result, Limits):
        return f"use {result.strength.use.name}; limits by {', '.join(r.policy for r in result)}"
    return _limit(_limit_of(result))


def text(result: object, units: Units | str | None = None) -> str:
    """A result as plain text, caution included, in the units wanted (as ``"lbf,in/min"``)."""
    return to_plain(blocks(result, units)).strip("\n")


def html(result: object, units: Units | str | None = None) -> str:
    """A result as an HTML fragment for a notebook, caution included, in the units wanted."""
    from ratemodel.report.html import to_fragment

    return to_fragment(blocks(result, units))


def blocks(result: object, units: Units | str | None = None) -> tuple[Block, ...]:
    """A result as blocks."""
    units = units_chosen(units)
    if isinstance(result, Analysis):
        return _analysis(result, units)
    if isinstance(result, UseResult):
        return _use(result, units)
    if isinstance(result, UseStrength):
        return (Text(use_sentence(result, units), "lead"), *models_table(result, units),
                *_found(result.problems), Text(CAUTION, "caution"))  # fmt: skip
    if isinstance(result, RateFit):
        return (Heading(f"{result.series.name}: strength against rate", 3),
                Text(fit_sentence(result)), *fit_table(result, units), odds_table(result),
                *_found(result.problems), Text(CAUTION, "caution"))  # fmt: skip
    if isinstance(result, Limits):
        return (*limits_table(result.rows, result.strength, units), *_found(result.problems))
    if isinstance(result, NextTest):
        return (Text(next_test_sentence(result)),)
    return (Text(_limit(_limit_of(result))), Text(CAUTION, "caution"))


def _analysis(result: Analysis, units: Units) -> tuple[Block, ...]:
    out: list[Block] = [Heading(result.campaign.name, 1)]
    for series in result.series:
        name = series.fit.series.name
        out.append(Text(f"{name}: {fit_sentence(series.fit)}"))
        if series.preload is not None:
            out.append(Text(preload_sentence(series.preload, name)))
        if series.creep is not None:
            out.append(Text(creep_sentence(series.creep, name, units)))
    for use in result.uses:
        out += [Heading(f"Use {use.strength.use.name}", 2), *use_finding(use, units)]
        out += limits_table(use.limits.rows, use.strength, units)
    if result.next_test is not None:
        out += [Heading("Next test", 2), Text(next_test_sentence(result.next_test))]
    out += _found(result.problems)
    if not result.uses:  # a use brings the caution with it
        out.append(Text(CAUTION, "caution"))
    return tuple(out)


def _use(result: UseResult, units: Units) -> tuple[Block, ...]:
    strength = result.strength
    steps = steps_table(result.explanation, strength, units)
    return (*use_finding(result, units), *limits_table(result.limits.rows, strength, units), steps,
            *_found((*strength.problems, *result.problems)))  # fmt: skip


def _found(problems: tuple[object, ...]) -> tuple[Block, ...]:
    from ratemodel.errors import Problem

    given = [p for p in problems if isinstance(p, Problem)]
    return (Heading("Findings", 3), *problems_block(given)) if given else ()


def _limit_of(result: object) -> Limit:
    if not isinstance(result, Limit):
        raise TypeError(f"{type(result).__name__} is no result that can be shown")
    return result


def _limit(row: Limit) -> str:
    """One limit on its own, in SI: a `Limit` does not know its series' unit."""
    low, high = row.interval
    ends = quantity_text(row.value, low, high, "")
    odds = odds_beyond(row.implied_failure_probability, row.decades_beyond, row.informative)
    return (
        f"{row.policy}: {round_down(row.value):g} (SI; {ends}); {row.basis}; odds that one line "
        f"is weaker: {odds}"
    )
