"""Sections on preload cycling and creep: what they say, in whose units, and as plain text."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from pathlib import Path

import lasting
import numpy as np
import pytest

from ratemodel.analysis import Analysis
from ratemodel.charts.preload_chart import preload_chart
from ratemodel.charts.saving import save_figure
from ratemodel.endurance import creep_result, preload_result, read_time_tables
from ratemodel.errors import Problem
from ratemodel.report.blocks import Heading, Picture, Table, Text
from ratemodel.report.document import document
from ratemodel.report.endurance_part import creep_sentence, endurance_blocks, preload_sentence
from ratemodel.report.html import to_page
from ratemodel.report.markdown import to_markdown
from ratemodel.report.pdf import to_pdf
from ratemodel.report.pictures import drawings
from ratemodel.report.post import post
from ratemodel.report.results_json import results_bytes
from ratemodel.shown import Quantity
from ratemodel.units import Units
from ratemodel.words import CAUTION

NASTY = '<script>alert("1")</script> & $x$ | *b* `c`'


def lasted(analysis: Analysis, folder: Path, names: str = "run {}") -> Analysis:
    """An analysis made, with the cycling and creep of tables written for it."""
    series = analysis.series[0].fit.series
    lasting.write_cycling(folder, series.name)
    lasting.write_creep(folder, series.name, names=names)
    tables = read_time_tables(replace(analysis.campaign, folder=str(folder)))
    uses = tuple(analysis.campaign.use.values())
    rng = np.random.default_rng(1)
    one = replace(
        analysis.series[0],
        preload=preload_result(tables.cycling, series, level=0.9, rng=rng),
        creep=creep_result(tables.creep, series, uses, level=0.9, rng=rng),
    )
    return replace(analysis, series=(one,))


@pytest.fixture(scope="module")
def both(small: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return lasted(small, tmp_path_factory.mktemp("both"))


@pytest.fixture(scope="module")
def pictures(both: Analysis) -> dict[str, Picture]:
    """Pictures of the sections alone; that they are drawn is tested below."""
    return {key: Picture(f"{name}.svg", b"<svg/>", key) for key, name, _ in drawings(both)}


def test_sections_follow_their_series_and_lead_with_the_answer(
    both: Analysis, pictures: dict[str, Picture]
) -> None:
    blocks = document(both, pictures)
    titles = [b.text for b in blocks if isinstance(b, Heading) and b.level == 2]
    start = titles.index("cord: strength against rate")
    assert titles[start + 1 : start + 3] == ["cord: preload cycling", "cord: creep"]
    for title, answer in (("cord: preload cycling", "change the strength of cord by +"),
                          ("cord: creep", "Under the load of use moored, 1.5 kN for")):  # fmt: skip
        i = next(i for i, b in enumerate(blocks) if isinstance(b, Heading) and b.text == title)
        lead = blocks[i + 1]
        assert isinstance(lead, Text)
        assert lead.kind == "lead"
        assert answer in lead.text
        j = next(j for j in range(i + 1, len(blocks)) if isinstance(blocks[j], Heading))
        part = blocks[i:j]
        assert sum(isinstance(b, Table) for b in part) == 2
        assert any(isinstance(b, Picture) for b in part)
        assert part[-1] == Text(CAUTION, "caution")


def test_sentences_and_tables_agree_with_the_numbers(both: Analysis) -> None:
    (one,) = both.series
    assert one.creep is not None
    strain = one.creep.forecasts[0].strain
    told = creep_sentence(one.creep, "cord")
    shown = re.search(r"comes to ([0-9.]+) % \(([0-9.]+) to ([0-9.]+)\)", told)
    assert shown
    middle, low, high = (float(x) / 100 for x in shown.groups())
    assert low <= strain.low <= strain.high <= high
    assert middle == pytest.approx(strain.median, rel=5e-3)
    assert len(shown.group(1)) <= 6
    text = to_markdown(endurance_blocks(one, {})).decode()
    assert "10 cycles to 70 % of the strength | 5 |" in text
    assert "Count on it only if the line is used at once" in text
    assert "still falling" in text


def test_loads_come_in_the_units_wanted(both: Analysis) -> None:
    page = to_markdown(endurance_blocks(both.series[0], {}, Units.parse("lbf,in/min"))).decode()
    assert "337 lbf for 4.2 days" in page
    assert re.search(r"stiffness .*lbf \| [0-9]+ lbf", page)
    assert "kN" not in page
    assert "kN" in to_markdown(endurance_blocks(both.series[0], {})).decode()


def test_every_picture_is_drawn_with_its_words(both: Analysis) -> None:
    drawn = {key: draw for key, _, draw in drawings(both, Units.parse("lbf"))}
    for key, words in (("preload/cord", "after preload cycling"), ("strain/moored", "337 lbf"),
                       ("creep-rate/cord", "Creep rate against strain")):  # fmt: skip
        alt = drawn[key]().get_label()
        assert words in str(alt)
    names = [name for _, name, _ in drawings(both)]
    assert len(set(names)) == len(names)
    assert {"preload-cord", "strain-moored", "rate-of-creep-cord"} <= set(names)


def test_a_load_that_was_not_held_is_said_in_the_chart(both: Analysis) -> None:
    drawn = {key: draw for key, _, draw in drawings(both)}
    axes = drawn["strain/moored"]()
    foot = next(t for t in axes.texts if t.get_gid() == "footer").get_text()
    assert "No curve at this load and temperature;" in " ".join(foot.split())


def test_names_that_try_to_be_markup(nasty: Analysis, tmp_path: Path) -> None:
    found = lasted(nasty, tmp_path, names=NASTY + " {}")
    blocks = endurance_blocks(found.series[0], {})
    page = to_page(blocks, title="x").decode()
    assert "&lt;script&gt;" in page
    assert "<script" not in page.lower()
    markdown = to_markdown(blocks).decode()
    assert "<script" not in markdown.lower()
    assert r"\$x\$ \| \*b\* \`c\`" in markdown
    for key, name, draw in drawings(found):
        assert re.fullmatch(r"[A-Za-z0-9._-]+", name)
        if key.startswith(("creep", "preload")):
            assert b"<script" not in save_figure(draw(), None, fmt="svg").lower()


def test_results_are_strict_json_at_the_level(both: Analysis) -> None:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    (series,) = json.loads(results_bytes(both), parse_constant=refuse)["series"]
    preload, creep = series["preload"], series["creep"]
    assert (preload["level"], creep["level"]) == (0.9, 0.9)
    assert sum(m["weight"] for m in preload["models"]) == pytest.approx(1)
    assert sum(m["weight"] for m in creep["models"]) == pytest.approx(1)
    quantities = [e["strength_over_no_preload"] for e in preload["effects"]]
    quantities += [r["last_over_first"] for r in preload["readings"]]
    quantities += [r["rate_per_s"] for r in creep["plateau_rates"]]
    quantities += [c["strain"] for f in creep["forecasts"] for c in (f, *f["curve"])]
    assert len(quantities) > 50
    for q in quantities:
        assert set(q) == {"median", "interval"}
        assert q["interval"][0] <= q["median"] <= q["interval"][1]
    (forecast,) = creep["forecasts"]
    assert (forecast["use"], forecast["load_kN"], forecast["duration_h"]) == ("moored", 1.5, 100)
    assert {"code", "message", "severity"} == creep["problems"][0].keys()
    assert {r["quantity"] for r in preload["readings"]} == {"residual_elongation", "stiffness"}


def test_a_temperature_not_known_and_a_ratio_not_finite_become_null(both: Analysis) -> None:
    (one,) = both.series
    assert one.creep is not None
    assert one.preload is not None
    rate = replace(one.creep.rates[0], temperature_K=float("nan"))
    odd = replace(one.preload.readings[0], ratio=Quantity(float("inf"), -np.inf, float("inf")))
    broken = replace(
        one, creep=replace(one.creep, rates=(rate,)), preload=replace(one.preload, readings=(odd,))
    )
    (series,) = json.loads(results_bytes(replace(both, series=(broken,))))["series"]
    assert series["creep"]["plateau_rates"][0]["temperature_C"] is None
    assert series["preload"]["readings"][0]["last_over_first"]["median"] is None
    text = to_markdown(endurance_blocks(broken, {})).decode()
    assert "as tested" in text
    assert "| not known |" in text
    assert "inf" not in re.sub("[a-z]inf|inf[a-z]", "", text)


def test_what_could_not_be_fitted_is_said_and_nothing_else(both: Analysis) -> None:
    (one,) = both.series
    assert one.creep is not None
    assert one.preload is not None
    why = (Problem("no-creep-fit", "creep: too few readings"),)
    creep = replace(one.creep, average=None, rates=(), forecasts=(), seen=(), problems=why)
    preload = replace(one.preload, fit=None, effects=(), rated=None, readings=(), problems=why)
    assert "not known" in preload_sentence(preload, "cord")
    bare = replace(one, preload=preload, creep=creep)
    text = to_markdown(endurance_blocks(bare, {})).decode()
    assert text.count("not known from these tests") == 2
    assert text.count("Caution: Creep: too few readings.") == 2
    (series,) = json.loads(results_bytes(replace(both, series=(bare,))))["series"]
    assert series["preload"]["models"] == series["creep"]["forecasts"] == []
    names = [key for key, _, _ in drawings(replace(both, series=(bare,)))]
    assert not any(key.startswith(("creep", "preload", "strain/")) for key in names)


def test_many_runs_are_told_in_the_table_and_not_drawn(both: Analysis) -> None:
    (one,) = both.series
    assert one.creep is not None
    many = replace(one, creep=replace(one.creep, seen=one.creep.seen * 3))
    keys = [key for key, _, _ in drawings(replace(both, series=(many,)))]
    assert "creep-rate/cord" not in keys
    assert "strain/moored" in keys


def test_post_and_pdf_have_the_sections(both: Analysis) -> None:
    (key, name, draw) = next(d for d in drawings(both) if d[0] == "preload/cord")
    assert (key, draw.func) == (key, preload_chart)  # type: ignore[attr-defined]
    picture = Picture(f"{name}.png", PIXEL, "Preload words")
    blocks = post(both, {key: picture})
    titles = [b.text for b in blocks if isinstance(b, Heading)]
    assert {"cord: preload cycling", "cord: creep"} <= set(titles)
    pdf = to_pdf(blocks, {picture.name: PIXEL}, title="x")
    assert pdf.startswith(b"%PDF")
    without = to_pdf(post(replace(both, series=(bare(both),)), {}), {}, title="x")
    assert len(pdf) > len(without)


def bare(analysis: Analysis):  # type: ignore[no-untyped-def]
    return replace(analysis.series[0], preload=None, creep=None)


PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJg"
    "gg=="
)


def test_printed_analysis_tells_both(both: Analysis, small: Analysis) -> None:
    told = " ".join(str(both).split())
    assert both.series[0].preload is not None
    assert both.series[0].creep is not None
    assert preload_sentence(both.series[0].preload, "cord") in told
    assert creep_sentence(both.series[0].creep, "cord") in told
    assert "creep" not in " ".join(
        line for line in str(small).splitlines() if line.startswith("cord")
    )
    alone = str(replace(both, uses=()))
    assert CAUTION.split(":")[0] in " ".join(alone.split())
