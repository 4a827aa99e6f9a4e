"""Charts of results: what the artists hold, that labels keep apart, and the words with them."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import same_color, to_hex
from matplotlib.text import Text

from ratemodel import charts
from ratemodel.analysis import Analysis
from ratemodel.answers import model_answers
from ratemodel.charts import alt_text
from ratemodel.charts.labels import rows, spread, text_width
from ratemodel.charts.palette import DARK, LIGHT
from ratemodel.charts.style import SIZES, style
from ratemodel.errors import InputError

SHAPES = [("light", "post"), ("dark", "square"), ("light", "column")]
USE_CHARTS = [charts.steps_chart, charts.models_chart, charts.limits_chart]


def strength_chart(small: Analysis, **more: object) -> Axes:
    result = small.series[0]
    uses = [u.strength for u in small.uses]
    return charts.strength_against_rate(result.fit, curve=result.curve, uses=uses, **more)


def texts(axes: Axes, gid: str | None = None) -> list[Text]:
    return [t for t in axes.texts if t.get_text() and (gid is None or t.get_gid() == gid)]


def line(axes: Axes, label: str) -> np.ndarray:
    parts = [np.column_stack(x.get_data()) for x in axes.lines if x.get_label() == label]
    assert parts
    return np.concatenate(parts)


def apart(items: Sequence[Text], axes: Axes) -> None:
    """No two texts overlap and none leaves the figure."""
    renderer = FigureCanvasAgg(axes.figure).get_renderer()
    boxes = [(t.get_text(), Text.get_window_extent(t, renderer)) for t in items]
    whole = axes.figure.bbox
    for i, (name, box) in enumerate(boxes):
        assert box.x0 >= whole.x0 - 1, name
        assert box.x1 <= whole.x1 + 1, name
        assert box.y0 >= whole.y0 - 1, name
        assert box.y1 <= whole.y1 + 1, name
        for other, rival in boxes[i + 1 :]:
            assert not box.overlaps(rival), (name, other)


def title(axes: Axes) -> Text:
    return next(t for t in axes.findobj(Text) if t.get_text() == axes.get_title("left"))


def ticks(axes: Axes) -> list[Text]:
    """Labels of the ticks that are shown."""
    found = []
    for axis, ends, place in ((axes.xaxis, axes.get_xlim(), 0), (axes.yaxis, axes.get_ylim(), 1)):
        low, high = sorted(ends)
        found += [t for t in axis.get_ticklabels()
                  if t.get_text() and low <= t.get_position()[place] <= high]  # fmt: skip
    return found


def drawn(axes: Axes) -> Axes:
    axes.figure.savefig(io.BytesIO(), format="png")
    return axes


def test_strength_holds_every_specimen(small: Analysis) -> None:
    axes = strength_chart(small)
    fit = small.series[0].fit
    for j, name in enumerate(fit.data.machines):
        broke = fit.data.broke & (fit.data.machine == j)
        x, y = next(p for p in axes.lines if p.get_label() == name).get_data()
        np.testing.assert_allclose(np.sort(x), np.sort(10 ** fit.data.u[broke]))
        np.testing.assert_allclose(np.sort(y), np.sort(np.exp(fit.data.y[broke]) / 1e3))
    looks = {(p.get_marker(), to_hex(p.get_color())) for p in axes.lines
             if p.get_label() in fit.data.machines}  # fmt: skip
    assert len(looks) == len({m for m, _ in looks}) == len({c for _, c in looks}) == 2
    held = fit.data.u[~fit.data.broke]
    arrows = [a for a in axes.texts if a.get_gid() == "held"]
    assert len(arrows) == held.size == 2
    assert all(a.arrow_patch.get_arrowstyle() is not None and a.xyann[1] > 0 for a in arrows)
    x, _ = next(p for p in axes.lines if p.get_label() == "_held frame").get_data()
    np.testing.assert_allclose(np.sort(x), np.sort(10**held))
    assert sorted(t.get_text() for t in axes.get_legend().get_texts()) == ["frame", "ram"]


def test_strength_bands_and_bound(small: Analysis) -> None:
    axes = strength_chart(small)
    curve = small.series[0].curve
    for label, values in (("_mean", curve.median), ("_bound", curve.lower_bound)):
        xy = line(axes, label)
        shown = {float(f"{x:.9g}"): y for x, y in xy}
        for u, value in zip(curve.u, values, strict=True):
            assert shown[float(f"{10**u:.9g}")] == pytest.approx(np.exp(value) / 1e3)
    bands = {c.get_label(): c.get_paths()[0].vertices for c in axes.collections}
    for label, ends in (
        ("average", curve.mean_interval),
        ("single lines", curve.specimen_interval),
    ):
        assert bands[label][:, 1].min() == pytest.approx(np.exp(ends[0].min()) / 1e3)
        assert bands[label][:, 1].max() == pytest.approx(np.exp(ends[1].max()) / 1e3)
    # all of it lies inside the axes
    low, high = axes.get_ylim()
    assert low < np.exp(curve.lower_bound.min()) / 1e3
    assert high > np.exp(curve.specimen_interval[1].max()) / 1e3


def test_tested_and_untested_range_differ(small: Analysis) -> None:
    axes = strength_chart(small)
    low, high = small.series[0].fit.tested
    hatched = [p for p in axes.patches if p.get_label() == "_untested"]
    assert len(hatched) == 2
    assert all(p.get_hatch() for p in hatched)
    spans = sorted((p.get_x(), p.get_x() + p.get_width()) for p in hatched)
    assert spans[0][1] == pytest.approx(low)
    assert spans[1][0] == pytest.approx(high)
    for part in (p for p in axes.lines if p.get_label() in ("_mean", "_bound")):
        inside = low * 0.999 <= part.get_xdata().min() and part.get_xdata().max() <= high * 1.001
        assert (part.get_linestyle() == "-") == inside
    assert {t.get_text() for t in texts(axes, "untested")} == {"beyond the tests"}


def test_axes_say_what_they_are(small: Analysis) -> None:
    axes = drawn(strength_chart(small))
    assert axes.get_xscale() == "log"
    assert axes.get_xlabel() == "strain rate (1/s)"
    assert axes.get_ylabel() == "breaking strength (kN)"
    (top,) = axes.child_axes
    assert top.get_xlabel() == "time to break"
    # 25.4 mm at 1 mm/min takes 25.4 min; here: strain at break over rate, 4 % where none is given
    for place, label in zip(top.get_xticks(), top.get_xticklabels(), strict=True):
        number, unit = label.get_text().split()
        size = {"ms": 1e-3, "s": 1, "min": 60, "h": 3600, "days": 86400}[unit]
        assert float(number) * size == pytest.approx(place, rel=0.02)
    pixel = axes.transData.transform((0.04 / 60.0, axes.get_ylim()[0]))[0]
    assert top.transData.transform((60.0, 0))[0] == pytest.approx(pixel, abs=0.5)


def test_uses_are_marked_and_named(small: Analysis) -> None:
    axes = strength_chart(small)
    marks = [p.get_xdata()[0] for p in axes.lines if p.get_label() == "_use"]
    expected = [10 ** float(np.median(u.strength.u)) for u in small.uses]
    np.testing.assert_allclose(sorted(marks), sorted(expected))
    named = " ".join(t.get_text() for t in texts(axes, "use"))
    assert all(u.strength.use.name in named for u in small.uses)
    spread_out = [p for p in axes.patches if p.get_label() == "_use"]
    low, high = 10 ** np.quantile(small.uses[0].strength.u, [0.05, 0.95])
    ends = [(p.get_x(), p.get_x() + p.get_width()) for p in spread_out]
    assert any(a == pytest.approx(low) and b == pytest.approx(high) for a, b in ends)
    counted = sum(int(t.get_text().removeprefix("n = ")) for t in texts(axes, "lab"))
    assert counted == len(small.series[0].fit.series.used)


def test_every_chart_states_data_level_and_caution(small: Analysis) -> None:
    made = [strength_chart(small)] + [chart(small.uses[0]) for chart in USE_CHARTS]
    for axes in made:
        (foot,) = texts(axes, "footer")
        told = " ".join(foot.get_text().split())
        assert "20 specimens" in told
        assert "not a working load" in told or "Not a permission to load anything" in told
    assert "95 % confidence" in " ".join(texts(made[0], "footer")[0].get_text().split())
    for axes in made[1:]:
        assert "90 %" in texts(axes, "footer")[0].get_text()
    given = charts.limits_chart(small.uses[2])
    assert "beyond the tests" in " ".join(texts(given, "footer")[0].get_text().split())


def test_steps_end_where_the_strength_is(small: Analysis) -> None:
    use = small.uses[0]
    axes = charts.steps_chart(use)
    level = use.strength.fit.level
    ends = [line.get_xdata()[0] for line in axes.lines if line.get_label() == "_value"]
    assert ends[0] == pytest.approx(11.8)
    assert ends[1] == pytest.approx(np.exp(np.median(use.explanation.ln_end)) / 1e3)
    bars = [c.patches[0] for c in axes.containers if c.get_label() == "_step"]
    assert len(bars) == sum(bool(np.any(s.ln_ratio)) for s in use.explanation.steps)
    position = 11.8
    for bar in bars:
        assert bar.get_x() == pytest.approx(position) or (
            bar.get_x() + bar.get_width() == pytest.approx(position)
        )
        position = (
            bar.get_x() + bar.get_width()
            if bar.get_x() == pytest.approx(position)
            else (bar.get_x())
        )
    last = use.explanation.ln_start + sum(s.ln_ratio for s in use.explanation.steps)
    assert position == pytest.approx(np.exp(np.median(last)) / 1e3)
    low, high = np.exp(np.quantile(use.explanation.ln_end, [(1 - level) / 2, (1 + level) / 2]))
    ends = [x.get_xdata() for x in axes.lines if x.get_label() == "_interval"][-1]
    np.testing.assert_allclose(ends, [low / 1e3, high / 1e3], rtol=1e-6)


def test_models_show_each_answer(small: Analysis) -> None:
    use = small.uses[0]
    axes = charts.models_chart(use)
    answers = sorted(model_answers(use.strength), key=lambda a: -a.weight)
    points = [p.get_xdata()[0] for p in axes.lines if p.get_label() == "_median"]
    np.testing.assert_allclose(points, [np.exp(a.ln_mean.median) / 1e3 for a in answers])
    names = [t.get_text() for t in axes.get_yticklabels()]
    assert len(names) == len(answers) + 1
    for answer, name in zip(answers, names, strict=False):
        assert answer.title in name
        assert "%" in name
    best = max(a.weight for a in answers)
    assert f"{100 * best:.0f} %" in names[0]


def test_limits_never_read_high(small: Analysis) -> None:
    for use in small.uses:
        axes = charts.limits_chart(use)
        bars = [c.patches[0].get_width() for c in axes.containers if c.get_label() == "_limit"]
        assert bars == pytest.approx([row.value / 1e3 for row in use.limits])
        for note, row in zip(texts(axes, "limit"), use.limits, strict=True):
            shown = float(note.get_text().split(" ")[0])
            assert row.value * 0.99 < shown * 1e3 <= row.value
        demand = use.strength.event.peak_force_N
        marked = [p.get_xdata()[0] for p in axes.lines
                  if p.get_label() == "_demand" and len(p.get_xdata()) == 1]  # fmt: skip
        assert marked == ([] if demand is None else [pytest.approx(np.median(demand) / 1e3)])


def test_next_test_marks_the_best(small: Analysis) -> None:
    plan = small.next_test
    axes = charts.next_test_chart(plan)
    x, y = next(p for p in axes.lines if p.get_label() == "_best").get_data()
    assert x[0] == pytest.approx(plan.strain_rate_per_s)
    assert y[0] == pytest.approx(100 * plan.candidates[:, 1].min())
    xy = line(axes, "_ratio")
    np.testing.assert_allclose(np.log10(xy[:, 0]), plan.candidates[:, 0])


@pytest.mark.parametrize(("theme", "size"), SHAPES)
def test_labels_keep_apart(small: Analysis, theme: str, size: str) -> None:
    with style(theme, size):
        axes = drawn(strength_chart(small))
        made = [drawn(chart(small.uses[0])) for chart in USE_CHARTS]
        plan = drawn(charts.next_test_chart(small.next_test))
    own = [t for gid in ("use", "lab", "band", "untested", "footer") for t in texts(axes, gid)]
    labels = [title(axes), axes.xaxis.label, axes.yaxis.label, *axes.get_legend().get_texts()]
    (top,) = axes.child_axes
    apart([*own, *labels, *ticks(axes), *top.get_xticklabels(), top.xaxis.label], axes)
    for chart in [*made, plan]:
        apart([*texts(chart), title(chart), chart.xaxis.label, *ticks(chart)], chart)
    for chart in [axes, *made, plan]:
        # nothing under 5 points in print, under 8 on a screen
        least = 5.0 if size == "column" else 8.0
        assert min(t.get_fontsize() for t in texts(chart)) >= least


@pytest.mark.parametrize(("theme", "size"), SHAPES)
def test_sizes_and_colours(small: Analysis, theme: str, size: str) -> None:
    with style(theme, size):
        axes = charts.next_test_chart(small.next_test)
    data = charts.save_figure(axes, None, alt="x", fmt="png")
    width = int.from_bytes(data[16:20], "big")
    height = int.from_bytes(data[20:24], "big")
    inches = SIZES[size]
    expected = {"post": (1200, 675), "square": (1080, 1080),
                "column": (int(85 / 25.4 * 300), int(85 / 25.4 * 300))}[size]  # fmt: skip
    assert (width, height) == pytest.approx(expected, abs=1)
    assert inches[2] == axes.figure.dpi
    palette = LIGHT if theme == "light" else DARK
    assert same_color(axes.get_facecolor(), palette.paper)
    assert same_color(title(axes).get_color(), palette.ink)


def test_nothing_global_is_touched(small: Analysis) -> None:
    before = dict(mpl.rcParams)
    strength_chart(small)
    with pytest.raises(ZeroDivisionError, match="division"), style("dark", "square"):
        1 / 0  # noqa: B018
    assert dict(mpl.rcParams) == before


def test_given_axes_and_units(small: Analysis) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(14, 12))
    places = figure.subplots(2, 2)
    fit = small.series[0].fit
    kept = places[0, 0].get_position().bounds
    assert charts.strength_against_rate(fit, ax=places[0, 0], units="lbf") is places[0, 0]
    assert places[0, 0].get_position().bounds == kept
    assert places[0, 0].get_ylabel() == "breaking strength (lbf)"
    top = line(places[0, 0], "_mean")[:, 1].max()
    own = line(charts.strength_against_rate(fit), "_mean")[:, 1].max()
    assert top == pytest.approx(own * 1e3 / 4.4482216152605)
    for place, chart in zip(places.flat[1:], USE_CHARTS, strict=True):
        assert chart(small.uses[0], ax=place, units="kgf") is place
        assert "kgf" in place.get_xlabel()
    with pytest.raises(InputError, match="unit GPa for a force"):
        charts.strength_against_rate(fit, units="GPa")


def test_names_are_shown_as_they_stand(nasty: Analysis) -> None:
    """A name with dollar signs starts no formula; the pictures still render."""
    result, use = nasty.series[0], nasty.uses[0]
    axes = charts.strength_against_rate(result.fit, uses=[use.strength])
    assert axes.get_title("left").count("$") == axes.get_title("left").count(r"\$") > 0
    for chart in [axes, *(c(use) for c in USE_CHARTS)]:
        svg = charts.save_figure(chart, None, alt=alt_text.steps_alt(use), fmt="svg").decode()
        assert "<script" not in svg
        assert "&lt;script&gt;" in svg


def test_alt_text(small: Analysis) -> None:
    use = small.uses[0]
    words = {
        "strength": alt_text.strength_rate_alt(
            small.series[0].fit, [u.strength for u in small.uses]
        ),
        "steps": alt_text.steps_alt(use),
        "models": alt_text.models_alt(use),
        "limits": alt_text.limits_alt(use),
        "next": alt_text.next_test_alt(small.next_test),
    }
    for told in words.values():
        assert 80 < len(told) < 2500
        assert "nan" not in told.lower()
    for key in ("strength", "steps", "models", "limits"):
        assert "drop" in words[key]
        assert "kN" in words[key]
    assert "20 specimens, 2 of which held" in words["strength"]
    assert "Not a permission to load anything" in words["limits"]
    assert "11.8 kN" in words["steps"]


def test_svg_carries_its_words_and_repeats(small: Analysis, tmp_path: Path) -> None:
    alt = 'First <one> & "two". Then more.'
    path = tmp_path / "chart.svg"
    first = charts.save_figure(strength_chart(small), path, alt=alt)
    assert path.read_bytes() == first
    assert charts.save_figure(strength_chart(small), None, alt=alt, fmt="svg") == first
    svg = first.decode()
    opening = re.search(r"<svg\b[^>]*>", svg).group(0)
    assert 'role="img"' in opening
    assert 'aria-labelledby="alt-title alt-desc"' in opening
    assert '<title id="alt-title">First &lt;one&gt; &amp; &quot;two&quot;</title>' in svg
    assert "Then more.</desc>" in svg
    assert "<dc:date>" not in svg
    png = charts.save_figure(strength_chart(small), None, alt=alt, fmt="png", px=600)
    assert int.from_bytes(png[16:20], "big") == 600
    assert b"Then more." in png


def test_picture_for_a_notebook(small: Analysis) -> None:
    shown = charts.picture(charts.next_test_chart(small.next_test), alt='the "best" <rate>')
    assert 'alt="the &quot;best&quot; &lt;rate&gt;"' in shown._repr_html_()
    assert shown.data.startswith(b"<?xml")


def test_a_letter_the_font_lacks_is_no_warning() -> None:
    from matplotlib.figure import Figure

    figure = Figure()
    figure.text(0.5, 0.5, "\u4e9a\u0e01")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert charts.save_figure(figure, None, alt="x", fmt="png").startswith(b"\x89PNG")


@pytest.mark.parametrize("wanted", [[1.0, 1.0, 1.0], [0.0, 0.1, 5.9], [3.0], [2.0, 1.0, 0.0]])
def test_spread_keeps_gap_order_and_range(wanted: list[float]) -> None:
    found = spread(wanted, 1.0, 0.0, 6.0)
    order = np.argsort(wanted, kind="stable")
    gaps = np.diff(np.array(found)[order])
    assert (gaps >= 1.0 - 1e-9).all()
    assert min(found) >= 0
    assert max(found) <= 6


def test_rows_never_overlap() -> None:
    rng = np.random.default_rng(5)
    for _ in range(30):
        centres, widths = rng.uniform(0, 10, 8).tolist(), rng.uniform(0.1, 3, 8).tolist()
        placed = rows(centres, widths)
        for i in range(8):
            for j in range(i):
                if placed[i] == placed[j]:
                    assert abs(centres[i] - centres[j]) >= (widths[i] + widths[j]) / 2 - 1e-9


def test_text_width_grows_with_text() -> None:
    assert text_width("", 10) == 0
    assert text_width("mmmm", 10) > 2 * text_width("m", 10)
    assert text_width("$a$", 10) > text_width("a", 10)


def test_one_rate_only(make_campaign: Callable[..., Path], tmp_path: Path) -> None:
    """A single tested rate has no range: the curve is drawn with a margin, marked as untested."""
    from ratemodel.analysis import analyse
    from ratemodel.inference.average import Settings
    from ratemodel.records.campaign import read_campaign

    where = make_campaign(tmp_path / "one", cut='[use."drop"]')
    table = (where / "breaks.csv").read_text().splitlines()
    (where / "breaks.csv").write_text("\n".join(table[:1] + table[1:6]) + "\n")
    result = analyse(read_campaign(where), settings=Settings(draws=500)).series[0]
    axes = drawn(charts.strength_against_rate(result.fit, curve=result.curve))
    assert len([p for p in axes.patches if p.get_label() == "_untested"]) == 2


def test_every_chart_carries_its_words(small: Analysis) -> None:
    """They go into the picture and the file without being given again."""
    use = small.uses[0]
    pairs = [
        (charts.steps_chart(use, units="lbf"), alt_text.steps_alt(use, "lbf")),
        (charts.models_chart(use), alt_text.models_alt(use)),
        (charts.limits_chart(use), alt_text.limits_alt(use)),
        (charts.next_test_chart(small.next_test), alt_text.next_test_alt(small.next_test)),
    ]
    for axes, words in pairs:
        assert axes.get_label() == words
        assert f'alt="{words[:40]}' in charts.picture(axes)._repr_html_()
    assert "Breaking strength of cord" in strength_chart(small).get_label()
    with pytest.raises(InputError, match="a picture without alternative text"):
        charts.picture(mpl.figure.Figure())
