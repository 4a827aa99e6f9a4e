"""The report: findings first, then what they rest on."""

from __future__ import annotations

from collections.abc import Mapping

from ratemodel.analysis import Analysis, SeriesResult, UseResult
from ratemodel.errors import Problem
from ratemodel.report.archive_part import archive_blocks
from ratemodel.report.blocks import Block, Bullets, Fold, Heading, Picture, Table, Text
from ratemodel.report.checks import diagnostics_blocks, sensitivity_blocks
from ratemodel.report.endurance_part import endurance_blocks
from ratemodel.report.parts import (
    fit_table,
    limits_table,
    models_table,
    odds_table,
    priors_table,
    problems_block,
    screening_block,
    shares_text,
    steps_table,
    use_finding,
)
from ratemodel.report.results_json import software
from ratemodel.report.sentences import (
    fit_sentence,
    headline,
    next_test_sentence,
    sentence,
)
from ratemodel.shown import rate_text
from ratemodel.units import Units
from ratemodel.words import CAUTION

_METHODS = (
    "Every speed is put on one axis, the strain rate. Several models of strength against rate are "
    "fitted to ln strength, with scatter from specimen to specimen and from spool to spool, an "
    "effect of each machine's calibration, and specimens that held counted as holding at least "
    "what they held.",
    "The models are weighed by how well they foretell the tests, and averaged. Each draw of the "
    "average is one complete state of knowledge; strength, event, factors and limits are computed "
    "draw by draw, so uncertainty is carried through once and in one way.",
    "Beyond the tested rates every law is allowed to depart from itself, by an amount that grows "
    "with the distance; the intervals widen accordingly.",
    "The steps from a label to the use multiply: in every draw, start times steps is the end.",
)


def document(
    analysis: Analysis, pictures: Mapping[str, Picture], units: Units | None = None
) -> tuple[Block, ...]:
    """All blocks of the report.

    Parameters
    ----------
    pictures : mapping of str to Picture
        By key: ``strength/<series>``, ``steps/<use>``, ``models/<use>``, ``limits/<use>``,
        ``preload/<series>``, ``creep/<series>``, ``creep-rate/<series>``, ``strain/<use>``,
        ``next-test``; a chart that is missing is left out.
    units : Units, optional
        Units shown; kN and mm/min where not given.
    """
    units = units or Units()
    out: list[Block] = [Heading(analysis.campaign.name, 1), *headlines(analysis, units)]
    for series in analysis.series:
        mine = [u for u in analysis.uses if u.strength.fit is series.fit]
        out += _series(series, mine, pictures, units)
        out += endurance_blocks(series, pictures, units)
    for use in analysis.uses:
        out += _use(use, pictures, units)
    out += archive_blocks(analysis, units)
    if analysis.next_test is not None:
        out += [Heading("What to test next"), Text(next_test_sentence(analysis.next_test)),
                *shown_picture(pictures, "next-test")]  # fmt: skip
    out += [Heading("Findings"), *problems_block(analysis.problems)]
    out += [Heading("Screening of the specimens")]
    for series in analysis.series:
        out += screening_block(series.screening, series.fit.series.name)
    out += [Heading("Cautions"), Bullets(analysis.cautions), *methods(analysis)]
    return tuple(out)


def headlines(analysis: Analysis, units: Units) -> list[Block]:
    """The answers, before anything else."""
    out: list[Block] = []
    out += [Text(headline(use, units), "lead") for use in analysis.uses]
    if not analysis.uses:
        out.append(
            Text("The campaign names no use; strength is given at the tested rates.", "lead")
        )
    level = f"{100 * analysis.settings.level:g} %"
    out += [Text(f"Brackets hold {level} of what the data and the models leave open.", "small"),
            Text(CAUTION, "caution")]  # fmt: skip
    out += [Text(sentence(p.message), "serious") for p in _serious(analysis)]
    return out


def _serious(analysis: Analysis) -> list[Problem]:
    seen = {p.message: p for p in analysis.problems if p.severity == "serious"}
    return list(seen.values())


def _series(result: SeriesResult, uses: list[UseResult], pictures: Mapping[str, Picture],
            units: Units) -> list[Block]:  # fmt: skip
    fit = result.fit
    return [
        Heading(f"{fit.series.name}: strength against rate"),
        Text(fit_sentence(fit)),
        *shown_picture(pictures, f"strength/{fit.series.name}"),
        *fit_table(fit, units),
        Text("The table is for the specimens as tested, without the factors of any use. " + CAUTION,
             "caution"),
        *([] if uses else [odds_table(fit)]),
        Fold("Checks of the fit against its own data", diagnostics_blocks(result)),
    ]  # fmt: skip


def _use(result: UseResult, pictures: Mapping[str, Picture], units: Units) -> list[Block]:
    strength = result.strength
    name = strength.use.name
    steps = steps_table(result.explanation, strength, units)
    return [
        Heading(f"Use {name}"),
        *use_finding(result, units),
        *limits_table(result.limits.rows, strength, units),
        *shown_picture(pictures, f"limits/{name}"),
        Heading(f"From the {result.explanation.start_name} to the use", 3),
        *shown_picture(pictures, f"steps/{name}"),
        steps,
        Text(shares_text(result)),
        Heading("Which model, and what each says", 3),
        *shown_picture(pictures, f"models/{name}"),
        *models_table(strength, units),
        Fold(
            "How the answer moves with model, priors and scatter", sensitivity_blocks(result, units)
        ),
    ]


def shown_picture(pictures: Mapping[str, Picture], key: str) -> list[Block]:
    """The picture under a key, or nothing."""
    return [pictures[key]] if key in pictures else []


def methods(analysis: Analysis) -> list[Block]:
    """How the results were made, from what, and with which versions."""
    campaign = analysis.campaign
    versions = ", ".join(f"{name} {number}" for name, number in software().items())
    settings = analysis.settings
    bound = settings.bound.label
    facts = (
        ("campaign", campaign.name),
        ("specimens in the table", str(campaign.tests)),
        ("SHA-256 of the input files", campaign.sha256),
        ("seed", str(analysis.seed)),
        ("joint draws", str(settings.draws)),
        ("level of intervals", f"{100 * settings.level:g} %"),
        ("lower bound", f"{bound}: fraction stronger / confidence, in per cent"),
        ("software", versions),
    )
    blocks: list[Block] = [Heading("Methods, data and versions"), Bullets(_METHODS)]
    models = [(m.model.name, m.model.formula, m.model.source)
              for m in analysis.series[0].fit.models]  # fmt: skip
    blocks.append(Table("Made from and with", ("what", "value"), facts))
    tested = tuple(
        (r.fit.series.name, r.fit.series.material, " to ".join(rate_text(x) for x in r.fit.tested),
         ", ".join(m for m in r.fit.data.machines if m), r.fit.scatter)
        for r in analysis.series
    )  # fmt: skip
    blocks.append(Table("Series", ("series", "material", "strain rates", "machines", "scatter"),
                        tested))  # fmt: skip
    blocks.append(Fold("Rate models (u: decades of strain rate)", (
        Table("Rate models", ("model", "formula", "source"), tuple(models)),)))  # fmt: skip
    blocks += [
        Fold(f"Prior knowledge used for {r.fit.series.name}",
             (priors_table(r.fit.priors, r.fit.series.name),))
        for r in analysis.series
    ]  # fmt: skip
    return blocks
