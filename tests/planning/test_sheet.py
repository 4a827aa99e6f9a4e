"""The test sheet: balance, order, and its way back into a campaign."""

import csv
import io
from collections import Counter
from itertools import pairwise

import labs
import numpy as np
import pytest

from ratemodel.planning import Effort, plan_tests
from ratemodel.planning.cells import Cell
from ratemodel.planning.sheet import test_sheet as make_sheet
from ratemodel.records.campaign import read_campaign
from ratemodel.report.test_sheet import sheet_csv, sheet_html
from ratemodel.units import Units
from ratemodel.words import CAUTION, number_text

QUICK = Effort(120, 16, 200, 30, 2)


def cells():
    return [
        (Cell(labs.FRAME, -4.0, 0.0, 1000.0), 5),
        (Cell(labs.FRAME, -2.0, 0.8, 900.0), 4),
        (Cell(labs.RAM, -0.22, 0.0, 1200.0), 9),
    ]


def sheet(seed=1, **more):
    request = labs.request(spools=("A", "B", "C"), **more)
    return make_sheet(request, cells(), 10_000.0, np.random.default_rng(seed))


def test_every_planned_specimen_is_there_once():
    rows = sheet().rows
    count = Counter((r.machine, round(np.log10(r.strain_rate_per_s), 6)) for r in rows)
    assert count == {("frame", -4.0): 5, ("frame", -2.0): 4, ("ram", -0.22): 9}
    assert len({r.specimen for r in rows}) == 18
    assert [r.order for r in rows] == list(range(1, 19))


def test_spools_are_balanced_at_every_speed_and_overall():
    rows = sheet().rows
    for rate in {r.strain_rate_per_s for r in rows}:
        count = Counter(r.spool for r in rows if r.strain_rate_per_s == rate)
        assert max(count.values()) - min(count.values()) <= 1
    assert set(Counter(r.spool for r in rows).values()) == {6}


def test_every_block_holds_every_speed_and_each_machine_in_one_go():
    rows = sheet().rows
    for block in {r.block for r in rows}:
        mine = [r for r in rows if r.block == block]
        assert len({r.strain_rate_per_s for r in mine}) == 3
        changes = sum(a.machine != b.machine for a, b in pairwise(mine))
        assert changes == 1
    assert [r.block for r in rows] == sorted(r.block for r in rows)


def test_order_is_random_but_repeatable():
    orders = {tuple(r.strain_rate_per_s for r in sheet(k).rows) for k in range(6)}
    assert len(orders) > 1
    assert sheet(3) == sheet(3)


def test_preload_is_given_as_a_force():
    row = next(r for r in sheet().rows if r.preload_fraction > 0)
    assert row.preload_N == pytest.approx(8000.0)


def test_new_names_differ_from_those_tested():
    fit = labs.fitted()
    names = {r.specimen for r in plan_tests(labs.request(known=fit), effort=QUICK,
                                            rng=np.random.default_rng(1)).sheet.rows}  # fmt: skip
    assert not names & set(fit.series.used.specimen)


def test_text_from_files_is_harmless():
    request = labs.request(spools=("=HYPERLINK(1)", "<script>x</script>"))
    plan = plan_tests(request, rng=np.random.default_rng(1), effort=QUICK)
    rows = list(csv.DictReader(io.StringIO(sheet_csv(plan.sheet))))
    assert {r["batch"] for r in rows} == {"'=HYPERLINK(1)", "<script>x</script>"}
    page = sheet_html(plan)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_page_carries_every_specimen_and_the_caution():
    plan = plan_tests(labs.request(), rng=np.random.default_rng(1), effort=QUICK)
    page = sheet_html(plan)
    assert all(f"<td>{r.specimen}</td>" in page for r in plan.sheet.rows)
    assert CAUTION.replace("'", "&#x27;") in page
    assert all(row.name in page for row in plan.table)
    assert "http" not in page


def test_filled_sheet_reads_as_break_table(tmp_path):
    plan = plan_tests(labs.request(), rng=np.random.default_rng(1), effort=QUICK)
    rows = list(csv.DictReader(io.StringIO(sheet_csv(plan.sheet))))
    for row in rows:
        row.update(peak_force_kN="10.1", broke="yes")
    with (tmp_path / "breaks.csv").open("w", newline="") as f:
        writer = csv.DictWriter(f, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    (tmp_path / "campaign.toml").write_text('name = "t"\n[series."new product"]\n')
    used = read_campaign(tmp_path).series["new product"].used
    rates = {r.specimen: r.strain_rate_per_s for r in plan.sheet.rows}
    assert len(used) == plan.chosen.specimens
    for name, rate in zip(used.specimen, used.strain_rate_per_s, strict=True):
        assert rate == pytest.approx(rates[name], rel=1e-4)


def test_printed_sheet_is_in_the_readers_units_and_the_table_is_not():
    plan = plan_tests(labs.request(), rng=np.random.default_rng(1), effort=QUICK)
    page = sheet_html(plan, Units.parse("lbf,in/min"))
    assert "Speed (in/min)" in page
    assert "Peak force (lbf)" in page
    assert "mm/min" not in page
    fastest = max(r.speed_m_per_s for r in plan.sheet.rows) * 60 / 0.0254
    assert f">{number_text(fastest)}<" in page
    assert "speed_mm_per_min" in sheet_csv(plan.sheet)
