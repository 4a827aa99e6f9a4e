"""Every feature of a use from campaign.toml to its limits (invented data, demo's specimens)."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import ratemodel as rm
from ratemodel.errors import InputError
from ratemodel.event import Line, Mover, Parallel, PowerLaw, Series, Slip, event_draws, shock
from ratemodel.event.laws import Linear
from ratemodel.inference.average import Settings
from ratemodel.recorded import pulled_curve, recorded_curve
from ratemodel.records.logfile.read import read_log
from ratemodel.reduction.record import ReductionSettings
from ratemodel.report.use_json import use_json

DEMO = Path(__file__).resolve().parents[1] / "data-demo" / "kite-tether"
SNATCH = """series = "tether-3mm"
kind = "snatch"
mass_kg = 12
closing_speed_m_per_s = { low = 3, high = 4 }
line_length_m = 2.5
"""
USES = f"""
[use.recorded]
{SNATCH}line = "recorded"
log = "T3-01.csv"
design_factor = 5

[use.everything]
{SNATCH}line = "power"
stiffness_kN = 900
exponent = 1.4
damping_ratio = 0.05
line_weight_g_per_m = 6
gravity = true
preload_N = 20
steady_load_N = 30
slip_force_kN = 2.5
run_out_mm = 5
sling_length_m = 1
sling_stiffness_kN = 400
second_length_m = 2.6
second_stiffness_kN = 250
second_slack_mm = 20
temperature_C = {{ low = -5, high = 35 }}
shocks = 1000
target_failure_probability = 1e-4

[use.held]
series = "tether-3mm"
kind = "steady"
load_kN = {{ mean = 0.8, sd = 0.1 }}
duration_h = 720
design_factor = 5
[use.held.factors]
termination = {{ mean = 0.90, sd = 0.03, origin = "assumed" }}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Demo specimens, the uses above, and runs held to the break at three loads (made up)."""
    root = tmp_path_factory.mktemp("uses")
    shutil.copy(DEMO / "breaks.csv", root)
    shutil.copytree(DEMO / "logs", root / "logs")
    text = (DEMO / "campaign.toml").read_text(encoding="utf-8")
    (root / "campaign.toml").write_text(text[: text.index("[use.gust]")] + USES, encoding="utf-8")
    (root / "creep").mkdir()
    rows = ["file,series,load_kN,free_length_mm,temperature_C,broke"]
    rng = np.random.default_rng(3)
    for load in (5.0, 6.0, 7.0):
        for k in range(4):
            hours = np.exp(np.log(40.0) - 18 * np.log(load / 6.0) + 0.6 * rng.standard_normal())
            curve = "".join(f"{hours * f:.6g},{1 + 0.1 * f:.4g}\n" for f in (0.01, 0.3, 1.0))
            name = f"{load:g}-{k}.csv"
            (root / "creep" / name).write_text("time_h,strain_percent\n" + curve, encoding="utf-8")
            rows.append(f"{name},tether-3mm,{load:g},1000,21,yes")
    (root / "creep.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return root


@pytest.fixture(scope="module")
def analysis(folder):
    return rm.analyse(rm.read_campaign(folder), seed=1, settings=Settings(draws=2000))


@pytest.fixture(scope="module")
def uses(analysis):
    return {u.strength.use.name: u for u in analysis.uses}


def test_recorded_line_follows_its_log(folder, uses):
    """The record's own samples above the bedding-in lie on the curve; the event runs on it."""
    campaign = rm.read_campaign(folder)
    curve = recorded_curve(campaign, campaign.use["recorded"])
    log = read_log(folder / "logs" / "T3-01.csv")
    top = int(np.argmax(log.force_N))
    moved = (log.position_m[top] - log.position_m) / 0.5
    for share in (0.5, 0.75, 1.0):
        at = int(np.flatnonzero(log.force_N[: top + 1] >= share * log.force_N[top])[0])
        got = curve.force(np.array([curve.strain_points[-1] - moved[at]]))[0]
        assert got == pytest.approx(log.force_N[at], rel=0.03)
    event = uses["recorded"].strength.event
    q = event.inputs
    again = shock(Line(curve, q["line_length"]), Mover(q["mass"], q["closing_speed"]))
    np.testing.assert_allclose(event.peak_force_N, again.peak_force_N, rtol=1e-12)
    # Energy taken up at the peak is the energy brought in.
    stored = q["line_length"] * curve.energy(event.peak_strain)
    np.testing.assert_allclose(stored, 0.5 * q["mass"] * q["closing_speed"] ** 2, rtol=1e-6)


def test_final_pull_is_taken_after_preload_cycles():
    settings = ReductionSettings(free_length_m=0.5)
    curve = pulled_curve(read_log(DEMO / "logs" / "T3-10.csv"), settings)
    assert curve.strain_points[0] == 0.0
    assert curve.strain_points[-1] < 0.05  # the bedding-in of the cycles is not in it


def test_recorded_line_needs_its_curve_and_its_length(folder):
    campaign = rm.read_campaign(folder)
    use = campaign.use["recorded"]
    with pytest.raises(InputError, match="no loading curve was given"):
        event_draws(use, 4, np.random.default_rng(1))
    with pytest.raises(InputError, match="needs position and free length"):
        pulled_curve(read_log(DEMO / "logs" / "T3-01.csv"), ReductionSettings())
    assert recorded_curve(campaign, campaign.use["held"]) is None
    table = replace(campaign, series={}, options={"logs": {"free_length_mm": 500}})
    by_table, by_row = recorded_curve(table, use), recorded_curve(campaign, use)
    np.testing.assert_array_equal(by_table.strain_points, by_row.strain_points)
    no_length = replace(campaign, series={}, options={})
    with pytest.raises(InputError, match="needs position and free length"):
        recorded_curve(no_length, use)


def test_every_quantity_reaches_the_event(uses):
    event = uses["everything"].strength.event
    q = event.inputs
    mass = q["line_weight"] * q["line_length"]
    assert mass[0] == pytest.approx(0.015)
    tether = Line(PowerLaw(q["stiffness"], q["exponent"]), q["line_length"], mass)
    second = Line(Linear(q["second_stiffness"]), q["second_length"])
    sling = Line(Linear(q["sling_stiffness"]), q["sling_length"])
    from ratemodel.event import Damping

    again = shock(
        Series((Parallel((tether, second), (np.zeros(1), q["second_slack"])), sling)),
        Mover(q["mass"], q["closing_speed"], gravity=True, steady_load=q["steady_load"]),
        preload=q["preload"],
        damping=Damping(ratio=q["damping_ratio"]),
        slip=Slip(q["slip_force"], q["run_out"]),
    )
    np.testing.assert_array_equal(event.peak_force_N, again.peak_force_N)
    np.testing.assert_array_equal(event.strain_rate_per_s, again.strain_rate_per_s)


def test_each_feature_changes_the_event(folder):
    """Left out one at a time, none of them is without effect on the force in the line."""
    use = rm.read_campaign(folder).use["everything"]
    middle = {n: replace(d, kind="fixed", a=d.median, b=0.0) for n, d in use.quantities.items()}
    use = replace(use, quantities=middle)

    def peak(without=(), **options):
        left = {n: d for n, d in middle.items() if n not in without}
        some = replace(use, quantities=left, options={**use.options, **options})
        return event_draws(some, 1, np.random.default_rng(1)).peak_force_N[0]

    whole = peak()
    for names in (("sling_length", "sling_stiffness"), ("damping_ratio",), ("exponent",),
                  ("second_length", "second_stiffness", "second_slack"), ("second_slack",),
                  ("run_out",), ("steady_load",), ("line_weight",)):  # fmt: skip
        assert abs(peak(names) / whole - 1) > 1e-7, names
    assert abs(peak(gravity=False) / whole - 1) > 1e-5


def test_held_load_is_judged_by_its_lives(uses):
    """True working load from the law the runs were drawn from, 5 % weakest, termination 0.9."""
    held, limits = uses["held"].held, uses["held"].limits
    weak = 40.0 * np.exp(-1.645 * 0.6)
    true_load = 0.9 * 6000.0 * (weak / 720.0) ** (1 / 18)
    row = limits.by("service life")
    assert row.value == held.working_load_N
    assert 0.75 * true_load < row.value < true_load
    assert held.life_s[0] > 720 * 3600
    assert uses["held"].failure is held.failure
    assert "creep rupture" in row.basis


def test_shocks_in_a_life_and_their_damage(uses):
    result = uses["everything"]
    assert result.damage.shocks == 1000.0
    assert result.damage.per_shock[1] < result.damage.per_shock[0] < result.damage.per_shock[2]
    assert "temperature (from the tests and the prior)" in result.strength.factors


def test_names_are_written_for_programs(uses):
    found = json.loads(json.dumps(use_json(uses["held"]), allow_nan=False))
    assert found["held_load"]["service_life_h"] == pytest.approx(720.0)
    assert found["variance"]["of"] == "ln strength of one line over demand"
    assert {"first_order", "total", "name"} == set(found["variance"]["indices"][0])
    assert sum(d["share"] for d in found["dominant_uncertainty"]) == pytest.approx(1.0)
    assert min(r["implied_failure_probability"] for r in found["working_load_limit"]) >= 1e-9


def test_nothing_is_hidden(analysis):
    codes = {p.code for p in analysis.problems}
    assert "shock-damage-by-law" in codes
    assert "not a certificate" in str(analysis)
