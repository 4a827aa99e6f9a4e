"""The steps from a label to one line in use, as a staircase."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes

from ratemodel.analysis import UseResult
from ratemodel.charts.alt_text import rests_on, shown_steps, steps_alt
from ratemodel.charts.labels import room_for, short
from ratemodel.charts.palette import Palette
from ratemodel.charts.rowed import lay_rows
from ratemodel.charts.style import house_style, new_axes, palette_now
from ratemodel.shown import Quantity, change_text, quantity, shown_unit, unit_text
from ratemodel.steps import Explanation, Step
from ratemodel.units import Unit, Units
from ratemodel.words import quantity_text

#: Names of the steps as a layman reads them.
PLAIN = {
    "label": "label",
    "average of the slowest pulls tested": "slowest pulls tested",
    "label to average": "label to average",
    "label against these tests": "label against\nthese tests",
    "preload cycles left out": "no preload cycles",
    "rate": "rate of the use",
    "average to one line": "one line may differ",
    "temperature (from the tests and the prior)": "temperature",
}


def steps_chart(
    result: UseResult, *, ax: Axes | None = None, units: Units | str | None = None
) -> Axes:
    """Draw how the strength of one line follows from the label, step by step.

    Parameters
    ----------
    result : UseResult
    ax : Axes, optional
    units : Units or str, optional
        Unit of strength; kN for forces where not given.
    """
    strength, explanation = result.strength, result.explanation
    unit, level = shown_unit(strength.unit, units), strength.fit.level
    with house_style(ax):
        axes, palette = new_axes(ax), palette_now()
        steps = shown_steps(explanation)
        names = [PLAIN.get(explanation.start_name, explanation.start_name)]
        names += [PLAIN.get(s.name, short(s.name, 22)) for s in steps]
        names.append("one line in use")
        states = (
            f"Each bar is one step, in per cent of the strength before it, with its "
            f"{100 * level:g} % interval in brackets and as a thin line; grey: it may go either "
            f"way. Rests on {rests_on(strength)}. An estimate, not a "
            "working load."
        )
        start = PLAIN.get(explanation.start_name, explanation.start_name)
        title = (strength.use.name, f"From {start} to use {{}}")
        lay_rows(axes, names, own=ax is None, title=title, states=states)
        _draw(axes, explanation, steps, unit, (level, palette))
        axes.set_xlabel(f"breaking strength ({unit_text(unit)})", loc="left")
        axes.set_label(steps_alt(result, units))
    return axes


def _draw(axes: Axes, explanation: Explanation, steps: list[Step], unit: Unit,
          look: tuple[float, Palette]) -> None:  # fmt: skip
    level, palette = look
    running = explanation.ln_start
    ends = [quantity(_shown(running, unit), level)]
    for step in steps:
        running = running + step.ln_ratio
        ends.append(quantity(_shown(running, unit), level))
    final = quantity(_shown(explanation.ln_end, unit), level)
    values = [e.median for e in ends]
    notes = [_end(axes, 0, ends[0], unit, palette)]
    for row, step in enumerate(steps, start=1):
        ratio = quantity(np.exp(step.ln_ratio), level)
        notes.append(_bar(axes, row, (values[row - 1], values[row]), ratio, palette))
    last = len(steps) + 1
    axes.plot([values[-1]] * 2, [last - 1, last], color=palette.soft, lw=0.8, ls=":", zorder=1,
              label="_lead")  # fmt: skip
    notes.append(_end(axes, last, final, unit, palette))
    low, high = min([*values, final.low]), max(x for x, _ in notes)
    low -= 0.12 * (high - low)
    axes.set_xlim(low, room_for(axes, low, notes))


def _bar(axes: Axes, row: int, ends: tuple[float, float], ratio: Quantity, palette: Palette
         ) -> tuple[float, str]:  # fmt: skip
    """One step: from the value before to the one after, with its interval as a thin line."""
    before, after = ends
    sure = ratio.low > 1 or ratio.high < 1
    colour = palette.soft if not sure else palette.bound if after < before else palette.mean
    axes.barh(row, after - before, left=before, height=0.56, color=colour, zorder=2,
              label="_step")  # fmt: skip
    whisker = [before * ratio.low, before * ratio.high]
    axes.plot(whisker, [row, row], color=palette.ink, lw=0.9, zorder=3, label="_step_interval")
    axes.plot([before, before], [row - 1, row + 0.28], color=palette.soft, lw=0.8, ls=":",
              zorder=1, label="_lead")  # fmt: skip
    text, at = change_text(ratio), max(before, after, whisker[1])
    _note(axes, at, row, text, colour)
    return at, text


def _shown(ln_strength: np.ndarray, unit: Unit) -> np.ndarray:
    return np.asarray(np.exp(ln_strength) / unit.factor)


def _end(axes: Axes, row: int, value: Quantity, unit: Unit, palette: Palette) -> tuple[float, str]:
    """Mark where the staircase starts or ends, with its interval."""
    axes.plot([value.low, value.high], [row, row], color=palette.ink, solid_capstyle="butt",
              lw=2.2, zorder=3, label="_interval")  # fmt: skip
    axes.plot(value.median, row, marker="D", color=palette.ink, ls="none", zorder=4,
              label="_value")  # fmt: skip
    text = quantity_text(value.median, value.low, value.high, unit_text(unit))
    _note(axes, value.high, row, text, palette.ink, weight="bold")
    return value.high, text


def _note(axes: Axes, x: float, row: float, text: str, colour: str, weight: str = "normal"
          ) -> None:  # fmt: skip
    axes.annotate(text, (x, row), xytext=(0.75 * float(mpl.rcParams["font.size"]), 0),
                  textcoords="offset points", va="center", ha="left", color=colour,
                  weight=weight, gid="step", annotation_clip=False)  # fmt: skip
