"""The command ``compare``: two series of a campaign in, ratio and claim out."""

from __future__ import annotations

import argparse
import json
import platform
import zlib
from pathlib import Path

import numpy as np

import ratemodel
from ratemodel.comparing import (
    Claim,
    Comparison,
    ComparisonSettings,
    RatePoint,
    RatingSupport,
    compare,
    parse_claim,
    supports_rating,
    verdict,
)
from ratemodel.comparing.claims import Interval, parse_margin
from ratemodel.errors import InputError, Problem
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.inference.ratefit import RateFit
from ratemodel.records.campaign import read_campaign
from ratemodel.records.tables import Campaign
from ratemodel.words import cautions
from ratemodel.writing import write_folder

SCHEMA = 1
FILE = "compare.json"


def run(args: argparse.Namespace) -> int:
    """Run the command; returns the exit status 0.

    Raises
    ------
    InputError
        The input is wrong; nothing has been written (exit status 2).
    """
    claim = None if args.claim is None else parse_claim(args.claim)
    settings = ComparisonSettings(margin=parse_margin(args.margin))
    rates = [_rate(text) for text in args.rate]
    seed = _seed(args.seed)
    if args.out is not None:
        _check_out(args.out)
    campaign = read_campaign(args.campaign)
    comparison = compare_series(campaign, _two(campaign, args.series), (rates, claim, settings),
                                seed)  # fmt: skip
    supports = tuple(
        supports_rating(fit, rng=_stream(seed, "rating", fit.series.name))
        for fit in (comparison.a, comparison.b)
        if fit.series.rating is not None
    )
    beside = _cautions(comparison)
    files: tuple[Path, ...] = ()
    if args.out is not None:
        tree = as_tree(campaign, comparison, supports, seed)
        data = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        files = write_folder(args.out, {FILE: data.encode()})
    print(_said(comparison, supports, beside))
    for path in files:
        print(f"\nWritten: {path}")
    return 0


def compare_series(campaign: Campaign, names: tuple[str, str],
                   question: tuple[list[float], Claim | None, ComparisonSettings], seed: int
                   ) -> Comparison:  # fmt: skip
    """Fit two series of a campaign and compare them; ``question``: rates, claim, settings."""
    rates, claim, settings = question
    a, b = (
        fit_rate(campaign.series[name], rng=_stream(seed, "series", name), settings=Settings(),
                 options=campaign.options, sha256=campaign.sha256)
        for name in names
    )  # fmt: skip
    rng = _stream(seed, "compare", "/".join(names))
    return compare(a, b, rates, rng=rng, claim=claim, settings=settings)


def as_tree(campaign: Campaign, comparison: Comparison, supports: tuple[RatingSupport, ...],
            seed: int) -> dict[str, object]:  # fmt: skip
    """Content of compare.json: strict JSON, strengths in kN or in the unit of the series."""
    import scipy

    settings, names = comparison.settings, comparison.names
    claim = comparison.claim
    return {
        "schema": SCHEMA,
        "campaign": {"name": campaign.name, "sha256": campaign.sha256, "tests": campaign.tests},
        "software": {"ratemodel": ratemodel.__version__, "python": platform.python_version(),
                     "numpy": np.__version__, "scipy": scipy.__version__},
        "seed": seed,
        "series": {"a": names[0], "b": names[1]},
        "claim": None if claim is None else {"text": claim.text, "ratio": claim.ratio,
                                             "words": claim.words(*names)},
        "level": settings.level,
        "margin": settings.margin,
        "confidence": settings.confidence,
        "rates": [_point(comparison, p) for p in comparison.points],
        "ratings": [_support(s) for s in supports],
        "problems": [_problem(p) for p in comparison.problems],
        "cautions": list(_cautions(comparison)),
    }  # fmt: skip


def _point(comparison: Comparison, p: RatePoint) -> dict[str, object]:
    c = comparison.settings.confidence
    fits = (comparison.a, comparison.b)
    return {
        "strain_rate_per_s": p.strain_rate_per_s,
        "ratio": _interval(p.ratio),
        "specimen_ratio": _interval(p.specimen_ratio),
        "specimen_stronger_probability": p.specimen_stronger,
        "claim_probability": p.claim,
        "claim_verdict": None if p.claim is None else verdict(p.claim, c),
        "claim_specimen_probability": p.claim_specimen,
        "equivalent_probability": p.equivalent,
        "not_inferior_probability": p.not_inferior,
        "strength": [
            {"series": f.series.name, "unit": f.series.strength_unit.symbol,
             **_interval(_in_unit(f, s))}
            for f, s in zip(fits, p.strength, strict=True)
        ],
        "decades_beyond_data": list(p.decades_beyond),
    }  # fmt: skip


def _support(s: RatingSupport) -> dict[str, object]:
    return {
        "series": s.series,
        "value": s.value,
        "unit": s.unit_symbol,
        "statistic": s.rating.statistic,
        "probability": s.probability,
        "verdict": s.verdict,
        "rules": [
            {"statistic": r.statistic, "weight": r.weight, "probability": r.probability,
             "ratio": _interval(r.ratio)}
            for r in s.rules
        ],
        "problems": [_problem(p) for p in s.problems],
    }  # fmt: skip


def _problem(p: Problem) -> dict[str, str]:
    return {"code": p.code, "message": p.message, "severity": p.severity}


def _interval(i: Interval) -> dict[str, object]:
    return {"median": i.median, "interval": [i.low, i.high]}


def _in_unit(fit: RateFit, i: Interval) -> Interval:
    unit = fit.series.strength_unit
    return Interval(*(unit.from_si(v) for v in (i.median, i.low, i.high)))


def _said(comparison: Comparison, supports: tuple[RatingSupport, ...], beside: tuple[str, ...]
          ) -> str:  # fmt: skip
    lines = list(comparison.sentences())
    for s in supports:
        lines += ["", *s.sentences()]
    worth = [p for p in comparison.problems if p.severity != "note"]
    if worth:
        lines += ["", "Limits of this answer:", *(f"- {p.message}" for p in worth)]
    return "\n".join([*lines, "", *beside])


def _cautions(comparison: Comparison) -> tuple[str, ...]:
    return cautions(len(comparison.a.series.used) + len(comparison.b.series.used))


def _two(campaign: Campaign, names: list[str]) -> tuple[str, str]:
    if len(names) != 2 or names[0] == names[1]:
        raise InputError(f"--series given {len(names)} time(s) as {', '.join(names)}",
                         "two different series: --series A --series B")  # fmt: skip
    for name in names:
        if name not in campaign.series:
            raise InputError(f"the campaign has no series {name!r}",
                             "one of " + ", ".join(campaign.series),
                             file="campaign.toml", column="series")  # fmt: skip
    return names[0], names[1]


def _rate(text: object) -> float:
    try:
        value = float(str(text))
    except ValueError:
        value = -1.0
    if not 1e-12 <= value <= 1e6:
        raise InputError(f"--rate {text}", "a strain rate from 1e-12 to 1e6 in 1/s")
    return value


def _seed(text: object) -> int:
    digits = str(text)
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 18):
        raise InputError(f"--seed {digits}", "a whole number from 0 up")
    return int(digits)


def _check_out(out: str) -> None:
    path = Path(out)
    nearest = next((p for p in (path, *path.parents) if p.exists()), None)
    if not out or (nearest is not None and not nearest.is_dir()):
        raise InputError(f"--out {out!r} is no folder", "a folder, existing or new")


def _stream(seed: int, kind: str, name: str) -> np.random.Generator:
    """A stream of its own for each step; fits of series are those of the command analyse."""
    return np.random.default_rng([seed, zlib.crc32(f"{kind}/{name}".encode())])
