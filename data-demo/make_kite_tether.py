"""Make the invented campaign kite-tether from the truth stated here.

    python data-demo/make_kite_tether.py [folder]

Strengths are drawn from the truth, every pull is written as a machine log, and the break table is
reduced from those logs, so that the two agree. The same seed gives the same bytes.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ratemodel.records.logfile.log import MachineLog
from ratemodel.records.logfile.read import read_log
from ratemodel.records.tables import Series
from ratemodel.reduction import BreakRecord, ReductionSettings, reduce_log
from ratemodel.simulate import Design, FibreAndHeat, Label, Truth, simulate_series
from ratemodel.simulate_logs import LogTruth, PreloadTruth, simulate_log, write_log_csv

#: The lowest seed with which the frame could not break exactly three specimens.
SEED = 2
FREE_LENGTH_M = 0.5
#: m/s; the ram has one speed, the rig drops a weight far heavier than the cord is strong.
SPEED = {"screw-slow": 20e-3 / 60, "screw": 200e-3 / 60, "ram": 0.3, "rig": 4.0}
SLOW, QUICK, RAM, RIG = (float(np.log10(v / FREE_LENGTH_M)) for v in SPEED.values())
REFERENCE = -3.0  # log10 of the strain rate (1/s) at which strengths and scatter are stated
#: ln of reading over force; the calibration certificates allow 1 %, 1 % and 2 %.
BIAS = {"screw-frame": 0.004, "hydraulic-ram": -0.006, "drop-rig": 0.010}
FRAME_LIMIT_N = 16_000.0
GAIN, SETTLE, RESIDUAL = 0.08, 2.0, 0.012  # preload cycling of tether-3mm, see `gain`
CYCLES, LEVEL = 10, 0.5
#: Low-strain stiffness (N per unit strain) of new cord, its rise; hysteresis (J) floor, first.
STIFFNESS, STIFFER, FLOOR_J, FIRST_J = 120e3, 1.3, 2.5, 6.5
WORDS = {"clear": 0.3, "termination": 0.7}


def gain(cycles: float, level: float) -> float:
    """Gain of ln S from cycling: g q (1 - exp(-N / N_s))."""
    return GAIN * level * -float(np.expm1(-cycles / SETTLE))


@dataclass(frozen=True)
class Product:
    """One cord: its truth, what is pulled where, and what a pull looks like."""

    truth: Truth
    design: Design
    label: Label
    short: str
    rating_N: float
    elongation: float


THREE = Product(
    truth=Truth(
        curve=FibreAndHeat(float(np.log(10_400.0)), REFERENCE, 0.015, 0.16, -2.1),
        scatter=0.024,
        reference=REFERENCE,
        batch_sd=0.018,
        cycled_gain=gain(CYCLES, LEVEL),
        machine_bias=BIAS,
    ),
    design=Design(
        rates=(SLOW, SLOW, QUICK, RAM, RIG),
        specimens=(8, 6, 6, 8, 6),
        machines=("screw-frame", "screw-frame", "screw-frame", "hydraulic-ram", "drop-rig"),
        cycles=(0, CYCLES, 0, 0, 0),
        spools=4,
        preload_fraction=LEVEL,
        free_length_m=FREE_LENGTH_M,
    ),
    label=Label("tether-3mm"),
    short="T3",
    rating_N=10_900.0,
    elongation=0.040,
)
FIVE = Product(
    truth=Truth(
        curve=FibreAndHeat(float(np.log(15_700.0)), REFERENCE, 0.02, 0.08, -2.6),
        scatter=0.030,
        reference=REFERENCE,
        batch_sd=0.015,
        machine_bias=BIAS,
    ),
    design=Design(
        rates=(SLOW, QUICK, RAM),
        specimens=(8, 6, 8),
        machines=("screw-frame", "screw-frame", "hydraulic-ram"),
        spools=3,
        force_limit_N={"screw-frame": FRAME_LIMIT_N},
        free_length_m=FREE_LENGTH_M,
    ),
    label=Label("tether-5mm", "aramid", 0.005),
    short="T5",
    rating_N=16_500.0,
    elongation=0.036,
)
PRODUCTS = (THREE, FIVE)
#: Specimen to the reason for which it is not used; its pull ended at this share of its strength.
SPOILT = {
    "T3-22": ("slipped out of the grip", 0.62),
    "T5-12": ("nicked by a sharp edge while it was mounted", 0.81),
}


@dataclass(frozen=True)
class CreepTruth:
    """strain = f e0 + f**p A (a t / 1000 h)**n, f = load / F_ref, a = exp(E/R (1/T_ref - 1/T))."""

    reference_N: float
    strain0: float
    amplitude: float
    time_exponent: float
    load_exponent: float
    energy_J_per_mol: float

    def strain(self, hours: np.ndarray, load_N: float, celsius: float) -> np.ndarray:
        """Strain at some times under one load."""
        f = load_N / self.reference_N
        a = np.exp(self.energy_J_per_mol / 8.314462618 * (1 / 293.15 - 1 / (celsius + 273.15)))
        grown = self.amplitude * (a * hours / 1000.0) ** self.time_exponent
        return f * self.strain0 + f**self.load_exponent * grown


CREEP = {
    "tether-3mm": CreepTruth(3000.0, 0.012, 0.010, 0.35, 1.6, 90e3),
    "tether-5mm": CreepTruth(5000.0, 0.010, 0.0008, 0.20, 1.0, 40e3),
}
#: Series, load (N), temperature (C), end (h), whether it broke then.
RUNS = (
    ("tether-3mm", 1500.0, 20.0, 3000.0, False),
    ("tether-3mm", 3000.0, 20.0, 3000.0, False),
    ("tether-3mm", 4500.0, 20.0, 3000.0, False),
    ("tether-3mm", 3000.0, 40.0, 3000.0, False),
    ("tether-3mm", 6000.0, 40.0, 410.0, True),
    ("tether-5mm", 4000.0, 20.0, 3000.0, False),
    ("tether-5mm", 8000.0, 20.0, 3000.0, False),
    ("tether-5mm", 8000.0, 40.0, 3000.0, False),
)


def make(folder: Path) -> None:
    """Write logs, break table, creep runs and cycling table; campaign.toml is written by hand."""
    strengths, logs, creep, cycling = np.random.default_rng(SEED).spawn(4)
    rows: list[dict[str, str]] = []
    for product in PRODUCTS:
        series = simulate_series(product.truth, product.design, strengths, label=product.label)
        rows += _pulls(product, series, folder, logs)
    _write(folder / "breaks.csv", list(rows[0]), [list(row.values()) for row in rows])
    _creep(folder, creep)
    _cycling(folder, cycling)


def _pulls(product: Product, series: Series, folder: Path,
           rng: np.random.Generator) -> Iterable[dict[str, str]]:  # fmt: skip
    """Rows of the break table, each from the log written for it."""
    settings = ReductionSettings(free_length_m=FREE_LENGTH_M, rating_N=product.rating_N)
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    for i in range(len(series.used)):
        name = f"{product.short}-{i + 1:02d}"
        log = _log(product, series, i, name, rng)
        path = write_log_csv(log, folder / "logs" / log.name)
        record = reduce_log(read_log(path), settings)
        yield _row(product, series, i, record, rng)


def _log(product: Product, series: Series, i: int, name: str,
         rng: np.random.Generator) -> MachineLog:  # fmt: skip
    """One pull, read with the digits a logger gives."""
    used = series.used
    peak = float(used.strength[i]) * SPOILT.get(name, ("", 1.0))[1]
    rate = float(used.strain_rate_per_s[i])
    strain = product.elongation * peak / product.rating_N * (1 + 0.03 * rng.standard_normal())
    cycles = int(used.preload_cycles[i])
    level = LEVEL * product.rating_N / peak
    preload = PreloadTruth(cycles, level, residual_m=RESIDUAL * FREE_LENGTH_M,
                           cycles_to_settle=SETTLE) if cycles else None  # fmt: skip
    truth = LogTruth(
        peak_N=peak,
        free_length_m=FREE_LENGTH_M,
        strain_at_break=strain,
        strain_rate_per_s=rate,
        sample_rate_Hz=(250.0 if cycles else 400.0) * rate / strain,
        force_noise_N=4.0,
        position_noise_m=1e-6,
        preload=preload,
        ending="broke" if used.broke[i] else "unloaded",
    )
    log = simulate_log(truth, rng, name=f"{name}.csv")
    digits = 2 - int(np.floor(np.log10(log.sample_interval_s)))
    assert log.position_m is not None
    return replace(
        log,
        time_s=np.round(log.time_s, digits),
        position_m=np.round(log.position_m, 6),
        force_N=np.round(log.force_N, 1),
    )


def _row(product: Product, series: Series, i: int, record: BreakRecord,
         rng: np.random.Generator) -> dict[str, str]:  # fmt: skip
    used = series.used
    name = Path(record.name).stem
    site = str(rng.choice(list(WORDS), p=list(WORDS.values())))
    speed = float(used.strain_rate_per_s[i]) * FREE_LENGTH_M * 60e3
    level = record.preload_level_N / product.rating_N if record.cycles else 0.0
    return {
        "specimen": name,
        "series": series.name,
        "batch": f"{product.short[1]}{'ABCD'[int(used.batch[i][-1]) - 1]}",
        "machine": used.machine[i],
        "speed_mm_per_min": f"{speed:.6g}",
        "free_length_mm": f"{FREE_LENGTH_M * 1e3:g}",
        "strain_rate_per_s": f"{record.strain_rate_per_s:.3g}",
        "peak_force_kN": f"{record.peak_force_N / 1e3:.3f}",
        "broke": "no" if record.censored else "yes",
        "preload_fraction": f"{level:.2g}",
        "preload_cycles": str(len(record.cycles)),
        "temperature_C": f"{20.5 + 0.6 * rng.standard_normal():.1f}",
        "termination": "bollard grips",
        "failure_site": "" if record.censored or name in SPOILT else site,
        "strain_at_break": f"{record.strain_at_break:.4f}",
        "elongation_mm": f"{record.elongation_m * 1e3:.2f}",
        "stiffness_kN": f"{record.stiffness_N / 1e3:.1f}",
        "energy_J": f"{record.energy_J:.1f}",
        "time_to_peak_s": f"{record.time_to_peak_s:.4g}",
        "peak_low_by_at_most_kN": f"{record.peak_low_by_at_most_N / 1e3:.3f}",
        "excluded": SPOILT.get(name, ("", 1.0))[0],
        "log": record.name,
        "note": "the frame was at its limit" if record.censored else "",
    }


def _creep(folder: Path, rng: np.random.Generator) -> None:
    (folder / "creep").mkdir(parents=True, exist_ok=True)
    names = ["file", "series", "specimen", "load_kN", "free_length_mm", "temperature_C", "broke"]
    table = []
    for series, load, celsius, end, broke in RUNS:
        specimen = f"C{series[7]}-{load / 1e3:g}kN-{celsius:g}C"
        hours = np.geomspace(0.01, end, 60)
        strain = CREEP[series].strain(hours, load, celsius) + 5e-5 * rng.standard_normal(60)
        rows = [[f"{t:.4g}", f"{100 * e:.4f}"] for t, e in zip(hours, strain, strict=True)]
        _write(folder / "creep" / f"{specimen}.csv", ["time_h", "strain_percent"], rows)
        table.append([f"{specimen}.csv", series, specimen, f"{load / 1e3:g}", "1000",
                      f"{celsius:g}", "yes" if broke else "no"])  # fmt: skip
    _write(folder / "creep.csv", names, table)


def _cycling(folder: Path, rng: np.random.Generator) -> None:
    """Specimens broken after so many cycles to such a level, read by hand at some cycles."""
    names = ["specimen", "series", "batch", "machine", "cycle", "preload_fraction", "peak_force_kN"]
    names += ["residual_elongation_percent", "stiffness_kN", "hysteresis_J"]
    spools = dict(zip(("3E", "3F"), THREE.truth.batch_sd * rng.standard_normal(2), strict=True))
    plan = [(0, 0.0)] * 4 + [(3, 0.3), (10, 0.3), (1, 0.5), (3, 0.5), (10, 0.5), (30, 0.5),
                             (3, 0.7), (10, 0.7), (30, 0.7)] * 2  # fmt: skip
    rows = []
    for number, (cycles, level) in enumerate(plan, start=1):
        spool = "3E" if number % 2 else "3F"
        ln_mean = float(THREE.truth.curve(np.array([SLOW]))[0]) + BIAS["screw-frame"]
        ln_peak = ln_mean + gain(cycles, level) + spools[spool]
        peak = float(np.exp(ln_peak + THREE.truth.scatter * rng.standard_normal()))
        for n in [k for k in (1, 2, 3, 5, 10, 20, 30) if k <= cycles] or [0]:
            last = f"{peak / 1e3:.3f}" if n == cycles else ""
            readings = _readings(n, level, rng) if n else ["", "", ""]
            rows.append([f"B3-{number:02d}", "tether-3mm", spool, "screw-frame", str(n),
                         f"{level:g}", last, *readings])  # fmt: skip
    _write(folder / "cycling.csv", names, rows)


def _readings(n: int, level: float, rng: np.random.Generator) -> list[str]:
    """Residual elongation, low-strain stiffness and hysteresis, read within 2 %."""
    settled, share = -np.expm1(-n / SETTLE), level / LEVEL
    error = 1 + 0.02 * rng.standard_normal(3)
    residual = 100 * RESIDUAL * share * settled * error[0]
    stiffness = STIFFNESS * (1 + STIFFER * settled) * error[1] / 1e3
    loop = share**2 * (FLOOR_J + FIRST_J * np.exp(-(n - 1) / SETTLE)) * error[2]
    return [f"{residual:.3f}", f"{stiffness:.1f}", f"{loop:.2f}"]


def _write(path: Path, names: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(rows)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "kite-tether")
