"""What one task of a large run does: fit a few series and reduce each to plain rows.

Everything here is plain data and module-level functions, so that any executor can carry it to
another process or another machine.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

import ratemodel
from ratemodel.errors import RatemodelError
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.records.tables import Series

#: One cell of the table.
Cell: TypeAlias = str | float | int
FailureKind: TypeAlias = Literal["input", "bug", "lost"]


@dataclass(frozen=True)
class Job:
    """What all series of a run share.

    Attributes
    ----------
    rates : tuple of float
        Strain rates of the table, 1/s.
    options : mapping
        ``Campaign.options``: machine calibration and priors given by the user.
    sha256 : str
        Hash of the campaign's files, kept in each fit's pedigree.
    """

    seed: int
    rates: tuple[float, ...]
    settings: Settings
    options: Mapping[str, object]
    sha256: str


@dataclass(frozen=True)
class Outcome:
    """Rows of one series, or why there are none."""

    name: str
    key: str
    rows: tuple[dict[str, Cell], ...] = ()
    message: str = ""
    kind: FailureKind = "input"


def stream(seed: int, name: str) -> np.random.Generator:
    """Random numbers of one series: the child of ``seed`` that belongs to its name.

    Neither the other series nor their order nor the executor has a part in it, so
    ``fit_rate(series, rng=stream(seed, name))`` is the fit behind the rows of that name.
    """
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).digest()
    words = tuple(int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4))
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=words))


def run_chunk(chunk: Sequence[tuple[str, Series]], job: Job) -> list[Outcome]:
    """Fit a few series; one that fails leaves the others alone."""
    return [_one(name, series, job) for name, series in chunk]


def _one(name: str, series: Series, job: Job) -> Outcome:
    key = key_of(name, series, job)
    try:
        return Outcome(name, key, _rows(name, series, job))
    except RatemodelError as error:
        return Outcome(name, key, message=str(error))
    except Exception as error:  # the other series still want to be fitted
        return Outcome(name, key, message=f"{type(error).__name__}: {error}", kind="bug")


def _rows(name: str, series: Series, job: Job) -> tuple[dict[str, Cell], ...]:
    fit = fit_rate(series, rng=stream(job.seed, name), settings=job.settings, options=job.options,
                   sha256=job.sha256)  # fmt: skip
    curve = fit.curve(np.log10(np.array(job.rates)))
    unit = series.strength_unit
    columns = {
        "median": curve.median,
        "mean_low": curve.mean_interval[0],
        "mean_high": curve.mean_interval[1],
        "specimen_low": curve.specimen_interval[0],
        "specimen_high": curve.specimen_interval[1],
        "lower_bound": curve.lower_bound,
    }
    tested = fit.tested
    common: dict[str, Cell] = {
        "decades_beyond_data": 0.0,
        "tested_from_per_s": tested[0],
        "tested_to_per_s": tested[1],
        "specimens": len(series.used),
        "censored": int(np.count_nonzero(~series.used.broke)),
        "set_aside": len(series.set_aside),
    }
    common |= {f"odds_{m.model.name}": m.weight for m in fit.models}
    common["problems"] = " ".join(dict.fromkeys(p.code for p in fit.problems))
    common["serious_problems"] = sum(p.severity == "serious" for p in fit.problems)
    rows = []
    for i, rate in enumerate(job.rates):
        row: dict[str, Cell] = {"series": name, "strain_rate_per_s": rate, "unit": unit.symbol}
        row |= {c: unit.from_si(float(np.exp(values[i]))) for c, values in columns.items()}
        row |= {"level": fit.level, "bound": fit.bound.label}
        rows.append(row | common | {"decades_beyond_data": float(curve.decades_beyond[i])})
    return tuple(rows)


def key_of(name: str, series: Series, job: Job) -> str:
    """Hash of everything an outcome follows from: data, settings, seed and version."""
    digest = hashlib.sha256()
    _add(digest, (ratemodel.__version__, np.__version__, name, series, job))
    return digest.hexdigest()


def _add(digest: hashlib._Hash, value: object) -> None:
    """Feed a value to a hash, with the kind and size of each part so that no two run together."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        _mark(digest, type(value).__name__)
        for field in dataclasses.fields(value):
            _mark(digest, field.name)
            _add(digest, getattr(value, field.name))
    elif isinstance(value, np.ndarray):
        _mark(digest, f"array {value.dtype.str} {value.shape}")
        digest.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, Mapping):
        _mark(digest, f"mapping {len(value)}")
        for key in sorted(value, key=repr):
            _mark(digest, repr(key))
            _add(digest, value[key])
    elif isinstance(value, tuple | list):
        _mark(digest, f"sequence {len(value)}")
        for part in value:
            _add(digest, part)
    else:
        _mark(digest, f"{type(value).__name__} {value!r}")


def _mark(digest: hashlib._Hash, text: str) -> None:
    data = text.encode("utf-8", "surrogatepass")
    digest.update(len(data).to_bytes(8, "big") + data)
