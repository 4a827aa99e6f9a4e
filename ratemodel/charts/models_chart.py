"""Odds of the rate models, and what each alone says about a use."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.analysis import UseResult
from ratemodel.answers import model_answers
from ratemodel.charts.alt_text import models_alt, odds_text, rests_on
from ratemodel.charts.labels import room_for
from ratemodel.charts.palette import Palette
from ratemodel.charts.rowed import lay_rows
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.shown import shown_unit, strength_quantity, unit_text
from ratemodel.units import Unit, Units
from ratemodel.words import quantity_text


def models_chart(
    result: UseResult, *, ax: Axes | None = None, units: Units | str | None = None
) -> Axes:
    """Draw each model's own average strength at the use's rate, stronger where its odds are.

    Parameters
    ----------
    result : UseResult
    ax : Axes, optional
    units : Units or str, optional
        Unit of strength; kN for forces where not given.
    """
    strength = result.strength
    unit, level = shown_unit(strength.unit, units), strength.fit.level
    answers = sorted(model_answers(strength), key=lambda a: -a.weight)
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        odds = [odds_text(a.weight).replace(" ", "\u00a0") for a in answers]
        names = [f"{a.title}  {o}" for a, o in zip(answers, odds, strict=True)]
        names.append("average of all")
        states = (
            f"Percentages: odds of the model, given {rests_on(strength)}. Bars: "
            f"{100 * level:g} % interval of the average line as that model alone has it. "
            "An estimate, not a working load."
        )
        title = (strength.use.name, "What each model says: use {}")
        lay_rows(axes, names, own=ax is None, title=title, states=states)
        rows = [(a.ln_mean.median, a.ln_mean.low, a.ln_mean.high, a.weight) for a in answers]
        em = float(mpl.rcParams["font.size"])
        ends = _answers(axes, rows, unit, palette)
        total = strength_quantity(strength.mean_ln, level, unit)
        last = len(rows)
        axes.plot([total.low, total.high], [last, last], color=palette.bound, lw=0.45 * em,
                  solid_capstyle="butt", zorder=2, label="_average")  # fmt: skip
        axes.plot(total.median, last, "D", color=palette.bound, zorder=3, label="_average")
        axes.axhline(last - 0.5, color=palette.line, lw=0.8, label="_rule")
        low = min([*ends, total.low])
        low -= 0.05 * (max([*ends, total.high]) - low)
        text = quantity_text(total.median, total.low, total.high, unit_text(unit))
        high = room_for(axes, low, [(total.high, text), (max(ends), "")])
        axes.set_xlim(low, high)
        axes.annotate(text, (total.high, last), xytext=(0.6 * em, 0), textcoords="offset points",
                      va="center", color=palette.bound, weight="bold", gid="average")  # fmt: skip
        axes.set_xlabel(f"average breaking strength ({unit_text(unit)})", loc="left")
        axes.set_label(models_alt(result, units))
    return axes


def _answers(
    axes: Axes, rows: list[tuple[float, float, float, float]], unit: Unit, palette: Palette
) -> list[float]:
    """Draw each model's interval, thicker the better its odds; returns their ends."""
    em = float(mpl.rcParams["font.size"])
    ends: list[float] = []
    for row, (median, low, high, weight) in enumerate(rows):
        m, a, b = (float(np.exp(x)) / unit.factor for x in (median, low, high))
        strong = weight >= 0.05
        axes.plot([a, b], [row, row], color=palette.mean if strong else palette.line, zorder=2,
                  lw=em * (0.2 + 0.55 * weight), solid_capstyle="butt",
                  label="_interval")  # fmt: skip
        axes.plot(m, row, "o", color=palette.mean if strong else palette.soft, zorder=3,
                  label="_median")  # fmt: skip
        ends += [a, b]
    return ends
