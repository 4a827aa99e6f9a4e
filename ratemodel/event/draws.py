"""A use case sampled into an event: joint rows from one stream."""

from __future__ import annotations

from dataclasses import replace
from typing import TypedDict

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event.checks import columns
from ratemodel.event.course import Course, course
from ratemodel.event.laws import Law, Linear, PowerLaw, Recorded
from ratemodel.event.lines import Arrangement, Line, Parallel, Series
from ratemodel.event.loading import Damping, Mover, Slip
from ratemodel.event.result import Event
from ratemodel.event.shock import shock
from ratemodel.records.tables import Use

_NEEDED = {
    "fall": ("mass", "fall", "line_length", "stiffness"),
    "snatch": ("mass", "closing_speed", "line_length", "stiffness"),
    "steady": ("load",),
    "rate": ("strain_rate",),
}


def sample_quantities(use: Use, draws: int, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Joint draws of all quantities of a use case, each of shape ``(draws,)``.

    Scrambled Sobol points (Owen 1998), rows shuffled so that they may be paired with joint draws
    of a fit without any order in common.
    """
    names = sorted(use.quantities)
    points = _points(len(names), draws, rng)
    return {name: use.quantities[name].from_uniform(points[:, i]) for i, name in enumerate(names)}


def _points(columns_: int, draws: int, rng: np.random.Generator) -> FloatArray:
    from scipy.stats import qmc

    if draws < 1:
        raise InputError(f"{draws} draws", "at least 1 draw")
    if not columns_:
        return np.empty((draws, 0))
    power = int(np.ceil(np.log2(max(draws, 2))))
    points = qmc.Sobol(columns_, scramble=True, rng=rng).random_base2(power)[:draws]
    return np.asarray(np.clip(rng.permutation(points, axis=0), 1e-12, 1 - 1e-12))


def widened_event_draws(
    use: Use,
    draws: int,
    rng: np.random.Generator,
    *,
    widen: float = 2.0,
    curve: Recorded | None = None,
) -> tuple[Event, FloatArray]:
    """Event draws sampled more widely than they occur, with the weights that undo it.

    Importance sampling for odds below about 1e-4, where the rare hard events decide: every
    quantity that is not fixed is drawn with its normal score stretched by ``widen``. The weight of
    a draw is the ratio of the densities; the weights average 1.

    Parameters
    ----------
    use, draws, rng, curve
        As in `event_draws`.
    widen : float
        1 or above; 1.5 to 3 serve a few quantities, with many the weights grow uneven.

    Returns
    -------
    event : Event
    weights : array
        Shape ``(draws,)``.

    Raises
    ------
    InputError
        As `event_draws`, or ``widen`` below 1.
    """
    from scipy.special import ndtr, ndtri

    if not widen >= 1:
        raise InputError(f"widen is {widen:g}", "1 or above")
    _check_names(use, curve)
    names = sorted(use.quantities)
    varying = [n for n in names if use.quantities[n].kind != "fixed"]
    score = ndtri(_points(len(varying), draws, rng))
    wide = np.clip(ndtr(widen * score), 1e-300, 1 - 1e-16)
    weights = np.prod(widen * np.exp(-0.5 * (widen**2 - 1) * score**2), axis=1)
    q = {n: use.quantities[n].from_uniform(np.full(draws, 0.5)) for n in names}
    q |= {n: use.quantities[n].from_uniform(wide[:, i]) for i, n in enumerate(varying)}
    return replace(_dispatch(use, q, curve), inputs=q), weights


def event_draws(
    use: Use, draws: int, rng: np.random.Generator, *, curve: Recorded | None = None
) -> Event:
    """Event of a use case, its distributions sampled jointly.

    Parameters
    ----------
    use : Use
        ``kind`` chooses the event. Beside the names listed there, a fall or snatch may have
        ``exponent`` or ``stiffness_exponent`` (power law, ``stiffness`` then being the force at
        unit strain), ``damping`` (s) or ``damping_ratio``, ``slip_force`` (N) with ``run_out``
        (m), ``preload`` (N), ``steady_load`` (N), ``line_weight`` (kg/m) or ``line_mass`` (kg), a
        sling in series by ``sling_length`` (m) and ``sling_stiffness`` (N per unit strain), and a
        second line in parallel by ``second_length`` (m), ``second_stiffness`` (N per unit strain)
        and ``second_slack`` (m). Option ``gravity = true`` makes a snatch vertical; without it a
        preload is taken to keep acting. The force read is that of the first line.
    draws : int
        Number of joint rows.
    rng : numpy.random.Generator
        The only source of randomness.
    curve : Recorded, optional
        Recorded loading curve in place of the stiffness.

    Returns
    -------
    Event
        With ``inputs`` holding the sampled quantities. Kind ``"rate"`` has no demand
        (``peak_force_N`` is None), kind ``"steady"`` has its load as demand and no rate.

    Raises
    ------
    InputError
        A quantity that the kind needs is missing, or a draw is impossible.
    """
    _check_names(use, curve)
    q = sample_quantities(use, draws, rng)
    return replace(_dispatch(use, q, curve), inputs=q)


def event_of(use: Use, quantities: dict[str, FloatArray], curve: Recorded | None = None) -> Event:
    """Event of a use for given values of all its quantities, each of shape ``(draws,)``."""
    _check_names(use, curve)
    return replace(_dispatch(use, quantities, curve), inputs=quantities)


def median_course(use: Use, *, curve: Recorded | None = None) -> Course:
    """Course of a fall or snatch with every quantity at its median."""
    if use.kind not in ("fall", "snatch"):
        raise InputError(f"use {use.name!r} is of kind {use.kind}", "a fall or a snatch")
    _check_names(use, curve)
    q = {n: np.array([d.median]) for n, d in use.quantities.items()}
    return replace(course(**_setup(use, q, curve)), name=use.name)


def _check_names(use: Use, curve: Recorded | None) -> None:
    needed = [n for n in _NEEDED[use.kind] if curve is None or n != "stiffness"]
    pairs = (
        ("run_out", "slip_force"),
        ("sling_length", "sling_stiffness"),
        ("sling_stiffness", "sling_length"),
        ("second_length", "second_stiffness"),
        ("second_stiffness", "second_length"),
        ("second_slack", "second_length"),
    )
    if curve is None and use.options.get("line") == "recorded":
        raise InputError(
            f"use {use.name!r} has a recorded line but no loading curve was given",
            "curve = recorded_curve(campaign, use)",
            column=f"use.{use.name}.log",
        )
    needed += [other for name, other in pairs if name in use.quantities]
    missing = [n for n in needed if n not in use.quantities]
    if missing:
        raise InputError(
            f"use {use.name!r} of kind {use.kind} lacks {', '.join(missing)}",
            f"all of {', '.join(needed)}",
            column=f"use.{use.name}.{missing[0]}",
        )


def _dispatch(use: Use, q: dict[str, FloatArray], curve: Recorded | None) -> Event:
    if use.kind == "rate":
        rate = columns({"strain_rate": q["strain_rate"]})["strain_rate"]
        return Event("rate", strain_rate_per_s=rate)
    if use.kind == "steady":
        v = columns({n: q[n] for n in ("load", "duration") if n in q})
        return Event("steady", peak_force_N=v["load"], duration_s=v.get("duration"))
    return replace(shock(**_setup(use, q, curve)), kind=use.kind)


class _Setup(TypedDict):
    line: Arrangement
    mover: Mover
    preload: FloatArray
    damping: Damping
    slip: Slip | None


def _setup(use: Use, q: dict[str, FloatArray], curve: Recorded | None) -> _Setup:
    """Arguments of `shock` for a fall or a snatch."""
    zero = np.zeros(1)
    line = _line(q, curve)
    preload = q.get("preload", zero)
    slip = Slip(q["slip_force"], q.get("run_out", np.inf)) if "slip_force" in q else None
    damping = Damping(q.get("damping", zero), q.get("damping_ratio", zero))
    gravity = use.kind == "fall" or bool(use.options.get("gravity", False))
    steady = q.get("steady_load", zero if gravity else preload)
    if use.kind == "fall":
        dropped = Mover.falling(q["mass"], q["fall"])
        mover = replace(dropped, steady_load=steady)
    else:
        mover = Mover(q["mass"], q["closing_speed"], gravity, steady)
    return _Setup(line=line, mover=mover, preload=preload, damping=damping, slip=slip)


def _line(q: dict[str, FloatArray], curve: Recorded | None) -> Arrangement:
    """The line, with what is in parallel and in series with it; the line itself comes first."""
    exponent = q.get("exponent", q.get("stiffness_exponent"))
    law: Law
    if curve is not None:
        law = curve
    elif exponent is not None:
        law = PowerLaw(q["stiffness"], exponent)
    else:
        law = Linear(q["stiffness"])
    length = q["line_length"]
    weight = q.get("line_weight")
    mass = q.get("line_mass", np.zeros(1)) if weight is None else weight * length
    line: Arrangement = Line(law, length, mass)
    if "second_length" in q:
        second = Line(Linear(q["second_stiffness"]), q["second_length"])
        line = Parallel((line, second), (np.zeros(1), q.get("second_slack", np.zeros(1))))
    if "sling_length" in q:
        line = Series((line, Line(Linear(q["sling_stiffness"]), q["sling_length"])))
    return line
