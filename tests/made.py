"""Small series made in memory for the tests of the inference room."""

import numpy as np

from ratemodel.records.tables import Series, Specimens


def series(u, y, *, broke=None, batch=None, machine=None, extra=None, **kwargs) -> Series:
    """Series from log10 rates and ln strengths."""
    u, y = np.asarray(u, float), np.asarray(y, float)
    n = u.size
    blank, none = ("",) * n, np.full(n, np.nan)
    columns = {
        "specimen": tuple(f"s{i}" for i in range(n)),
        "strength": np.exp(y),
        "broke": np.ones(n, bool) if broke is None else np.asarray(broke, bool),
        "strain_rate_per_s": 10.0**u,
        "batch": blank if batch is None else tuple(batch),
        "machine": blank if machine is None else tuple(machine),
        "free_length_m": none,
        "strain_at_break": none,
        "preload_fraction": none,
        "preload_cycles": none,
        "temperature_K": none,
        "termination": blank,
        "failure_site": blank,
        "strands_intact": none,
        "excluded": blank,
        "log": blank,
        "note": blank,
        "summary": np.zeros(n, bool),
        "row": tuple(range(2, n + 2)),
    }
    columns.update(extra or {})
    aside = {k: (v[:0] if not isinstance(v, tuple) else ()) for k, v in columns.items()}
    return Series("cord", Specimens(**columns), Specimens(**aside), **kwargs)
