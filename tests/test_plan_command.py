"""The command ``plan``: campaign in, sheet out."""

import argparse

import labs
import numpy as np
import pytest

from ratemodel.cli import main
from ratemodel.errors import InputError
from ratemodel.inference.average import Settings
from ratemodel.plan_command import add_arguments, run, run_plan
from ratemodel.planning import Choice, Effort, Machine, plan_request, plan_tests
from ratemodel.planning.campaign import machines_of
from ratemodel.records.campaign import read_campaign
from ratemodel.records.tables import Campaign, Distribution, Use
from ratemodel.words import CAUTION

TOML = """
name = "t"
[series.cord]
diameter_mm = 3
[machine.frame]
speed_min_mm_per_min = 1
speed_max_mm_per_min = 500
setup_min = 15
[machine.ram]
speed_min_m_per_s = 0.3
speed_max_m_per_s = 0.3
force_limit_kN = 60
setup_min = 20
[use.gust]
series = "cord"
kind = "rate"
strain_rate_per_s = 2.0
"""
HEAD = "specimen,series,machine,speed_mm_per_min,free_length_mm,peak_force_kN,broke\n"
QUICK = Effort(60, 8, 100, 10, 2)
SMALL = Settings(draws=2000, points=256)


@pytest.fixture
def folder(tmp_path):
    rng = np.random.default_rng(1)
    rows = [
        f"s{i},cord,frame,{20 if i % 2 else 300},500,{10 + 0.2 * rng.standard_normal()},yes"
        for i in range(8)
    ]
    (tmp_path / "breaks.csv").write_text(HEAD + "\n".join(rows) + "\n")
    (tmp_path / "campaign.toml").write_text(TOML)
    return tmp_path


def arguments(*words):
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    return parser.parse_args([str(w) for w in words])


def request(folder, extra="", **choice):
    (folder / "campaign.toml").write_text(TOML + extra)
    return plan_request(read_campaign(folder), Choice(**choice, settings=SMALL),
                        rng=np.random.default_rng(1))  # fmt: skip


def test_run_writes_sheet_and_charts_and_says_the_caution(folder, tmp_path, capsys):
    out = tmp_path / "out"
    assert run(arguments(folder, "--use", "gust", "--hours", 1.5, "--out", out)) == 0
    said = capsys.readouterr().out
    assert CAUTION in said
    assert "this plan" in said
    names = {p.name for p in out.iterdir()}
    assert {"test-sheet.csv", "test-sheet.html", "interval-against-hours.svg",
            "interval-against-hours.png", "design-on-rate-axis.svg"} <= names  # fmt: skip
    assert (out / "test-sheet.csv").read_text().startswith("order,block,specimen")


def test_same_seed_same_sheet(folder):
    choice = Choice(rate=2.0, hours=1.5, specimens=4, settings=SMALL)
    first, second = (run_plan(folder, choice, seed=4, effort=QUICK) for _ in range(2))
    assert first.sheet == second.sheet


def test_request_takes_lab_and_product_from_the_campaign(folder):
    made = request(folder)
    assert made.machines[1] == Machine("ram", 0.3, 0.3, 60_000.0, 1200.0)
    assert made.question.strain_rate_per_s == pytest.approx(2.0)
    assert made.free_length_m == pytest.approx(0.5)
    assert made.known is not None


def test_plan_table_gives_what_the_choice_leaves_open(folder):
    table = (
        '[plan]\nhours = 3\nspecimens = 9\nspools = ["A", "B"]\nquestion = "bound"\n'
        "strain_at_break_percent = 5\npreload_bias_limit_percent = 0.05\n"
    )
    made = request(folder, table)
    assert (made.hours, made.specimens, made.spools) == (3.0, 9, ("A", "B"))
    assert made.question.kind == "bound"
    assert made.strain_at_break == pytest.approx(0.05)
    assert made.preload_bias_limit == pytest.approx(0.0005)
    assert request(folder, table, hours=5.0, question="mean").hours == 5.0
    assert request(folder, "[plan]\nbudget_min = 90\n").hours == pytest.approx(1.5)


def test_rate_takes_the_place_of_a_use(folder):
    assert request(folder, rate=0.01).question.strain_rate_per_s == 0.01


def test_untested_product_is_planned_from_prior_knowledge():
    options = {
        "machine": {"ram": {"speed_min_m_per_s": 0.01, "speed_max_m_per_s": 0.3}},
        "plan": {"expected_strength_kN": 12.0},
        "priors": {"slope": {"mean": 0.5, "sd": 0.1}},
    }
    campaign = Campaign("t", {"cord": labs.product(diameter_m=0.003)}, {}, "", options=options)
    made = plan_request(campaign, Choice(rate=2.0), rng=np.random.default_rng(1))
    assert made.known is None
    assert made.strength_N == pytest.approx(12_000)
    assert made.priors is not None
    assert made.priors.parameters["slope"].distribution.a == 0.5
    plan = plan_tests(made, rng=np.random.default_rng(1), effort=QUICK)
    assert plan.sheet.series == "cord"


def test_steady_use_of_an_untested_product_has_no_rate():
    use = Use("hold", "cord", "steady", {"load": Distribution("fixed", 800.0)})
    campaign = Campaign("t", {"cord": labs.product()}, {"hold": use}, "")
    with pytest.raises(InputError, match="no rate to plan for"):
        plan_request(campaign, Choice(use="hold"), rng=np.random.default_rng(1))


@pytest.mark.parametrize(
    ("extra", "choice", "words"),
    [("", {"use": "no"}, "use 'no' is not in the campaign"),
     ("", {"rate": 1.0, "series": "no"}, "series 'no' is unknown"),
     ("[plan]\nhours = 0\n", {}, "campaign.toml, column plan.hours: hours = 0"),
     ("[plan]\nspecimens = 2.5\n", {}, "a whole number"),
     ("[plan]\nquestion = 'x'\n", {}, "question 'x'"),
     ("[plan]\nspools = 'A'\n", {}, "spools is no list of names"),
     ("[plan]\nhoers = 3\n", {}, "column plan.hoers")],
)  # fmt: skip
def test_wrong_input_is_one_line(folder, extra, choice, words):
    with pytest.raises(InputError, match=words):
        request(folder, extra, **choice)


def test_out_that_is_a_file_is_refused_before_any_work(folder):
    with pytest.raises(InputError, match="is no folder"):
        run(arguments(folder, "--out", folder / "campaign.toml"))


@pytest.mark.parametrize(
    "bad",
    [("--hours", "0"), ("--hours", "x"), ("--specimens", "0"), ("--rate", "-1"), ("--seed", "-1"),
     ("--hours", "nan")],
)  # fmt: skip
def test_bad_arguments_are_refused(bad, capsys):
    with pytest.raises(SystemExit, match="2"):
        arguments("folder", *bad)
    assert "expected" in capsys.readouterr().err or bad[1] == "x"


def test_machine_without_speeds_is_not_planned_for():
    options = {"machine": {"a": {"setup_s": 1.0}, "b": {"speed_min_m_per_s": 0.1,
                                                       "speed_max_m_per_s": 0.2}}}  # fmt: skip
    assert [m.name for m in machines_of(options)] == ["b"]


def test_nothing_tested_yet_can_be_planned_but_not_analysed(tmp_path, capsys):
    (tmp_path / "campaign.toml").write_text(
        'name = "first"\n[series.sling]\nmaterial = "polyester"\n'
        "[machine.frame]\nspeed_min_mm_per_min = 1\nspeed_max_mm_per_min = 500\nsetup_min = 20\n"
        '[use.drop]\nseries = "sling"\nkind = "rate"\nstrain_rate_per_s = 0.01\n'
    )
    assert main(["plan", str(tmp_path), "--specimens", "6", "--out", str(tmp_path / "out")]) == 0
    assert "sling" in capsys.readouterr().out
    assert (tmp_path / "out" / "test-sheet.csv").is_file()
    assert main(["analyse", str(tmp_path), "--out", str(tmp_path / "other")]) == 2
    assert "there is no breaks.csv" in capsys.readouterr().err
