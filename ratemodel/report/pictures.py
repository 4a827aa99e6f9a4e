"""The charts of an analysis, drawn once and handed to every page and file."""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.axes import Axes

from ratemodel.analysis import Analysis, SeriesResult, UseResult
from ratemodel.charts import alt_text
from ratemodel.charts.limits_chart import limits_chart
from ratemodel.charts.models_chart import models_chart
from ratemodel.charts.next_test_chart import next_test_chart
from ratemodel.charts.saving import save_figure
from ratemodel.charts.steps_chart import steps_chart
from ratemodel.charts.strength_rate import strength_against_rate
from ratemodel.charts.style import style
from ratemodel.report.blocks import Picture
from ratemodel.translation import UseStrength
from ratemodel.words import slugs

_USE_CHARTS: tuple[tuple[str, Callable[[UseResult], Axes], Callable[[UseResult], str]], ...] = (
    ("steps", steps_chart, alt_text.steps_alt),
    ("models", models_chart, alt_text.models_alt),
    ("limits", limits_chart, alt_text.limits_alt),
)


def draw_pictures(analysis: Analysis) -> tuple[dict[str, Picture], dict[str, bytes]]:
    """Pictures by key (see `document`), and the image files by name."""
    pictures: dict[str, Picture] = {}
    files: dict[str, bytes] = {}
    series_names = slugs(r.fit.series.name for r in analysis.series)
    use_names = slugs(u.strength.use.name for u in analysis.uses)
    with style("light", "post"):
        for result in analysis.series:
            name = f"strength-vs-rate-{series_names[result.fit.series.name]}"
            uses = [u.strength for u in analysis.uses if u.strength.fit is result.fit]
            picture, png = _strength(result, uses, name)
            pictures[f"strength/{result.fit.series.name}"] = picture
            files[f"{name}.png"] = png
        for use in analysis.uses:
            own = use.strength.use.name
            for kind, chart, words in _USE_CHARTS:
                svg = f"{kind}-{use_names[own]}.svg"
                pictures[f"{kind}/{own}"] = _picture(chart(use), svg, words(use))
        if analysis.next_test is not None:
            plan = analysis.next_test
            told = alt_text.next_test_alt(plan)
            pictures["next-test"] = _picture(next_test_chart(plan), "next-test.svg", told)
    files |= {p.name: p.svg for p in pictures.values()}
    return pictures, files


def _strength(result: SeriesResult, uses: list[UseStrength], name: str
              ) -> tuple[Picture, bytes]:  # fmt: skip
    axes = strength_against_rate(result.fit, curve=result.curve, uses=uses)
    alt = alt_text.strength_rate_alt(result.fit, uses)
    return _picture(axes, f"{name}.svg", alt), save_figure(axes, None, alt=alt, fmt="png")


def _picture(axes: Axes, name: str, alt: str) -> Picture:
    return Picture(name, save_figure(axes, None, alt=alt, fmt="svg"), alt)
