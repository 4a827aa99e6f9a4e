"""A result of any kind as a flat table of numbers and words, to be compared with an earlier one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass

import numpy as np

Value = float | str | None | list[float | None]
#: Across platforms, Pythons and versions of numpy and scipy: relative to the size of the value, or
#: of the spread of an array, and absolute below a thousandth of that. Same platform: same bytes.
RELATIVE, ABSOLUTE = 1e-5, 1e-9
_SKIPPED = {
    "series",
    "data",
    "campaign",
    "pedigree",
    "lmfit_result",
    "software",
    "curves",
    "rng",
    "fit",
    "used",
}


def digest(result: object, path: str = "") -> dict[str, Value]:
    """Numbers and words of a result by their path; long arrays by what describes them."""
    return dict(_walk(result, path))


def _walk(x: object, path: str) -> Iterator[tuple[str, Value]]:
    if x is None or isinstance(x, bool | np.bool_):
        yield path, str(x)
    elif isinstance(x, int | float | np.integer | np.floating):
        yield path, _plain(float(x))
    elif isinstance(x, str):
        yield path, x
    elif isinstance(x, np.ndarray):
        yield from _array(x, path)
    elif isinstance(x, Mapping):
        for key, value in x.items():
            if str(key) not in _SKIPPED:
                yield from _walk(value, f"{path}/{key}")
    elif isinstance(x, tuple | list):
        if x and all(isinstance(v, int | float) and not isinstance(v, bool) for v in x):
            yield from _array(np.array(x, float), path)
        else:
            yield f"{path}/len", float(len(x))
            for i, value in enumerate(x):
                yield from _walk(value, f"{path}/{i}")
    elif is_dataclass(x):
        for f in fields(x):
            if f.name not in _SKIPPED and not f.name.startswith("_"):
                yield from _walk(getattr(x, f.name), f"{path}/{f.name}")


def _array(x: np.ndarray, path: str) -> Iterator[tuple[str, Value]]:
    flat = np.asarray(x, float).ravel() if x.dtype.kind in "biuf" else None
    if flat is None:
        yield path, ",".join(map(str, x.ravel()[:20]))
        return
    known = flat[np.isfinite(flat)]
    row = [float(v) for v in x.shape] + [float(known.size)]
    if flat.size <= 6:
        yield path, row + [_plain(float(v)) for v in flat]
    elif known.size:
        turns = np.cos(np.arange(known.size))  # tells orders apart
        told = [known.min(), known.max(), known.mean(), known.std(), float(turns @ known)]
        yield path, row + [_plain(float(v)) for v in told]
    else:
        yield path, row


def _plain(v: float) -> float | None:
    return float(f"{v:.10g}") if np.isfinite(v) else None


def differences(now: Mapping[str, Value], then: Mapping[str, Value]) -> list[str]:
    """Each path at which two digests differ by more than the tolerance."""
    out = [f"{p}: {'gone' if p in then else 'new'}" for p in sorted(now.keys() ^ then.keys())]
    for path in sorted(now.keys() & then.keys()):
        a, b = now[path], then[path]
        if type(a) is not type(b) or not _close(a, b):
            out.append(f"{path}: was {b}, is {a}")
    return out


def _close(a: Value, b: Value) -> bool:
    if isinstance(a, str) and isinstance(b, str):
        return a == b or _same_text(a, b)
    if not isinstance(a, float | list):
        return a == b
    x, y = (np.array(v, float).ravel() for v in (a, b))
    if x.shape != y.shape or not np.array_equal(np.isnan(x), np.isnan(y)):
        return False
    size = np.maximum(np.abs(x), np.abs(y))
    if isinstance(a, list):  # entries of one quantity share its size
        size = np.maximum(size, 1e-3 * np.nanmax(size, initial=0.0))
    near = np.abs(x - y) <= RELATIVE * size + ABSOLUTE * np.minimum(1.0, size)
    return bool(np.all(near | np.isnan(x)))


_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")


def _same_text(a: str, b: str) -> bool:
    """Equal but for numbers one apart in their last digit: rounding may fall either way."""
    if _NUMBER.sub("\0", a) != _NUMBER.sub("\0", b):
        return False
    for x, y in zip(_NUMBER.findall(a), _NUMBER.findall(b), strict=True):
        digits = len(x.partition("e")[0].partition(".")[2])
        unit = 10.0 ** (int(x.partition("e")[2] or 0) - digits)
        if abs(float(x) - float(y)) > 1.5 * unit:
            return False
    return True
