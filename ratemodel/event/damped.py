"""Linear line with Kelvin–Voigt damping: closed form, under-, over- and critically damped."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.event.motion import Motion, Peak
from ratemodel.event.roots import increasing_root


def solve(stiffness: FloatArray, viscosity: FloatArray, motion: Motion) -> Peak:
    """Peak of m x'' + c x' + k x = D without slip.

    The force above the drive, G = k x + c x' − D = −m x'', obeys the same equation as x, so
    G(t) = e^{−at} (G₀ C(t) + (G₀' + a G₀) S(t)) with a = c / 2m and C, S cosine and sine over ω_d
    (their hyperbolic twins when overdamped). The force peaks where G' = 0: before the extension
    does. A mass that does not move back at the start always comes to rest by being slowed, so the
    force passes the drive and has a summit, overdamped or not.

    Parameters
    ----------
    stiffness, viscosity : array
        k (N/m) and c (N s/m), shape ``(draws,)``.
    motion : Motion
        Slip is not looked at.
    """
    wave = _Wave(stiffness, viscosity, motion)
    peak_time = wave.first_summit()
    force, first = wave.force(peak_time), wave.force(np.zeros_like(peak_time))
    peak_time = np.where(first >= force, 0.0, peak_time)
    force = np.maximum(first, force)
    half_time = np.where(force / 2 <= first, 0.0, wave.when(force / 2, peak_time))
    return Peak(
        force=force,
        extension=wave.extension(peak_time),
        half=wave.extension(half_time),
        time_s=peak_time,
        rise_s=peak_time - half_time,
        run_out=np.zeros_like(force),
    )


class _Wave:
    """Force and extension of the damped motion as functions of time, all draws at once."""

    def __init__(self, k: FloatArray, c: FloatArray, motion: Motion) -> None:
        self.k, self.c, self.motion = k, c, motion
        m = motion.mass
        self.a = c / (2 * m)
        self.square = k / m - self.a**2  # ω_d², negative when overdamped
        self.w = np.sqrt(np.abs(self.square))
        self.y0 = motion.start - motion.drive / k
        self.g0 = k * self.y0 + c * motion.speed
        self.dg0 = k * motion.speed - c * self.g0 / m

    def _pair(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """e^{−at} C(t) and e^{−at} S(t); the exponentials are merged so that none overflows."""
        wt = self.w * t
        over = self.square < 0
        small = wt < 1e-6
        w = np.where(self.w > 0, self.w, 1.0)
        decay = np.exp(-self.a * t)
        slow = np.exp(np.where(over, (self.w - self.a) * t, 0.0))
        fast = np.exp(np.where(over, -(self.w + self.a) * t, 0.0))
        cosine = np.where(over, (slow + fast) / 2, decay * np.cos(wt))
        sine = np.where(over, (slow - fast) / (2 * w), decay * np.sin(wt) / w)
        return cosine, np.where(small, decay * t, sine)

    def force(self, t: FloatArray) -> FloatArray:
        """Total force in the line (N)."""
        cosine, sine = self._pair(t)
        return self.motion.drive + self.g0 * cosine + (self.dg0 + self.a * self.g0) * sine

    def slope(self, t: FloatArray) -> FloatArray:
        """Rate of the force (N/s)."""
        cosine, sine = self._pair(t)
        square = self.k / self.motion.mass
        return self.dg0 * cosine - (self.a * self.dg0 + square * self.g0) * sine

    def extension(self, t: FloatArray) -> FloatArray:
        """Extension (m)."""
        cosine, sine = self._pair(t)
        static = self.motion.drive / self.k
        return static + self.y0 * cosine + (self.motion.speed + self.a * self.y0) * sine

    def first_summit(self) -> FloatArray:
        """Time of the first maximum of the force; 0 where it only falls."""
        rise = self.dg0
        turn = self.a * self.dg0 + self.k / self.motion.mass * self.g0
        w = np.where(self.w > 0, self.w, 1.0)
        swinging = np.arctan2(w * rise, turn) / w
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(turn > 0, rise / turn, np.inf)
            hyperbolic = np.arctanh(np.minimum(w * ratio, 1.0)) / w
        flat = np.abs(self.square) < 1e-12 * self.k / self.motion.mass
        time = np.where(self.square > 0, swinging, hyperbolic)
        time = np.where(flat, ratio, time)
        # Let go at rest without damping the force starts level at its lowest, not at a summit.
        time = np.where((rise < 0) | ((rise == 0) & (self.g0 >= 0)), 0.0, time)
        return np.where(np.isfinite(time), time, 0.0)

    def when(self, level: FloatArray, end: FloatArray) -> FloatArray:
        """Time at which the rising force passes a level before ``end``."""
        return increasing_root(self.force, self.slope, level, np.zeros_like(end), end)
