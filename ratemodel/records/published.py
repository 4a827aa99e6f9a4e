"""Published rate effects that come with the package, each with its source and how it was seen."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal, TypeAlias, cast

Seen: TypeAlias = Literal["abstract", "table", "memory"]


@dataclass(frozen=True)
class PublishedSlope:
    """A published change of ln strength per decade of strain rate.

    Attributes
    ----------
    slope, sd : float
        Per decade; ``sd_origin`` says where the standard deviation comes from.
    decades : float
        Width of the range of rates.
    how_seen : {"abstract", "table", "memory"}
        What was read of the source; memory: nothing, it was recalled.
    """

    fibre: str
    construction: str
    slope: float
    sd: float
    decades: float
    how_seen: Seen
    sd_origin: str
    source: str


def published_slopes() -> tuple[PublishedSlope, ...]:
    """Every published slope in the package's table.

    Examples
    --------
    >>> all(row.source and row.sd > 0 for row in published_slopes())
    True
    """
    text = (files("ratemodel") / "archive_data" / "published_slopes.csv").read_text("utf-8")
    return tuple(
        PublishedSlope(
            row["fibre"], row["construction"], float(row["slope_per_decade"]),
            float(row["slope_sd"]), float(row["decades"]), cast(Seen, row["how_seen"]),
            row["sd_origin"], row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )  # fmt: skip
