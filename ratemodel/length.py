"""The step from the tested length to the length in use: the weakest link of a longer line.

If breaks are in clear line, a line of length L is as weak as the weakest of L / L₀ pieces of the
tested length L₀. With Weibull strength of shape k, ln S falls by ln(L / L₀) / k. Breaks at a
termination do not multiply with length, so only the share of clear-line breaks counts.

References
----------
Peirce, F. T. (1926), "Tensile tests for cotton yarns V: the weakest link", J. Text. Inst. 17,
T355 (from memory); Weibull, W. (1951), J. Appl. Mech. 18, 293 (from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.records.tables import Distribution, Series, Specimens

#: Standard deviation of ln S times Weibull shape: π/√6.
SHAPE_TIMES_SD = float(np.pi / np.sqrt(6))
_CLEAR = ("clear", "mid", "middle", "line", "free", "gauge", "gage", "centre", "center", "span")
_ENDS = ("termination", "splice", "eye", "knot", "bollard", "anchor", "grip", "clamp", "jaw",
         "pin", "thimble", "sewn", "seam", "stitching", "end", "capstan", "horn", "socket",
         "ferrule", "tuck", "taper")  # fmt: skip


@dataclass(frozen=True)
class BreakSites:
    """Specimens that broke in clear line, at an end, and at a place not told."""

    clear: int
    ends: int
    unknown: int

    @property
    def words(self) -> str:
        """Counts as text."""
        known = self.clear + self.ends
        if not known:
            return "break sites not told: any share of clear-line breaks taken as equally likely"
        tail = f", {self.unknown} not told" if self.unknown else ""
        return f"{self.clear} of {known} breaks in clear line{tail}"


def break_sites(specimens: Specimens) -> BreakSites:
    """Count break sites by the words in the column ``failure_site``.

    A word for an end decides before one for clear line: "line, at the splice" is an end.
    """
    clear = ends = unknown = 0
    for site, broke in zip(specimens.failure_site, specimens.broke, strict=True):
        if not broke:
            continue
        kind = _kind(site)
        clear += kind == "clear"
        ends += kind == "end"
        unknown += kind == ""
    return BreakSites(clear, ends, unknown)


def length_shift(
    series: Series, line_length_m: FloatArray, sigma: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, str] | None:
    r"""ln of the strength at the use's length over that at the tested length, per draw.

    .. math:: \Delta \ln S = -q \ln(L / L_0) / k

    with L₀ the geometric mean of the free lengths tested, q the share of clear-line breaks (Beta
    posterior from a uniform prior, so that unknown sites leave it uniform) and k = π / (√6 σ) from
    the fitted scatter, unless the series states ``length_effect_shape``.

    Parameters
    ----------
    series : Series
        The tests.
    line_length_m, sigma : ndarray, shape (draws,)
        Length in use, and scatter of ln S within a spool.
    rng : numpy.random.Generator
        For the share and a stated shape.

    Returns
    -------
    tuple of ndarray and str, or None
        The shift and its origin; None where no free length was given.
    """
    length = series.used.free_length_m
    known = length[np.isfinite(length) & (length > 0)]
    if not known.size:
        return None
    tested = float(np.exp(np.log(known).mean()))
    sites = break_sites(series.used)
    share = rng.beta(1 + sites.clear, 1 + sites.ends, size=sigma.size)
    stated = series.options.get("length_effect_shape")
    if isinstance(stated, Distribution):
        shape, origin = stated.sample(sigma.size, rng), "stated Weibull shape"
    else:
        shape, origin = SHAPE_TIMES_SD / np.maximum(sigma, 1e-9), "Weibull shape from the scatter"
    shift = -share * np.log(line_length_m / tested) / shape
    return shift, f"weakest link from {tested:.3g} m: {origin}; {sites.words}"


def _kind(site: str) -> str:
    words = re.findall(r"[a-z]+", site.lower())
    stems = {w.removesuffix("s") for w in words} | set(words)
    if stems & set(_ENDS):
        return "end"
    return "clear" if stems & set(_CLEAR) else ""
