"""Strength against strain rate: specimens, bands, lower bound, tested and untested range, uses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.arrays import FloatArray
from ratemodel.charts.alt_text import strength_rate_alt
from ratemodel.charts.labels import (
    axes_points,
    cut_to,
    footer,
    footer_size,
    rows,
    set_title,
    short,
    spread,
    text_width,
    wrapped,
)
from ratemodel.charts.palette import Palette
from ratemodel.charts.rate_axis import RATE_LABEL, draw_rate_axes, strain_at_break
from ratemodel.charts.specimens import draw_counts, draw_key, draw_specimens, key_below
from ratemodel.charts.style import frame, house_style, new_axes, palette_now
from ratemodel.inference.ratefit import Curve, RateFit
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.translation import UseStrength
from ratemodel.units import Unit, Units
from ratemodel.words import mathtext_escape

_MARGIN = 0.3
CAUTION = "An estimate for new specimens as tested, not a working load."


@dataclass(frozen=True)
class _Shown:
    """The curve in the unit shown, with strain rates instead of their logarithms."""

    rate: FloatArray
    median: FloatArray
    mean: FloatArray
    one: FloatArray
    bound: FloatArray
    tested: tuple[float, float]
    unit: Unit


def strength_against_rate(fit: RateFit, *, curve: Curve | None = None,
                          uses: Sequence[UseStrength] = (), ax: Axes | None = None,
                          units: Units | str | None = None) -> Axes:  # fmt: skip
    """Draw the strength of one series against strain rate, with time to break above.

    Parameters
    ----------
    fit : RateFit
    curve : Curve, optional
        Summaries to draw; made from the fit where not given.
    uses : sequence of UseStrength
        Uses whose rates are marked; those of other series are left out.
    ax : Axes, optional
        Where to draw; a figure of its own in the house style where none is given.
    units : Units or str, optional
        Unit of strength, as ``"lbf"``; kN for forces where not given.

    Raises
    ------
    InputError
        ``units`` does not measure the series' kind of strength.
    """
    unit = shown_unit(fit.series.strength_unit, units)
    mine = [u for u in uses if u.fit.series.name == fit.series.name]
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        curve = _own_curve(fit, mine) if curve is None or curve.u.size < 2 else curve
        shown = _shown(curve, fit.tested, unit)
        strain, known = strain_at_break(fit)
        em = float(mpl.rcParams["font.size"])
        low, high = _limits(shown, fit, unit)
        footing = _footing(axes, _states(fit, strain, known))
        below = (
            _framed(axes, fit, footing, (low, high))
            if ax is None
            else (key_below(axes, fit.data.machines, RATE_LABEL))
        )
        axes.set_xscale("log")
        _bands(axes, shown, palette)
        _untested(axes, shown, palette)
        draw_specimens(axes, fit, unit, palette)
        draw_key(axes, fit.data.machines, below=below)
        draw_counts(axes, fit, palette)
        room = 1 - (1.7 * em * _uses(axes, mine, palette) + 2) / axes_points(axes)[1]
        axes.set_ylim(low, low + (high - low) / max(room, 0.4))
        _band_labels(axes, shown, fit, palette)
        draw_rate_axes(axes, strain)
        axes.set_ylabel(f"breaking strength ({unit_text(unit)})")
        set_title(axes, fit.series.name, "{}: strength against rate")
        footer(axes, footing, below=(5.5 if below else 3.9) * em)
        axes.set_label(strength_rate_alt(fit, mine, units, curve=curve))
    return axes


def _framed(axes: Axes, fit: RateFit, footing: str, ends: tuple[float, float]) -> bool:
    """Give an own figure its frame; returns whether the key has a row of its own."""
    left = 2.9 + 0.62 * max(len(f"{x:.3g}") for x in ends)
    bottom = 4.6 + 1.24 * 0.86 * (footing.count("\n") + 1)
    frame(axes, left=left, right=8.8, top=5.5, bottom=bottom)
    below = key_below(axes, fit.data.machines, RATE_LABEL)
    if below:
        frame(axes, left=left, right=8.8, top=5.5, bottom=bottom + 1.6)
    return below


def _own_curve(fit: RateFit, uses: Sequence[UseStrength]) -> Curve:
    """Curve over tested and use rates with a margin, where the caller has none."""
    u = fit.data.u
    ends = [float(q) for s in uses for q in np.quantile(s.u, [0.05, 0.95])]
    low, high = min([float(u.min()), *ends]), max([float(u.max()), *ends])
    even = np.linspace(low - _MARGIN, high + _MARGIN, int(8 * (high - low + 2 * _MARGIN)) + 9)
    return fit.curve(np.unique(np.concatenate([even, fit.data.rates])))


def _shown(curve: Curve, tested: tuple[float, float], unit: Unit) -> _Shown:
    median, mean, one, bound = (
        np.exp(x) / unit.factor
        for x in (curve.median, curve.mean_interval, curve.specimen_interval, curve.lower_bound)
    )
    return _Shown(10**curve.u, median, mean, one, bound, tested, unit)


def _bands(axes: Axes, s: _Shown, palette: Palette) -> None:
    axes.fill_between(s.rate, s.one[0], s.one[1], color=palette.one, alpha=0.35, lw=0, zorder=1,
                      label="single lines")  # fmt: skip
    axes.fill_between(s.rate, s.mean[0], s.mean[1], color=palette.mean, alpha=0.35, lw=0, zorder=2,
                      label="average")  # fmt: skip
    for values, colour in ((s.median, palette.mean), (s.bound, palette.bound)):
        name = "mean" if values is s.median else "bound"
        for part, dash in _parts(s):
            axes.plot(s.rate[part], values[part], color=colour, ls=dash, zorder=3,
                      label=f"_{name}")  # fmt: skip


def _parts(s: _Shown) -> list[tuple[slice, str | tuple[float, tuple[float, ...]]]]:
    """Slices of the curve within the tests (solid) and beyond them (dashed)."""
    first = int(np.searchsorted(s.rate, s.tested[0] * (1 - 1e-9)))
    last = int(np.searchsorted(s.rate, s.tested[1] * (1 + 1e-9))) - 1
    dash = (0.0, (4.0, 2.5))
    found: list[tuple[slice, str | tuple[float, tuple[float, ...]]]] = []
    if first > 0:
        found.append((slice(0, first + 1), dash))
    if last > first:
        found.append((slice(first, last + 1), "-"))
    if last < s.rate.size - 1:
        found.append((slice(max(last, 0), s.rate.size), dash))
    return found


def _untested(axes: Axes, s: _Shown, palette: Palette) -> None:
    """Hatch what lies beyond the tested rates, with words where there is room."""
    size = 0.9 * float(mpl.rcParams["font.size"])
    edge = 10 ** (0.025 * max(float(np.log10(s.rate[-1] / s.rate[0])), 0.5))
    left, right = float(s.rate[0]) / edge, float(s.rate[-1]) * edge
    axes.set_xlim(left, right)
    span = float(np.log10(right / left))
    for start, end in ((left, s.tested[0]), (s.tested[1], right)):
        decades = float(np.log10(end / start))
        if decades < 0.002:
            continue
        axes.axvspan(start, end, facecolor=palette.wash, edgecolor=palette.line, hatch="//", lw=0,
                     alpha=0.7, zorder=0, label="_untested")  # fmt: skip
        if decades / span * axes_points(axes)[0] < 1.6 * size:
            continue  # too narrow for words; the hatching and the footer say it
        words = "beyond the tests"
        wide = decades / span * axes_points(axes)[0] > 1.25 * text_width(words, size)
        axes.annotate(
            words, (np.sqrt(start * end), 0.10 if wide else 0.5),
            xycoords=("data", "axes fraction"), ha="center", va="center", fontsize=size,
            rotation=0 if wide else 90, color=palette.ink, style="italic", zorder=5,
            bbox={"facecolor": palette.paper, "edgecolor": "none", "alpha": 0.85, "pad": 1.5},
            gid="untested",
        )  # fmt: skip


def _limits(s: _Shown, fit: RateFit, unit: Unit) -> tuple[float, float]:
    """Range of strength that holds every point, band and bound, with a margin."""
    points = np.exp(fit.data.y) / unit.factor
    low = float(min(points.min(), s.one[0].min(), s.bound.min()))
    high = float(max(points.max(), s.one[1].max()))
    pad = 0.08 * (high - low or high)
    return max(low - 1.5 * pad, 0.0), high + pad


def _uses(axes: Axes, uses: Sequence[UseStrength], palette: Palette) -> int:
    """Mark the rates of the uses, named at the top; returns the rows of names."""
    if not uses:
        return 0
    size = float(mpl.rcParams["font.size"])
    wide = axes_points(axes)[0]
    left, right = np.log10(axes.get_xlim())
    marks: list[tuple[str, float, float]] = []
    for use in uses:
        low, middle, high = np.quantile(use.u, [0.05, 0.5, 0.95])
        if high - low > 0.01:
            axes.axvspan(10**low, 10**high, color=palette.use, alpha=0.16, lw=0, zorder=1,
                         label="_use")  # fmt: skip
        axes.axvline(10**middle, color=palette.use, lw=1.2, zorder=2, label="_use")
        rate = f", {rate_text(float(10**middle))}"
        room = (wide - 10) / 1.1 - text_width(rate, size)
        name = cut_to(short(use.use.name), max(room, 2 * size), size) + rate
        width = (text_width(name, size) * 1.1 + 10) / wide
        at = (float(middle) - left) / (right - left)
        # beside its line: to the right where there is room, else to the left
        centre = at + width / 2 if at + width < 1 else at - width / 2
        marks.append((name, max(centre, width / 2), width))
    placed = rows([m[1] for m in marks], [m[2] for m in marks])
    for (name, centre, _), row in zip(marks, placed, strict=True):
        axes.annotate(
            mathtext_escape(name), (centre, 1.0), xycoords="axes fraction",
            xytext=(0, -1.65 * size * row - 3), textcoords="offset points", ha="center",
            va="top", color=palette.use, weight="bold", zorder=6, gid="use",
            bbox={"facecolor": palette.paper, "edgecolor": "none", "alpha": 0.9, "pad": 1.0},
        )  # fmt: skip
    return max(placed) + 1


def _band_labels(axes: Axes, s: _Shown, fit: RateFit, palette: Palette) -> None:
    """Name the bands at their right end, outside the axes."""
    level = f"{100 * fit.level:g} %"
    texts = [
        (s.one[1, -1], f"{level} of\nsingle lines", palette.soft),
        (s.median[-1], f"average, {level}\ninterval", palette.mean),
        (s.bound[-1], f"lower bound\n{fit.bound.label}", palette.bound),
    ]
    size = float(mpl.rcParams["font.size"])
    low, high = axes.get_ylim()
    gap = 2.7 * size / axes_points(axes)[1] * (high - low)
    places = spread([float(t[0]) for t in texts], gap, low + gap / 2, high - gap / 2)
    for (_, text, colour), place in zip(texts, places, strict=True):
        axes.annotate(
            text, (1.0, place), xycoords=("axes fraction", "data"), xytext=(5, 0),
            textcoords="offset points", va="center", ha="left", color=colour, gid="band",
            annotation_clip=False,
        )  # fmt: skip


def _footing(axes: Axes, text: str) -> str:
    """The footer's text wrapped to the picture, or to the axes a caller brought."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    whole = float(figure.get_size_inches()[0]) * 72 - 6.0 * float(mpl.rcParams["font.size"])
    alone = len(figure.axes) == 1
    return wrapped(text, whole if alone else axes_points(axes)[0], footer_size())


def _states(fit: RateFit, strain: float, known: bool) -> str:
    """What the picture rests on, and the caution."""
    held = int((~fit.series.used.broke).sum())
    aside = len(fit.series.set_aside)
    count = f"{len(fit.series.used)} specimens"
    parts = [f"{held} held without breaking (arrow up)"] if held else []
    parts += [f"{aside} set aside, not shown"] if aside else []
    told = f"{count} ({', '.join(parts)})" if parts else count
    time = f"strain at break {100 * strain:.2g} %{'' if known else ' assumed'}"
    names = fit.data.machines
    machine = f", machine {short(names[0])}" if len(names) == 1 and names[0] else ""
    share, sure = 100 * fit.bound.fraction, 100 * fit.bound.confidence
    return (
        f"{told}{machine}. Lower bound: {share:g} % of lines are stronger, with {sure:g} % "
        f"confidence. Hatched and dashed: beyond the tests, resting on models alone. Time to "
        f"break: {time}. {CAUTION}"
    )
