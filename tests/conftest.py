"""A small campaign with everything a report has to show (invented numbers), analysed once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ratemodel.analysis import Analysis, analyse
from ratemodel.inference.average import Settings
from ratemodel.records.campaign import read_campaign

NASTY = '<script>alert("1")</script> & $x$ | *b* `c`'
TOML = """\
name = {name}
[series.{series}]
material = "HMPE"
diameter_mm = 3.0
batch_sd_fraction = 0.02
[series.{series}.rating]
value_kN = 11.8
statistic = "average"
speed_mm_per_min = 20
free_length_mm = 500
[machine.frame]
speed_min_mm_per_min = 0.5
speed_max_mm_per_min = 500
[machine.ram]
speed_min_mm_per_min = 60
speed_max_mm_per_min = 30000
[use.{use}]
series = {series}
kind = "fall"
mass_kg = {{ mean = 100, sd = 4 }}
fall_m = {{ low = 0.3, high = 0.8 }}
line_length_m = 20
stiffness_kN = {{ median = 110, factor = 1.15 }}
design_factor = 5
target_failure_probability = 1e-4
[use.{use}.factors]
termination = {{ mean = 0.90, sd = 0.03, origin = "assumed" }}
[use.gust]
series = {series}
kind = "snatch"
mass_kg = 25
closing_speed_m_per_s = {{ mean = 6, sd = 1 }}
line_length_m = 3
stiffness_kN = 110
design_factor = 4
[use.given]
series = {series}
kind = "rate"
strain_rate_per_s = 50.0
[use.moored]
series = {series}
kind = "steady"
load_kN = 1.5
duration_h = 100
design_factor = 5
"""
SPEEDS = (("frame", 2, 5), ("frame", 200, 6), ("ram", 200, 4), ("ram", 30000, 6))


def breaks(series: str, unit: str = "kN", factor: float = 1.0) -> str:
    """Break table from a fixed seed: a step down by a tenth, three spools, two specimens held."""
    rng = np.random.default_rng(3)
    column = f"peak_force_{unit}" if unit in ("kN", "lbf") else f"strength_{unit}"
    rows = [
        f"specimen,series,batch,machine,speed_mm_per_min,free_length_mm,{column},broke,excluded"
    ]
    number = 0
    for machine, speed, count in SPEEDS:
        for k in range(count):
            number += 1
            u = np.log10(speed / 6e4 / 0.5)
            y = 2.42 - 0.10 / (1 + 10 ** (-(u + 2.3) / 0.6)) + 0.02 * rng.standard_normal()
            held = machine == "frame" and speed == 200 and k in (2, 4)
            out = "slipped" if number == 3 else ""
            name = series.replace('"', '""')
            rows.append(
                f'A{number:02d},"{name}",S{number % 3},{machine},{speed},500,'
                f"{factor * np.exp(y):.4f},{'no' if held else 'yes'},{out}"
            )
    return "\n".join(rows) + "\n"


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def write_campaign(
    folder: Path,
    *,
    names: tuple[str, str, str] = ("small", "cord", "drop"),
    unit: str = "kN",
    factor: float = 1.0,
    cut: str | None = None,
) -> Path:
    """Write the campaign; ``cut`` leaves out everything from that line of the TOML on."""
    name, series, use = names
    toml = TOML.format(name=quoted(name), series=quoted(series), use=quoted(use))
    if cut is not None:
        toml = toml[: toml.index(cut)]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "campaign.toml").write_text(toml, encoding="utf-8")
    (folder / "breaks.csv").write_text(breaks(series, unit, factor), encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def make_campaign() -> Callable[..., Path]:
    return write_campaign


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_campaign(tmp_path_factory.mktemp("small") / "campaign")


@pytest.fixture(scope="session")
def small(folder: Path) -> Analysis:
    """The small campaign analysed with few draws."""
    return analyse(read_campaign(folder), rates=[0.01, 3.0], seed=4, settings=Settings(draws=2000))


@pytest.fixture(scope="session")
def nasty(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    """The same under names that try to be markup."""
    where = write_campaign(
        tmp_path_factory.mktemp("nasty") / "campaign",
        names=(NASTY, NASTY, f"use {NASTY}"),
        cut="[use.gust]",
    )
    return analyse(read_campaign(where), settings=Settings(draws=1000))
