"""Amplifiers without memory: each takes the volts of an ideal, undistorted output and gives the real ones."""

import numpy as np


def straight(x):
    return np.array(x, float)


def hard_clip(rail_v):
    return lambda x: np.clip(x, -rail_v, rail_v)


def uneven_rails(positive_v, negative_v):
    return lambda x: np.clip(x, -negative_v, positive_v)


def one_sided(rail_v):
    """Only the positive peaks are held."""
    return lambda x: np.minimum(x, rail_v)


def dead_zone(half_width_v):
    return lambda x: np.sign(x) * np.maximum(np.abs(x) - half_width_v, 0.0)


def polynomial(a2, a3):
    """a2 per volt, a3 per volt squared."""
    return lambda x: x + a2 * x * x + a3 * x * x * x


def soft_clip(rail_v, order=4):
    """Rounded knee: x / (1 + |x/rail|^order)^(1/order)."""
    return lambda x: x / (1 + np.abs(x / rail_v) ** order) ** (1 / order)


def foldback(rail_v, from_v, slope, floor_v):
    """Flat at the rail; an ideal output beyond from_v makes the real one fall, down to floor_v."""
    def law(x):
        size = np.abs(x)
        held = np.minimum(size, rail_v)
        return np.sign(x) * np.where(size > from_v, np.maximum(held - slope * (size - from_v), floor_v), held)
    return law


def chain(*laws):
    def law(x):
        for part in laws:
            x = part(x)
        return x
    return law
