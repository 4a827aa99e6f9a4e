"""Creep curves, and all of them pooled as one set of points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError, Problem
from ratemodel.models.creep_base import CreepPoints, CreepReference, creep_points

_MOST = 200  # readings kept per curve


@dataclass(frozen=True)
class CreepCurve:
    """Strain of one specimen under a constant load.

    Attributes
    ----------
    time_s, strain : ndarray, shape (n,)
        Time since loading, above 0 and rising; strain.
    load_N : float
        Load held.
    temperature_K : float
        NaN where not known.
    specimen : str
        For messages.
    """

    time_s: FloatArray
    strain: FloatArray
    load_N: float
    temperature_K: float = float("nan")
    specimen: str = ""

    def __post_init__(self) -> None:
        time = np.array(self.time_s, dtype=np.float64)
        strain = np.array(self.strain, dtype=np.float64)
        if time.ndim != 1 or time.shape != strain.shape:
            raise InputError(
                f"creep of {self.specimen or 'a specimen'}: {time.size} times, {strain.size} "
                "strains",
                "as many strains as times",
            )
        good = np.isfinite(time) & np.isfinite(strain)
        if not np.all(good) or np.any(np.diff(time) < 0) or not self.load_N > 0:
            raise InputError(
                f"creep of {self.specimen or 'a specimen'}: a reading is not finite, time runs "
                "back, or the load is not above 0",
                "finite readings in order of time under a load above 0",
            )
        keep = time > 0  # the moment of loading has no place on a log-time axis
        object.__setattr__(self, "time_s", time[keep])
        object.__setattr__(self, "strain", strain[keep])


def pool(
    curves: Sequence[CreepCurve],
) -> tuple[CreepPoints, FloatArray, CreepReference, tuple[Problem, ...]]:
    """All curves as one set of points; the reference is in their middle.

    A curve of more than 200 readings is averaged in 200 bins even in log time.
    """
    if not curves or sum(len(c.time_s) for c in curves) < 4:
        raise NotIdentifiedError("fewer than four creep readings; nothing can be fitted")
    thin = [_thinned(c.time_s, c.strain) for c in curves]
    time = np.concatenate([t for t, _ in thin])
    strain = np.concatenate([e for _, e in thin])
    sizes = [len(t) for t, _ in thin]
    load = np.repeat([c.load_N for c in curves], sizes)
    kelvin = np.array([c.temperature_K for c in curves])
    known = kelvin[np.isfinite(kelvin)]
    if 0 < len(known) < len(kelvin):
        raise InputError(
            "some creep runs have a temperature and others do not", "a temperature for all or none"
        )
    reference = CreepReference(
        load_N=float(np.exp(np.mean(np.log([c.load_N for c in curves])))),
        temperature_K=float(known.mean()) if len(known) else 293.15,
        time_s=float(np.exp(np.mean(np.log(time)))),
    )
    points = creep_points(time, load, np.repeat(kelvin, sizes), reference)
    if sum(sizes) == sum(len(c.time_s) for c in curves):
        return points, strain, reference, ()
    note = Problem(
        "readings-averaged",
        f"Curves of more than {_MOST} readings were averaged in {_MOST} bins even in log time.",
        "note",
    )
    return points, strain, reference, (note,)


def _thinned(time: FloatArray, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
    if len(time) <= _MOST:
        return time, strain
    edges = np.geomspace(time[0], time[-1], _MOST + 1)[1:-1]
    which = np.searchsorted(edges, time, side="right")
    count = np.bincount(which, minlength=_MOST)
    good = count > 0
    mean_t = np.exp(np.bincount(which, np.log(time), minlength=_MOST)[good] / count[good])
    mean_e = np.bincount(which, strain, minlength=_MOST)[good] / count[good]
    return np.asarray(mean_t), np.asarray(mean_e)
