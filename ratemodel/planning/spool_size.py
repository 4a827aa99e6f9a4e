"""How many specimens find a spool effect: power of the one-way F test with random effects."""

from __future__ import annotations

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.planning.sample_size import MOST, SampleSize, check_numbers, least_number


def power_of_spool_effect(spools: int, per_spool: int, spool_sd: float, scatter: float, *,
                          level: float = 0.95) -> float:  # fmt: skip
    r"""Probability that the one-way F test finds that spools differ.

    With spools drawn at random, :math:`F/(1 + n\tau^2/\sigma^2)` follows the F distribution with
    a - 1 and a(n - 1) degrees of freedom.

    Parameters
    ----------
    spools, per_spool : int
        a and n.
    spool_sd, scatter : float
        tau and sigma, standard deviations of ln S between spools and within one.
    level : float
        Confidence of the test.

    References
    ----------
    Scheffe, The Analysis of Variance (1959), section 7.2 (from memory).

    Examples
    --------
    With no spool effect the test raises a false alarm in 5 %:

    >>> round(power_of_spool_effect(4, 5, 0.0, 0.03), 6)
    0.05
    """
    from scipy.stats import f

    check_numbers(scatter=scatter, level=level)
    if spool_sd < 0:
        raise InputError(f"spool scatter {spool_sd:g}", "0 or more")
    if spools < 2 or per_spool < 2:
        return 0.0
    dof = (spools - 1, spools * (per_spool - 1))
    growth = 1 + per_spool * (spool_sd / scatter) ** 2
    return float(f.sf(f.isf(1 - level, *dof) / growth, *dof))


def specimens_for_spool_effect(spool_sd: float, scatter: float, power: float = 0.9, *,
                               level: float = 0.95, spools: int | None = None
                               ) -> SampleSize:  # fmt: skip
    """Fewest specimens that find a spool effect with a power.

    Parameters
    ----------
    spools : int, optional
        Number of spools at hand; None: the number that takes the fewest specimens in all.

    Raises
    ------
    NotIdentifiedError
        So few spools cannot show it with that power, however many specimens each gives.
    """
    check_numbers(scatter=scatter, level=level, power=power)
    if not spool_sd > 0:
        raise InputError(f"spool scatter {spool_sd:g}", "a number above 0")

    def most(a: int) -> float:
        return power_of_spool_effect(a, MOST, spool_sd, scatter, level=level)

    best: tuple[int, int] | None = None
    if spools is not None and (spools < 2 or most(spools) < power):
        raise NotIdentifiedError(
            f"{spools} spools show such an effect with a power of {power:g} at no number of "
            "specimens; take more spools"
        )
    for a in [spools] if spools is not None else range(2, 2001):
        if best is not None and 2 * a > best[0] * best[1]:
            break
        if most(a) < power:
            continue

        def reached(n: int, a: int = a) -> float:
            return power_of_spool_effect(a, n, spool_sd, scatter, level=level)

        n = least_number(reached, power, 2)
        if best is None or a * n < best[0] * best[1]:
            best = (a, n)
    if best is None:
        raise NotIdentifiedError("more than 2000 spools would be needed; look for a larger effect")
    a, n = best
    text = f"spools that differ by {100 * spool_sd:.3g} % at a scatter of {100 * scatter:.3g} %"
    return SampleSize(text, (n,) * a, a * n,
                      power_of_spool_effect(a, n, spool_sd, scatter, level=level))  # fmt: skip
