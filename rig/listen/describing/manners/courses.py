"""What a measure does over time: goes to and fro at a rate, or steadily one way."""

from __future__ import annotations

import numpy as np

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def best_rate(
    at_s: np.ndarray, values: np.ndarray, least_hz: float, most_hz: float
) -> tuple[float, float, float]:
    """Fit a sine beside a straight line, at the rate that fits best.

    Parameters
    ----------
    at_s, values : ndarray, shape (n,)
        When, and what; a few may be missing.
    least_hz, most_hz : float
        Rates that are tried, `rate_step_hz` apart.

    Returns
    -------
    rate_hz : float
    fit : float
        The part of the variance beside the line that it explains, 0 to 1.
    size : float
        Its amplitude, in the values' unit.
    """
    rates = np.arange(least_hz, most_hz, T.rate_step_hz)
    line = np.stack([np.ones_like(at_s), at_s], axis=1)
    ortho, _ = np.linalg.qr(line)
    rest = values - ortho @ (ortho.T @ values)
    total = float(rest @ rest)
    if total <= 1e-9 or len(at_s) < 8:
        return 0.0, 0.0, 0.0
    waves = np.exp(2j * np.pi * np.outer(rates, at_s))
    cos, sin = (one - (one @ ortho) @ ortho.T for one in (waves.real, waves.imag))
    cc, ss, cs = (np.einsum("ij,ij->i", *two) for two in ((cos, cos), (sin, sin), (cos, sin)))
    c, s = cos @ rest, sin @ rest
    whole = np.maximum(cc * ss - cs**2, 1e-9)
    a, b = (c * ss - s * cs) / whole, (s * cc - c * cs) / whole
    fit = (a * c + b * s) / total
    best = int(np.argmax(fit))
    return float(rates[best]), float(fit[best]), float(np.hypot(a[best], b[best]))


def straight(at_s: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Fit a straight line; gives its slope, per second, and the part of the variance it explains."""
    slope, rest = np.polyfit(at_s, values, 1)
    total = float(np.sum((values - values.mean()) ** 2))
    left = float(np.sum((values - slope * at_s - rest) ** 2))
    return float(slope), 1.0 - left / total if total > 1e-9 else 0.0
