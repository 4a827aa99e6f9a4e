"""The charts of an analysis, drawn once and handed to every page and file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from matplotlib.axes import Axes

from ratemodel.analysis import Analysis
from ratemodel.charts.creep_chart import creep_chart, sherby_dorn_chart
from ratemodel.charts.event_chart import demand_against_strength
from ratemodel.charts.limits_chart import limits_chart
from ratemodel.charts.models_chart import models_chart
from ratemodel.charts.next_test_chart import next_test_chart
from ratemodel.charts.preload_chart import preload_chart
from ratemodel.charts.saving import alt_of, save_figure
from ratemodel.charts.steps_chart import steps_chart
from ratemodel.charts.strength_rate import strength_against_rate
from ratemodel.charts.style import Size, style
from ratemodel.report.blocks import Picture
from ratemodel.units import Units
from ratemodel.what_if import demand_and_strength
from ratemodel.words import slugs

#: Creep runs that a chart can name side by side.
_MOST_NAMED = 8
#: What is drawn: key of `document`, name of the file without its ending, the drawing.
Drawing = tuple[str, str, Callable[[], Axes]]


def draw_pictures(analysis: Analysis, units: Units | None = None
                  ) -> tuple[dict[str, Picture], dict[str, bytes]]:  # fmt: skip
    """Pictures by key (see `document`), and the image files by name."""
    pictures: dict[str, Picture] = {}
    files: dict[str, bytes] = {}
    with style("light", "post"):
        for key, name, draw in drawings(analysis, units):
            axes = draw()
            pictures[key] = _picture(axes, f"{name}.svg")
            if key.startswith("strength/"):
                files[f"{name}.png"] = save_figure(axes, None, fmt="png")
    files |= {p.name: p.svg for p in pictures.values()}
    return pictures, files


def draw_post(analysis: Analysis, units: Units | None = None
              ) -> tuple[dict[str, Picture], dict[str, bytes]]:  # fmt: skip
    """Pictures of a post by key, and every one as PNG in the sizes of a post and a square card."""
    pictures: dict[str, Picture] = {}
    files: dict[str, bytes] = {}
    sizes: tuple[Size, ...] = ("post", "square")
    for size in sizes:
        with style("light", size):
            for key, name, draw in (*_demands(analysis, units), *drawings(analysis, units)):
                if key.startswith("models/"):
                    continue
                axes = draw()
                files[f"{name}-{size}.png"] = save_figure(axes, None, fmt="png")
                if size == "post":
                    pictures[key] = _picture(axes, f"{name}-post.png")
    return pictures, files


def drawings(analysis: Analysis, units: Units | None = None) -> Iterator[Drawing]:
    """Every chart of a report, to be drawn in the style in force."""
    series_names = slugs(r.fit.series.name for r in analysis.series)
    use_names = slugs(u.strength.use.name for u in analysis.uses)
    for result in analysis.series:
        name = result.fit.series.name
        uses = [u.strength for u in analysis.uses if u.strength.fit is result.fit]
        yield (f"strength/{name}", f"strength-vs-rate-{series_names[name]}",
               partial(strength_against_rate, result.fit, curve=result.curve, uses=uses,
                       units=units))  # fmt: skip
    yield from _endurance(analysis, units)
    for use in analysis.uses:
        own = use.strength.use.name
        for kind, chart in (("steps", steps_chart), ("models", models_chart),
                            ("limits", limits_chart)):  # fmt: skip
            yield (f"{kind}/{own}", f"{kind}-{use_names[own]}",
                   partial(chart, use, units=units))  # fmt: skip
    plan = analysis.next_test
    if plan is not None:
        yield "next-test", "next-test", partial(next_test_chart, plan)


def _endurance(analysis: Analysis, units: Units | None) -> Iterator[Drawing]:
    """Preload cycling and creep of every series that has such tests."""
    series_names = slugs(r.fit.series.name for r in analysis.series)
    use_names = slugs(u.strength.use.name for u in analysis.uses)
    for result in analysis.series:
        name = result.fit.series.name
        own = series_names[name]
        if result.preload is not None and result.preload.fit is not None:
            yield f"preload/{name}", f"preload-{own}", partial(preload_chart, result.preload.fit)
        if result.creep is None:
            continue
        for one in result.creep.forecasts:
            key, file = f"creep/{name}", f"creep-{own}"
            if one.use:
                key, file = f"strain/{one.use}", f"strain-{use_names[one.use]}"
            yield key, file, partial(creep_chart, one.forecast, units=units)
        if 0 < len(result.creep.seen) <= _MOST_NAMED:
            yield (f"creep-rate/{name}", f"rate-of-creep-{own}",
                   partial(sherby_dorn_chart, result.creep.seen))  # fmt: skip


def _demands(analysis: Analysis, units: Units | None) -> Iterator[Drawing]:
    """Demand against strength of every use whose event asks a force."""
    names = slugs(u.strength.use.name for u in analysis.uses)
    for use in analysis.uses:
        strength = use.strength
        if strength.use.kind not in ("fall", "snatch") or strength.unit.dimension != "force":
            continue
        both = demand_and_strength(strength)
        own = strength.use.name
        yield (f"demand/{own}", f"demand-{names[own]}",
               partial(demand_against_strength, both, units=units))  # fmt: skip


def _picture(axes: Axes, name: str) -> Picture:
    return Picture(name, save_figure(axes, None, fmt="svg"), alt_of(axes))
