"""Pictures of a comparison: ratio with its interval, rate by rate; products with their ranks."""

from __future__ import annotations

import matplotlib as mpl
from matplotlib.axes import Axes

from ratemodel.charts.alt_lab import odds_number, ranking_alt, ratio_alt
from ratemodel.charts.labels import room_for, short
from ratemodel.charts.palette import Palette
from ratemodel.charts.rowed import lay_rows
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.comparing.many import Ranking
from ratemodel.comparing.pair import Comparison, RatePoint
from ratemodel.errors import InputError
from ratemodel.shown import rate_text, shown_unit, unit_text
from ratemodel.units import Unit, Units
from ratemodel.words import CAUTION, quantity_text


def ratio_chart(result: Comparison, *, ax: Axes | None = None) -> Axes:
    """Ratio of B to A at every rate: mean (thick) and single specimens (thin), claim and margin.

    Points at rates beyond the tested ones of either series are hollow.

    Parameters
    ----------
    result : Comparison
        From `ratemodel.comparing.compare`.
    ax : Axes, optional
        None: a new figure.
    """
    a, b = (short(n) for n in result.names)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        lay_rows(axes, [_rate_label(p) for p in result.points], own=ax is None,
                 title=(f"{b} over {a}", "{}"), states=_states(result))  # fmt: skip
        margin = result.settings.margin
        axes.axvspan(1 - margin, 1 + margin, color=palette.wash, lw=0, zorder=0, label="_margin")
        axes.axvline(1.0, color=palette.soft, lw=0.8, zorder=1, label="_same")
        notes = [_point(axes, i, p, palette) for i, p in enumerate(result.points)]
        if result.claim is not None:
            axes.axvline(result.claim.ratio, color=palette.bound, ls="--", lw=1.4, zorder=1,
                         label="_claim")  # fmt: skip
            axes.annotate(f"claim {result.claim.text}", (result.claim.ratio, 0.0),
                          xycoords=("data", "axes fraction"), xytext=(3, 2), ha="left",
                          textcoords="offset points", va="bottom", color=palette.bound,
                          gid="claim")  # fmt: skip
        low = min(1 - margin, *(p.specimen_ratio.low for p in result.points))
        top = [(1 + margin, ""), *notes]
        if result.claim is not None:
            low = min(low, result.claim.ratio)
            top.append((result.claim.ratio, ""))
        low -= 0.03
        axes.set_xlim(low, room_for(axes, low, top))
        axes.set_xlabel("ratio of strengths", loc="left")
        axes.set_label(ratio_alt(result))
    return axes


def _point(axes: Axes, row: int, p: RatePoint, palette: Palette) -> tuple[float, str]:
    """One rate's intervals, with the ratio written beside them."""
    em = float(mpl.rcParams["font.size"])
    one, mean = p.specimen_ratio, p.ratio
    axes.plot([one.low, one.high], [row, row], color=palette.soft, lw=0.12 * em, zorder=2,
              label="_single")  # fmt: skip
    axes.plot([mean.low, mean.high], [row, row], color=palette.mean, lw=0.45 * em, zorder=3,
              solid_capstyle="butt", label="_mean")  # fmt: skip
    hollow = max(p.decades_beyond) > 0.05
    axes.plot([mean.median], [row], "o", color=palette.mean, zorder=4, label="_median",
              markerfacecolor=palette.paper if hollow else palette.mean)  # fmt: skip
    text = quantity_text(mean.median, mean.low, mean.high, "")
    axes.annotate(text, (one.high, row), xytext=(0.6 * em, 0), textcoords="offset points",
                  va="center", color=palette.mean, gid="ratio", annotation_clip=False)  # fmt: skip
    return one.high, text


def _states(result: Comparison) -> str:
    counts = " and ".join(str(len(f.series.used)) for f in (result.a, result.b))
    hollow = any(max(p.decades_beyond) > 0.05 for p in result.points)
    beyond = "hollow: beyond the tests of either" if hollow else "all within the tests"
    return (
        f"{counts} specimens; thick: {100 * result.settings.level:g} % interval of the ratio of "
        f"means, thin: of two single specimens; shaded: within "
        f"{100 * result.settings.margin:g} %; {beyond}. {CAUTION}"
    )


def ranking_chart(result: Ranking, unit: Unit, *, ax: Axes | None = None,
                  units: Units | str | None = None) -> Axes:  # fmt: skip
    """Products, strongest on top: mean strength alone (thin) and drawn together (thick).

    Parameters
    ----------
    result : Ranking
        From `ratemodel.comparing.compare_many`.
    unit : Unit
        In which the series give strength.
    ax : Axes, optional
        None: a new figure.
    units : Units or str, optional
        Unit in which it is shown; kN for forces where not given.

    Raises
    ------
    InputError
        No product.
    """
    if not result.products:
        raise InputError("a ranking without products", "at least one")
    unit = shown_unit(unit, units)
    names = [f"{short(p.name)}\nstrongest: {odds_number(p.best)}" for p in result.products]
    states = (
        f"Thick: {100 * result.level:g} % interval of the mean drawn together with the others; "
        f"thin: from its own tests alone. Numbers: probability of being the strongest. {CAUTION}"
    )
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        em = float(mpl.rcParams["font.size"])
        title = (rate_text(result.strain_rate_per_s), "Products compared at {}")
        lay_rows(axes, names, own=ax is None, title=title, states=states)
        ends = []
        for i, p in enumerate(result.products):
            alone = [unit.from_si(v) for v in (p.alone.low, p.alone.high)]
            axes.plot(alone, [i + 0.2, i + 0.2], color=palette.soft, lw=0.12 * em, label="_alone")
            mine = [unit.from_si(v) for v in (p.strength.median, p.strength.low, p.strength.high)]
            axes.plot(mine[1:], [i, i], color=palette.mean, lw=0.45 * em, solid_capstyle="butt",
                      label="_together")  # fmt: skip
            axes.plot([mine[0]], [i], "o", color=palette.mean, zorder=3, label="_median")
            text = quantity_text(mine[0], mine[1], mine[2], unit_text(unit))
            right = max(alone[1], mine[2])
            axes.annotate(text, (right, i), xytext=(0.6 * em, 0), textcoords="offset points",
                          va="center", color=palette.mean, gid="mean",
                          annotation_clip=False)  # fmt: skip
            ends.append((min(alone[0], mine[1]), right, text))
        low = min(e[0] for e in ends)
        low -= 0.08 * (max(e[1] for e in ends) - low)
        axes.set_xlim(low, room_for(axes, low, [(e[1], e[2]) for e in ends]))
        axes.set_xlabel(f"mean strength ({unit_text(unit)})", loc="left")
        axes.set_label(ranking_alt(result, unit))
    return axes


def _rate_label(p: RatePoint) -> str:
    label = rate_text(p.strain_rate_per_s)
    if p.claim is not None:
        label += f"\nclaim holds: {odds_number(p.claim)}"
    return label
