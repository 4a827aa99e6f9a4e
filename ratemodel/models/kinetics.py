"""Thermally activated strength: rate and temperature in one law.

Zhurkov's life t_f = t0 exp((U0 - gamma S)/kT) with linear damage on an even pull at the stress
rate s' breaks when the integral of dt/t_f is 1, which gives, exactly,

    S = (kT / gamma) ln(1 + (gamma s' t0 / kT) exp(U0 / kT)).

Far above the bend, S rises by ln(10) kT/gamma per decade of rate. gamma is the activation volume
(m3) with S in Pa; with S as a line load in N it is a length in J/N. U0 is per bond, in J:
1 eV = 1.602176634e-19 J, 1 kJ/mol = 1.66053907e-21 J. Published energies for polyethylene differ
by a factor of two: treat the energy as uncertain.

References
----------
Zhurkov, Int. J. Fract. Mech. 1 (1965) 311; O'Connor & Robbins, J. Chem. Phys. 153 (2020) 144904.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ratemodel.arrays import FloatArray
from ratemodel.models.lifetime import BOLTZMANN_J_PER_K

ELECTRONVOLT_J = 1.602176634e-19  # exact (SI, 2019)
J_PER_KJ_PER_MOL = 1e3 / 6.02214076e23  # exact (SI, 2019)


def thermal_stress_per_decade(
    activation_volume_m3: ArrayLike, temperature_K: ArrayLike
) -> FloatArray:
    """Rise of strength per tenfold rate, ln(10) k T / V, in Pa.

    Examples
    --------
    >>> round(float(thermal_stress_per_decade(45e-30, 300.0)) / 1e6, 1)  # MPa
    211.9
    """
    volume = np.asarray(activation_volume_m3, dtype=np.float64)
    temperature = np.asarray(temperature_K, dtype=np.float64)
    return np.asarray(np.log(10.0) * BOLTZMANN_J_PER_K * temperature / volume)


def kinetic_strength(
    stress_rate_Pa_per_s: ArrayLike,
    temperature_K: ArrayLike,
    energy_J: ArrayLike,
    activation_volume_m3: ArrayLike,
    attempt_time_s: ArrayLike,
) -> FloatArray:
    """Strength at a constant stress rate and temperature; all arguments broadcast.

    Parameters
    ----------
    stress_rate_Pa_per_s : array_like
        Stress rate, above 0.
    temperature_K : array_like
        Temperature, above 0.
    energy_J : array_like
        Barrier U0 per bond at zero stress.
    activation_volume_m3 : array_like
        gamma.
    attempt_time_s : array_like
        t0, some 1e-13 s in Zhurkov's work.

    Returns
    -------
    ndarray
        Strength in Pa (N where the rate is in N/s and gamma in J/N).

    Notes
    -----
    Computed as (kT/gamma) logaddexp(0, ln(gamma s' t0 / kT) + U0/kT): the exponential itself
    overflows for any real barrier.

    Examples
    --------
    Ten times the rate, 212 MPa more, for an activation volume of 45 cubic angstrom at 300 K:

    >>> slow, fast = kinetic_strength([1e6, 1e7], 300.0, 1.5 * ELECTRONVOLT_J, 45e-30, 1e-13)
    >>> round(float(fast - slow) / 1e6, 1)
    211.9
    """
    rate = np.asarray(stress_rate_Pa_per_s, dtype=np.float64)
    kt = BOLTZMANN_J_PER_K * np.asarray(temperature_K, dtype=np.float64)
    gamma = np.asarray(activation_volume_m3, dtype=np.float64)
    drive = np.log(gamma * rate / kt) + np.log(np.asarray(attempt_time_s, dtype=np.float64))
    drive = drive + np.asarray(energy_J, dtype=np.float64) / kt
    return np.asarray(kt / gamma * np.logaddexp(0.0, drive))


def kinetic_life(
    stress_Pa: ArrayLike,
    temperature_K: ArrayLike,
    energy_J: ArrayLike,
    activation_volume_m3: ArrayLike,
    attempt_time_s: ArrayLike,
) -> FloatArray:
    """Life in s at a constant stress, t0 exp((U0 - gamma S)/kT); all arguments broadcast."""
    kt = BOLTZMANN_J_PER_K * np.asarray(temperature_K, dtype=np.float64)
    barrier = np.asarray(energy_J, dtype=np.float64) - np.asarray(
        activation_volume_m3, dtype=np.float64
    ) * np.asarray(stress_Pa, dtype=np.float64)
    with np.errstate(over="ignore"):
        return np.asarray(np.asarray(attempt_time_s, dtype=np.float64) * np.exp(barrier / kt))
