"""What a person would read of a jig, and what its recordings pick up, drawn anew for each trial of a count."""

import numpy as np

from . import driver_bench
from .driver_bench import Jig

RATE = 48000
JIGS = [Jig("series-high", 22.0, 0.05, 50e3, 0.2), Jig("sense-low", 12.0, 0.05, 50e3, 0.2), Jig("series-high", 47.0, 0.0, generator_ohm=5.0)]
# Standard uncertainties that the files state, in per cent.
STATED = {"series": 0.3, "scale": 0.1, "mass": 0.8, "box": 1.0, "area": 1.5, "meter": 0.4}
CLOCK = 50e-6  # limits of a crystal as the program takes them: nobody reads them, so no field states them


def read(random, value, percent):
    return float(value * (1 + percent / 100 * random.standard_normal()))


def read_bench(random, jig):
    scale = {"uncertainty_percent": STATED["scale"]}
    return driver_bench.bench_text(jig, {"sample_rate_hz": RATE}, {"volts_at_full_scale": read(random, driver_bench.INPUT_V, STATED["scale"]), **scale},
                                   {"volts_at_full_scale": read(random, driver_bench.INPUT_V, STATED["scale"]), **scale},
                                   {"series_ohm": read(random, jig.series_ohm, STATED["series"]), "uncertainty_percent": STATED["series"]})


def with_noise(clean, random, noise_db=-66.0, hum_db=-50.0):
    """Noise of each input's own, hum that a loop brings into both unlike."""
    loud = np.sqrt(np.mean(clean[:, 0] ** 2))
    time = np.arange(len(clean)) / RATE
    hum = loud * 10 ** (hum_db / 20) * np.sin(2 * np.pi * random.uniform(49.95, 50.05) * time + random.uniform(0, 6.28))
    return clean + loud * 10 ** (noise_db / 20) * random.standard_normal(clean.shape) + hum[:, None] * [0.4, 1.0]
