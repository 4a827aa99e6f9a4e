"""Any shock: which method serves, and what the watched line sees of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.event import damped, linear, tracking, undamped
from ratemodel.event.checks import columns
from ratemodel.event.lines import Arrangement, Line
from ratemodel.event.loading import Damping, Mover, Slip
from ratemodel.event.motion import Motion, Peak
from ratemodel.event.result import STANDARD_GRAVITY_M_PER_S2, Event

_CHUNK = 16384  # draws solved at once: arrays of 128 kB stay in the processor's cache
_MAX_RATIO = 10.0
_ENDLESS = Problem(
    "no-peak",
    "in some draws the mass never comes to rest: the slip force does not exceed the load that "
    "keeps acting; choose a larger slip force or a limited run-out",
    "serious",
)


@dataclass(frozen=True)
class Case:
    """One shock, checked and broadcast: what the solvers need; arrays of shape ``(draws,)``."""

    line: Arrangement
    motion: Motion
    viscosity: FloatArray
    speed: FloatArray
    watch: int
    problems: list[Problem] = field(default_factory=list)


def shock(
    line: Arrangement,
    mover: Mover,
    *,
    preload: ArrayLike = 0.0,
    damping: Damping | None = None,
    slip: Slip | None = None,
    watch: int = 0,
) -> Event:
    """Shock on a line or an arrangement of lines, all draws at once.

    Parameters
    ----------
    line : Line, Series or Parallel
        What is stretched. A third of its own mass moves with the mass (Rayleigh's rule for a
        uniformly stretching spring, *Theory of Sound*, 1877, from memory), at the full closing
        speed, which errs towards more force; half its weight acts at the end.
    mover : Mover
        Mass, closing speed, weight.
    preload : array_like
        Tension (N) already in the line when the shock begins. What caused it and stays must
        also stand in ``mover`` (its weight, or ``steady_load``).
    damping : Damping, optional
        None: undamped.
    slip : Slip, optional
        Device in series that limits the force.
    watch : int
        Which line of the arrangement is read, from 0 in the order given. With damping and lines
        in parallel its force is its elastic share of the total, and the 50 % point that of the
        total force.

    Returns
    -------
    Event
        Of the watched line.

    Raises
    ------
    InputError
        Impossible value, both kinds of damping at once, or no such line.

    Examples
    --------
    >>> from ratemodel.event import Line, PowerLaw
    >>> tether = Line(PowerLaw(400e3, 1.5), 8.0)
    >>> event = shock(tether, Mover.falling(80.0, [0.5, 2.0]))
    >>> bool(event.peak_force_N[1] > event.peak_force_N[0])
    True
    """
    case = read_case(line, mover, preload, damping, slip, watch)
    n = case.speed.size
    simple = _closed_form(case) if np.isinf(case.motion.slip_force).all() else None
    if simple is not None:
        parts = [(case, simple)]
    else:
        rows = [slice(i, i + _CHUNK) for i in range(0, n, _CHUNK)]
        small = [_take(case, r) for r in rows]
        parts = [(c, _solve(c)) for c in small]
    seen = [_watched(c, p) for c, p in parts]
    joined = {k: np.concatenate([s[k] for s in seen]) for k in seen[0]}
    if any(p.endless for _, p in parts):
        case.problems.append(_ENDLESS)
    case.problems.extend(_beyond_record([c for c, _ in parts], [p for _, p in parts]))
    return Event(
        kind="fall" if mover.gravity else "snatch",
        problems=tuple(case.problems),
        peak_force_N=joined["force"],
        peak_strain=joined["strain"],
        time_to_peak_s=joined["time"],
        strain_rate_per_s=joined["rate"],
        mean_strain_rate_per_s=joined["mean"],
        initial_strain_rate_per_s=joined["initial"],
        run_out_m=joined["run_out"],
    )


def read_case(
    line: Arrangement,
    mover: Mover,
    preload: ArrayLike,
    damping: Damping | None,
    slip: Slip | None,
    watch: int,
) -> Case:
    """Check and broadcast one shock; the arguments are those of `shock`."""
    lines = line.lines()
    if not 0 <= watch < len(lines):
        raise InputError(f"line number {watch} of {len(lines)}", "a line of the arrangement")
    damping, slip = damping or Damping(), slip or Slip(np.inf)
    own = np.maximum(line.weight_mass(), 0.0)
    v = columns(
        {
            "mass": mover.mass,
            "closing_speed": mover.closing_speed,
            "steady_load": mover.steady_load,
            "preload": preload,
            "damping": damping.time_s,
            "damping_ratio": damping.ratio,
            "slip_force": slip.force,
            "run_out": slip.run_out,
            "line_mass": own,
            "line": np.zeros(_draws_of(line)),
        }
    )
    mass = v["mass"] + v["line_mass"] / 3
    weight = STANDARD_GRAVITY_M_PER_S2 * (v["mass"] + v["line_mass"] / 2)
    drive = v["steady_load"] + (weight if mover.gravity else 0.0)
    start = np.broadcast_to(line.extension(v["preload"]), mass.shape).astype(np.float64)
    if (v["preload"] > v["slip_force"]).any():
        raise InputError("a preload above the slip force", "a preload below it", column="preload")
    motion = Motion(mass, v["closing_speed"], drive, start, v["slip_force"], v["run_out"])
    case = Case(line, motion, _viscosity(line, motion, v), v["closing_speed"], watch)
    share = float(np.median(v["line_mass"] / v["mass"]))
    if share > 0.5:
        case.problems.append(
            Problem(
                "line-heavy-for-its-load",
                f"the line weighs {share:.2g} times the moving mass; a third of it counted as "
                "moving is a rule for light lines (waves along the line are left out); "
                "above 0.5 take the force as a rough value",
            )
        )
    return case


def _draws_of(line: Arrangement) -> int:
    """Count the draws that the line's own parameters bring along."""
    one = np.ones(1)
    return int(np.broadcast(line.force(one), line.extension(one), line.weight_mass()).size)


def _viscosity(line: Arrangement, motion: Motion, v: Mapping[str, FloatArray]) -> FloatArray:
    time, ratio = v["damping"], v["damping_ratio"]
    if (time > 0).any() and (ratio > 0).any():
        raise InputError("damping given as a time and as a ratio", "one of the two")
    if not ((time > 0).any() or (ratio > 0).any()):
        return np.zeros_like(time)
    k = line.spring_rate()
    if k is None:
        top = undamped.elastic_peak(line, motion)
        k = line.force(top) / np.maximum(top, 1e-300)
    critical = 2 * np.sqrt(k * motion.mass)
    c = np.where(time > 0, time * k, ratio * critical)
    worst = float((c / critical).max())
    if worst > _MAX_RATIO:
        raise InputError(
            f"damping of {worst:.3g} times the critical one",
            f"at most {_MAX_RATIO:g} times",
            column="damping",
        )
    return np.asarray(c)


def _closed_form(case: Case) -> Peak | None:
    """Linear without slip: exact, with or without damping.

    All lines then carry their forces in proportion, so half of the whole is half of each.
    """
    rate = case.line.spring_rate()
    if rate is None:
        return None
    m = case.motion
    k = np.broadcast_to(rate, m.mass.shape)
    if (case.viscosity > 0).any():
        return damped.solve(k, case.viscosity, m)
    return linear.solve(linear.Spring(m.mass, m.speed, k, m.drive, m.start))


def _solve(case: Case) -> Peak:
    still = case.viscosity <= 0
    if still.all():
        watch = case.watch

        def half_of(x: FloatArray) -> FloatArray:
            line = case.line.lines()[watch]
            own = line.force(case.line.states(x)[watch])
            return case.line.extension_where(watch, own / 2)

        return undamped.solve(case.line, case.motion, half_of)
    return tracking.solve(tracking.system_of(case.line, case.viscosity, case.motion))


def _take(case: Case, rows: slice) -> Case:
    return Case(
        case.line.take(rows),
        case.motion.take(rows),
        case.viscosity[rows],
        case.speed[rows],
        case.watch,
    )


def _watched(case: Case, peak: Peak) -> dict[str, FloatArray]:
    """Force, strain and rates of the watched line."""
    line: Line = case.line.lines()[case.watch]
    top, half, start = (
        case.line.states(x)[case.watch] for x in (peak.extension, peak.half, case.motion.start)
    )
    elastic, own = case.line.force(peak.extension), line.force(top)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(elastic > 0, own / elastic, 1.0)
        rate = np.where(peak.rise_s > 0, (top - half) / peak.rise_s / line.length, 0.0)
        mean = np.where(peak.time_s > 0, (top - start) / peak.time_s / line.length, 0.0)
    initial = case.speed / case.line.span()
    # A force that peaks at once (strong damping) has no rise: its rate is the closing rate.
    rate = np.where((peak.rise_s <= 0) & (case.viscosity > 0), initial, rate)
    mean = np.where((peak.time_s <= 0) & (case.viscosity > 0), initial, mean)
    return {
        "force": peak.force * share,
        "strain": np.broadcast_to(top / line.length, peak.force.shape),
        "time": peak.time_s,
        "rate": rate,
        "mean": mean,
        "initial": np.broadcast_to(initial, peak.force.shape),
        "run_out": peak.run_out,
    }


def _beyond_record(cases: list[Case], peaks: list[Peak]) -> list[Problem]:
    shares = [
        line.beyond_record(state)
        for case, peak in zip(cases, peaks, strict=True)
        for line, state in zip(case.line.lines(), case.line.states(peak.extension), strict=True)
    ]
    worst = max(shares, default=0.0)
    if worst <= 0:
        return []
    return [
        Problem(
            "beyond-recorded-line",
            f"in up to {100 * worst:.2g} % of the draws the strain passes the last point of the "
            "recorded loading curve, which is continued straight at its last slope; record a pull "
            "to a higher force",
        )
    ]
