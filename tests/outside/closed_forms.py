"""Harmonics of distorted sines in closed form, and what follows from them.

Formulas: Fourier integrals of the pieces, one integration by parts (any text on Fourier series). Amplitudes are
signed; index n of an array is the n-th harmonic, index 0 the mean. THD counts harmonics 2 .. `top`.
"""

import numpy as np
from scipy.optimize import brentq


def _pair(n, theta):
    """sin((n-1) theta)/(n-1) + sin((n+1) theta)/(n+1) for n >= 2."""
    return np.sin((n - 1) * theta) / (n - 1) + np.sin((n + 1) * theta) / (n + 1)


def hard_clip(c, top):
    """sin(wt) limited at +-c: sine amplitudes."""
    out = np.zeros(top + 1)
    if c >= 1.0:
        out[1] = 1.0
        return out
    theta = np.arcsin(c)
    out[1] = 2 / np.pi * (theta + c * np.sqrt(1 - c * c))
    n = np.arange(3, top + 1, 2)
    out[3::2] = 2 / (np.pi * n) * _pair(n, theta)
    return out


def hard_clip_mean_square(c):
    if c >= 1.0:
        return 0.5
    theta = np.arcsin(c)
    return 2 / np.pi * (theta / 2 - np.sin(2 * theta) / 4 + c * c * (np.pi / 2 - theta))


def one_sided_clip(c, top):
    """cos(wt) whose positive peaks are held at c: cosine amplitudes."""
    out = np.zeros(top + 1)
    out[1] = 1.0
    if c >= 1.0:
        return out
    alpha = np.arccos(c)
    n = np.arange(2, top + 1)
    out[0] = -(np.sin(alpha) - c * alpha) / np.pi
    out[1] -= (alpha + np.sin(alpha) * np.cos(alpha) - 2 * c * np.sin(alpha)) / np.pi
    out[2:] -= (_pair(n, alpha) - 2 * c * np.sin(n * alpha) / n) / np.pi
    return out


def dead_zone(d, top):
    """sin(wt) less a dead zone of half width d: the sine minus the clipped sine."""
    out = -hard_clip(d, top)
    out[1] += 1.0
    return out


def polynomial(a2, a3, amplitude, top):
    """x + a2 x^2 + a3 x^3 for x = A cos(wt)."""
    out = np.zeros(top + 1)
    out[0] = a2 * amplitude**2 / 2
    out[1] = amplitude * (1 + 0.75 * a3 * amplitude**2)
    out[2] = a2 * amplitude**2 / 2
    out[3] = a3 * amplitude**3 / 4
    return out


def by_quadrature(law, amplitude, top, points=1 << 18):
    """The same of any law: cosine amplitudes by the rectangle rule over one period, exact up to the folding of
    harmonics beyond `points`. Only for laws without memory; the input is a cosine."""
    angle = 2 * np.pi * np.arange(points) / points
    spectrum = np.fft.rfft(law(amplitude * np.cos(angle)))[:top + 1].real / points
    spectrum[1:] *= 2
    return spectrum


def thd(harmonics):
    return np.sqrt(np.sum(harmonics[2:] ** 2)) / abs(harmonics[1])


def total(ratio_to_fundamental):
    return ratio_to_fundamental / np.sqrt(1 + ratio_to_fundamental**2)


def rms(harmonics):
    """Of the alternating part, up to the last harmonic given."""
    return np.sqrt(np.sum(harmonics[1:] ** 2) / 2)


def last_upward_crossing(distortion_at, limit, levels_db):
    """Level at which distortion_at(level) goes up through the limit for the last time, None if it never does."""
    values = np.array([distortion_at(level) for level in levels_db])
    up = np.nonzero((values[:-1] < limit) & (values[1:] >= limit))[0]
    if up.size == 0:
        return None
    return brentq(lambda level: distortion_at(level) - limit, levels_db[up[-1]], levels_db[up[-1] + 1], xtol=1e-10)


def onset_peak(peak_at, levels_db):
    """The lowest peak from which +0.5 dB of drive gives less than +0.25 dB of peak. peak_at(level in dB) must be
    positive."""
    def short_of(level):
        return 20 * np.log10(peak_at(level + 0.5) / peak_at(level)) - 0.25
    values = np.array([short_of(level) for level in levels_db])
    below = np.nonzero(values < 0)[0]
    if below.size == 0:
        return None
    first = below[0]
    if first == 0:
        return peak_at(levels_db[0])
    # A kink may make the function jump; bisection finds the place of the change of sign all the same.
    return peak_at(brentq(short_of, levels_db[first - 1], levels_db[first], xtol=1e-10))
