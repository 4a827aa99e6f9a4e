"""Cycling and creep tables with known truth (invented), written into a campaign folder."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

#: ln S = ln 11.2 kN + GAIN q (1 - exp(-N/2)); residual elongation 0.024 q (1 - exp(-N/2)).
GAIN = 0.08
#: strain = f E0 + f^P A (t / 1000 h)^N, f the load over 3 kN.
E0, A, N, P = 0.012, 0.010, 0.35, 1.6
LOADS_KN = (1.0, 2.0, 3.0)
HOURS = 2000.0


def gain(cycles: float, fraction: float) -> float:
    return GAIN * fraction * (1 - np.exp(-cycles / 2))


def strain(hours: float | np.ndarray, load_kN: float) -> float | np.ndarray:
    f = load_kN / 3.0
    return f * E0 + f**P * A * (hours / 1000.0) ** N


def slope_per_s(hours: float, load_kN: float) -> float:
    return (load_kN / 3.0) ** P * A * N * (hours / 1000.0) ** (N - 1) / 3.6e6


def write_cycling(folder: Path, series: str, specimens: int = 5) -> None:
    rng = np.random.default_rng(8)
    rows = []
    for cycles, q in ((0, 0.0), (1, 0.5), (3, 0.5), (10, 0.3), (10, 0.5), (10, 0.7)):
        for k in range(specimens):
            name = f"c{cycles}-{q}-{k}"
            force = 11.2 * np.exp(gain(cycles, q) + 0.012 * rng.standard_normal())
            for n in sorted({1, 2, 3, 5, 10, cycles}) if cycles else [0]:
                if n > cycles:
                    continue
                read = 2.4 * q * (1 - np.exp(-n / 2)) * np.exp(0.01 * rng.standard_normal())
                stiff = 120 * (1 + 1.3 * (1 - np.exp(-n / 2)))
                rows.append([name, series, n, q, f"{force:.4f}" if n == cycles else "",
                             f"{read:.5f}" if n else "", f"{stiff:.3f}" if n else ""])  # fmt: skip
    header = ["specimen", "series", "cycle", "preload_fraction", "peak_force_kN",
              "residual_elongation_percent", "stiffness_kN"]  # fmt: skip
    table(folder / "cycling.csv", header, rows)


def write_creep(folder: Path, series: str, *, readings: int = 70, names: str = "run {}") -> None:
    rng = np.random.default_rng(9)
    (folder / "creep").mkdir(exist_ok=True)
    runs = []
    for i, load in enumerate(LOADS_KN):
        hours = np.geomspace(0.01, HOURS, readings)
        read = 100 * strain(hours, load) + 0.001 * rng.standard_normal(readings)
        lines = [[f"{h:.6g}", f"{e:.6f}"] for h, e in zip(hours, read, strict=True)]
        table(folder / "creep" / f"r{i}.csv", ["time_h", "strain_percent"], lines)
        runs.append([f"r{i}.csv", series, names.format(i), load, 20, "no"])
    header = ["file", "series", "specimen", "load_kN", "temperature_C", "broke"]
    table(folder / "creep.csv", header, runs)


def table(path: Path, header: list[str], rows: list[list[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([header, *rows])
