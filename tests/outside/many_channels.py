"""A bench of many channels in numpy: every channel has a scale, a resistor, a gain, noise and hum of its own, so that one
recording is as many trials as it has channels. What the bench file says of each was read with an error drawn from the
uncertainty that the file states; what the recorder hears goes by the truth.

Clock and rate come of going back from one spectrum to another number of frames, which is exact for a band-limited sound.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from . import program
from .bench import at_positions
from .driver_bench import easy_length

SCALE_PERCENT = 0.4     # standard uncertainties that the bench file states
RESISTOR_PERCENT = 0.5
OUTPUT_V = program.OUTPUT_V
SILENCE_S = 1.5


@dataclass
class Bench:
    """Truths as arrays over the channels, and the file that a person would write."""
    channels: int
    random: np.random.Generator
    rate_hz: int = 48000
    open_loads: bool = False             # a second load at each probe that is no load
    spread: float = 0.3                  # of gains from channel to channel
    full_scale_v: float = program.PROBE_V  # at the probe's tip
    truth: dict = field(default_factory=dict)

    def __post_init__(self):
        count, random = self.channels, self.random
        self.volts_per_unit = self.full_scale_v * random.uniform(0.9, 1.1, count)
        # Loads alike, or there is no balance between channels to be told.
        self.ohm = random.choice([2.0, 4.0, 8.0]) * random.uniform(0.995, 1.005, count)
        # Evenly spread and shuffled: which channel is the loudest is no matter of chance.
        self.gain = random.permutation(np.linspace(1 - self.spread / 2, 1 + self.spread / 2, count))
        self.read_scale = self.volts_per_unit * (1 + SCALE_PERCENT / 100 * random.standard_normal(count))
        self.read_ohm = self.ohm * (1 + RESISTOR_PERCENT / 100 * random.standard_normal(count))

    @property
    def loads(self):
        return [f"l{i}" for i in range(self.channels)]

    def text(self, driven=None, outputs=None):
        inputs = [program.probe(f"p{i}", i + 1, volts_at_full_scale=float(self.read_scale[i] / program.ATTENUATION), uncertainty_percent=SCALE_PERCENT)
                  for i in range(self.channels)]
        loads = [program.load(f"l{i}", float(self.read_ohm[i]), f"p{i}", uncertainty_percent=RESISTOR_PERCENT,
                              **({"driven_by": [driven[i]]} if driven else {})) for i in range(self.channels)]
        if self.open_loads:
            loads += [{"name": f"o{i}", "resistance_ohm": float("inf"), "plus": f"p{i}"} for i in range(self.channels)]
        return program.bench_text(loads=loads, inputs=inputs, outputs=outputs, sound={"sample_rate_hz": self.rate_hz})


@dataclass
class Ear:
    """How all channels of one recording are heard. Levels in volts at the probe's tip."""
    rate_hz: int = 48000
    ppm: float = 0.0
    start_s: float = 0.5
    noise_v: float = 1e-3                # RMS over half the rate
    hum_v: float = 0.0                   # RMS
    hum_hz: float = 50.0
    # Effects that the program's model does not have:
    wow_percent: float = 0.0             # peak deviation of the player's speed, at 0.55 Hz
    wandering_hum_v: float = 0.0         # hum whose frequency and size wander
    own_third: float = 0.0               # the recorder's own third harmonic at full scale, as a share
    clicks_v: float = 0.0                # ten a second, one frame long


def in_band_v(noise_v, rate_hz, low_hz=20.0, high_hz=20000.0):
    """White noise of so many volts to half the rate: volts between two frequencies."""
    return noise_v * np.sqrt((high_hz - low_hz) / (rate_hz / 2))


def placed(volts, fine_hz, ear):
    """One channel's volts on a fine grid -> the same sound at the recorder's rate and clock, silence round it."""
    lead = int(SILENCE_S * fine_hz)
    length = next_fast_len(len(volts) + 2 * lead, real=True)
    padded = np.zeros(length)
    padded[lead:lead + len(volts)] = volts
    if ear.wow_percent > 0:
        # Between frames by a polynomial of ten points on four times the rate: straight lines would dull and distort.
        time = np.arange(length) / fine_hz
        swing = ear.wow_percent / 100 / (2 * np.pi * 0.55)
        finer = irfft(rfft(padded, workers=2), 4 * length, workers=2) * 4
        padded = at_positions(finer, (time + swing * np.sin(2 * np.pi * 0.55 * time)) * 4 * fine_hz)
    spectrum = rfft(padded, workers=2)
    ratio = ear.rate_hz / fine_hz * (1 + ear.ppm * 1e-6)
    frames = easy_length(int(round(length * ratio)))
    keep = min(len(spectrum), int(0.48 * ear.rate_hz * length / fine_hz / (1 + ear.ppm * 1e-6)))
    out = np.zeros(frames // 2 + 1, complex)
    out[:keep] = spectrum[:keep]
    return irfft(out, frames, workers=2) * (frames / length)


def recorded(bench, parts, ear, random, gains=None):
    """(frames, channels). `parts`: one sound for all channels, or one for each, in volts at unit gain."""
    gains = bench.gain if gains is None else gains
    shared = np.ndim(parts[0]) == 0
    frames = len(parts) if shared else len(parts[0])
    out = np.empty((frames, bench.channels), np.float32)
    time = np.arange(frames) / ear.rate_hz
    common = np.zeros(frames)
    if ear.hum_v > 0:
        common += np.sqrt(2) * ear.hum_v * np.sin(2 * np.pi * ear.hum_hz * time + random.uniform(0, 6.28))
    if ear.wandering_hum_v > 0:
        walk = 0.1 * np.sin(2 * np.pi * 0.23 * time) / 0.23
        common += np.sqrt(2) * ear.wandering_hum_v * (1 + 0.3 * np.sin(2 * np.pi * 0.31 * time)) * np.sin(2 * np.pi * 50 * time + walk)
    for i in range(bench.channels):
        volts = gains[i] * (parts if shared else parts[i]) + common + ear.noise_v * random.standard_normal(frames, np.float32)
        if ear.clicks_v > 0:
            where = random.integers(0, frames, int(10 * frames / ear.rate_hz))
            volts[where] += ear.clicks_v * random.choice([-1.0, 1.0], len(where))
        units = volts / bench.volts_per_unit[i]
        out[:, i] = units + 4 * ear.own_third * units**3 if ear.own_third else units
    begin = int(max(SILENCE_S - ear.start_s, 0) * ear.rate_hz)
    return out[begin:]
