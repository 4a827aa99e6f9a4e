"""results.json: the names of the contract, strict JSON, and numbers that agree with the draws."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from ratemodel.analysis import Analysis, analyse
from ratemodel.inference.average import Settings
from ratemodel.records.campaign import read_campaign
from ratemodel.report.results_json import results, results_bytes


@pytest.fixture(scope="module")
def written(small: Analysis) -> dict:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(results_bytes(small), parse_constant=refuse)


def _leaves(value: object) -> Iterator[object]:
    if isinstance(value, dict):
        for item in value.values():
            yield from _leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from _leaves(item)
    else:
        yield value


def _is_quantity(q: dict) -> bool:
    low, high = q["interval"]
    return low <= q["median"] <= high


def test_names_of_the_contract(written: dict) -> None:
    assert written["schema"] == 1
    assert {"name", "tests", "sha256"} <= written["campaign"].keys()
    assert {"ratemodel", "python", "numpy", "scipy", "lmfit"} <= written["software"].keys()
    assert (written["seed"], written["draws"]) == (4, 2000)
    (series,) = written["series"]
    assert {"name", "tests", "censored", "excluded", "strain_rate_range_per_s", "models", "curve",
            "level", "bound", "screening", "problems"} <= series.keys()  # fmt: skip
    assert (series["tests"], series["censored"], series["excluded"]) == (21, 2, 1)
    assert series["bound"] == {"fraction": 0.95, "confidence": 0.95}
    assert {"check", "specimens", "verdict", "detail"} <= series["screening"][0].keys()
    for model in series["models"]:
        assert {"name", "weight", "parameters", "warnings"} <= model.keys()
        assert all(_is_quantity(q) for q in model["parameters"].values())
        assert {a["use"] for a in model["answers"]} == {"drop", "gust", "given", "moored"}
    assert sum(m["weight"] for m in series["models"]) == pytest.approx(1.0)
    assert {"strain_rate_per_s", "specimens", "machine_time_h", "expected_interval_ratio"} <= (
        written["next_test"].keys()
    )
    assert any("certified" in text for text in written["cautions"])


def test_curve(written: dict, small: Analysis) -> None:
    (series,) = written["series"]
    curve = series["curve"]
    for row in curve:
        low, high = row["mean_interval_kN"]
        assert low <= row["median_kN"] <= high
        one = row["specimen_interval_kN"]
        assert one[0] < low
        assert one[1] > high
        assert row["lower_bound_kN"] < row["median_kN"]
    rates = [row["strain_rate_per_s"] for row in curve]
    assert 0.01 in rates
    assert 3.0 in rates
    u = np.log10(rates)
    assert np.diff(u).max() <= 1 / 8 + 1e-9
    low, high = series["strain_rate_range_per_s"]
    assert min(rates) <= low * (1 + 1e-9)
    for use in small.uses:
        middle = float(np.median(use.strength.u))
        assert u.min() - 1e-9 <= middle <= u.max() + 1e-9
    beyond = {r["strain_rate_per_s"]: r["decades_beyond_data"] for r in curve}
    assert beyond[3.0] == pytest.approx(math.log10(3.0 / high), abs=1e-6)
    assert beyond[0.01] == 0


def test_uses(written: dict, small: Analysis) -> None:
    by_name = {u["name"]: u for u in written["use_cases"]}
    for result in small.uses:
        use = by_name[result.strength.use.name]
        strength = use["strength_kN"]
        assert _is_quantity(strength)
        assert strength["lower_bound"] * 1e3 == pytest.approx(result.strength.lower_bound)
        assert strength["median"] * 1e3 == pytest.approx(
            np.exp(np.median(result.strength.mean_ln)), rel=1e-3
        )
        wide = strength["specimen_interval"]
        assert wide[0] < strength["interval"][0]
        assert wide[1] > strength["interval"][1]
        assert all(_is_quantity(s["ratio"]) and s["origin"] for s in use["steps"])
        assert sum(s["share"] for s in use["dominant_uncertainty"]) == pytest.approx(1.0)
        for shown, row in zip(use["working_load_limit"], result.limits, strict=True):
            assert shown["value_kN"] * 1e3 <= row.value
            assert shown["value_kN"] * 1e3 == pytest.approx(row.value, rel=2e-3)
            assert 0 <= shown["implied_failure_probability"] <= 1
    drop = by_name["drop"]["event"]
    assert all(_is_quantity(drop[k]) for k in ("peak_force_kN", "strain_rate_per_s",
                                               "time_to_peak_s"))  # fmt: skip
    assert _is_quantity(by_name["drop"]["failure_probability"])
    given = by_name["given"]
    assert given["event"]["peak_force_kN"] is None
    assert given["failure_probability"] is None
    assert given["event"]["strain_rate_per_s"]["median"] == pytest.approx(50.0)
    assert given["decades_beyond_data"] == pytest.approx(math.log10(50.0), abs=1e-6)


def test_steps_multiply_from_start_to_end(small: Analysis) -> None:
    for use in small.uses:
        e = use.explanation
        total = e.ln_start + sum(s.ln_ratio for s in e.steps)
        np.testing.assert_allclose(total, e.ln_end, atol=1e-12)


def test_only_finite_numbers(written: dict) -> None:
    numbers = [x for x in _leaves(written) if isinstance(x, float)]
    assert numbers
    assert all(math.isfinite(x) for x in numbers)


def test_priors_are_printed(written: dict) -> None:
    rows = {p["name"]: p for p in written["series"][0]["priors"]["parameters"]}
    assert {"slope", "drop", "place", "growth", "batch_sd"} <= rows.keys()
    for row in rows.values():
        assert row["origin"]
        assert row["distribution"]["kind"] in ("fixed", "normal", "uniform", "lognormal")


@pytest.mark.parametrize(("unit", "shown", "factor"), [("lbf", "kN", 224.809), ("GPa", "GPa", 0.2)])
def test_units(
    unit: str, shown: str, factor: float, make_campaign: Callable[..., Path], tmp_path: Path
) -> None:
    """Forces are written in kN whatever was given; a stress keeps its own unit, and no demand."""
    cut = None if unit == "lbf" else '[series."cord".rating]'
    where = make_campaign(tmp_path / "c", unit=unit, factor=factor, cut=cut)
    found = results(analyse(read_campaign(where), settings=Settings(draws=1000)))
    row = found["series"][0]["curve"][0]
    assert f"median_{shown}" in row
    assert f"lower_bound_{shown}" in row
    value = row[f"median_{shown}"]
    expected = math.exp(2.42) * (0.2 if unit == "GPa" else 224.809 * 4.4482216e-3)
    assert value == pytest.approx(expected, rel=0.05)


def test_missing_becomes_null(small: Analysis) -> None:
    from dataclasses import replace

    assert results(replace(small, next_test=None))["next_test"] is None
