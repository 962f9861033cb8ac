"""A jig in numpy: a tone file is played through a series resistor into a driver and recorded by two inputs elsewhere.

Everything linear is done in one spectrum of the whole tone, zero-padded so that nothing folds round (linear
convolution); the recorder's rate and clock come of going back to time on another number of points, which is exact
for a band-limited signal. Noise, hum, offset and the converter's grid follow in time.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from . import program, sound_files

GENERATOR_V = 2.0   # open-circuit volts at the generator for sample value 1.0 of the tone
INPUT_V = 2.2       # volts at each jig input for sample value 1.0 recorded
WORKERS = 2


@dataclass
class Jig:
    topology: str = "series-high"        # or "sense-low"
    series_ohm: float = 22.0
    lead_ohm: float = 0.0
    input_resistance_ohm: float = math.inf  # across what the driver-side input measures
    generator_ohm: float = 0.05
    gain_ratio: float = 1.0              # driver-side input re generator-side input
    delay_s: float = 0.0                 # of the driver-side input re the other
    swapped: bool = False                # the two inputs in each other's place

    def voltages(self, z_ohm):
        """(generator side, driver side) for one volt at the open generator."""
        z = z_ohm + self.lead_ohm
        leak = 0.0 if math.isinf(self.input_resistance_ohm) else 1 / self.input_resistance_ohm
        if self.topology == "series-high":
            below = 1 / (1 / z + leak)
            above = self.series_ohm
        else:
            below = 1 / (1 / self.series_ohm + leak)
            above = z
        total = self.generator_ohm + above + below
        return (above + below) / total, below / total


@dataclass
class Card:
    """What records. Levels in dB re the RMS of what the generator-side input hears."""
    rate_hz: int = 96000
    ppm: float = 0.0
    start_s: float = 0.6
    tail_s: float = 1.0
    kind: str = "pcm24"
    noise_db: float = -300.0             # over half the rate, each input its own
    hum_db: float = -300.0               # the fundamental; harmonics fall by 8 dB each
    hum_hz: float = 49.97
    coupling_hz: float = 0.0             # first-order high-pass of both inputs
    dc: tuple = (0.0, 0.0)               # sample units
    ceiling: float = math.inf            # where the input stage flattens, sample units
    seed: int = 1


class Played:
    """A tone file, and its spectrum with silence before and after it. One that is played often is made once."""

    def __init__(self, tone, rate_hz, silence_s=6.0):
        self.tone, self.rate_hz = np.asarray(tone, float), rate_hz
        self.before = int(1.0 * rate_hz)
        self.length = next_fast_len(self.before + len(tone) + int(silence_s * rate_hz), real=True)
        padded = np.zeros(self.length)
        padded[self.before:self.before + len(tone)] = self.tone
        self.spectrum = rfft(padded, workers=WORKERS)
        self.frequency_hz = rfftfreq(self.length, 1 / rate_hz)
        # Nothing below 0.2 Hz is played; the impedance need not be asked for there, where parts of it blow up.
        self.used = np.arange(np.searchsorted(self.frequency_hz, 0.2), len(self.frequency_hz))
        # Beyond what the tone holds the laws need not be asked either; -200 dB of its largest line.
        loud = np.nonzero(np.abs(self.spectrum) > 1e-10 * np.max(np.abs(self.spectrum)))[0]
        self.used = self.used[self.used <= loud[-1]]


def on_grid_of_curve(z_of, frequency_hz, points_per_octave=1500):
    """z on many frequencies through a spline over a dense logarithmic grid: fractional powers of millions of points
    cost more than all the rest."""
    from scipy.interpolate import CubicSpline
    low, high = frequency_hz[0], frequency_hz[-1]
    grid = np.geomspace(low * 0.999, high * 1.001, int(points_per_octave * np.log2(high / low)) + 10)
    return CubicSpline(np.log(grid), z_of(grid))(np.log(frequency_hz))


def easy_length(wanted, reach=12):
    """A number near the wanted one whose largest prime factor is small: transforms of it are fast."""
    def largest_factor(n):
        factor = 2
        while factor * factor <= n:
            if n % factor:
                factor += 1
            else:
                n //= factor
        return n
    return min(range(wanted - reach, wanted + reach + 1), key=largest_factor)


def record(played, z_of, jig, card):
    """Samples (frames, 2): the generator side on channel 1, the driver side on channel 2; and the clock's true ppm.
    z_of: frequency in Hz -> ohm; None for an open driver."""
    f = played.frequency_hz[played.used]
    z = np.full(len(f), 1e12 + 0j) if z_of is None else on_grid_of_curve(z_of, f)
    sides = list(jig.voltages(z))
    s = 2j * np.pi * f
    sides[1] = sides[1] * jig.gain_ratio * np.exp(-s * jig.delay_s)
    if card.coupling_hz > 0:
        sides = [side * s / (s + 2 * np.pi * card.coupling_hz) for side in sides]
    ratio = card.rate_hz / played.rate_hz * (1 + card.ppm * 1e-6)
    frames = int(round(played.length * ratio))
    if frames != played.length:
        frames = easy_length(frames)
    ppm = 1e6 * (frames / played.length * played.rate_hz / card.rate_hz - 1)
    out = []
    keep = min(len(played.frequency_hz), frames // 2 + 1)
    # A recorder cannot hold what lies above half its rate: its filter takes that out before.
    top_hz = 0.48 * card.rate_hz
    for side in sides:
        spectrum = np.zeros(frames // 2 + 1, complex)
        inside = (played.used < keep) & (f < top_hz)
        spectrum[played.used[inside]] = (played.spectrum[played.used] * side)[inside]
        out.append(irfft(spectrum, frames, workers=WORKERS) * (frames / played.length) * GENERATOR_V / INPUT_V)
    sound = np.stack(out, 1)
    # The tone's frame 0 is to lie at start_s; it lies `before` tone frames into the padded stretch.
    lead = int(round(card.start_s * card.rate_hz - played.before * frames / played.length))
    end = int((played.before + len(played.tone)) * frames / played.length + card.tail_s * card.rate_hz)
    sound = sound[:end]
    sound = np.concatenate([np.zeros((lead, 2)), sound]) if lead > 0 else sound[-lead:]
    tone_begins, tone_ends = int(card.start_s * card.rate_hz), len(sound) - int(card.tail_s * card.rate_hz)
    loud = np.sqrt(np.mean(sound[tone_begins:tone_ends, 0] ** 2))
    random = np.random.default_rng(card.seed)
    if card.noise_db > -290:
        sound += loud * 10 ** (card.noise_db / 20) * random.standard_normal(sound.shape)
    if card.hum_db > -290:
        time = np.arange(len(sound)) / card.rate_hz
        hum = sum(10 ** (-8 * (number - 1) / 20) * np.sin(2 * np.pi * number * card.hum_hz * time + number) for number in range(1, 8))
        # A loop through the driver's lead: the two inputs do not hear it alike.
        for side, share in ((0, 0.4), (1, 1.0)):
            sound[:, side] += np.sqrt(2) * loud * 10 ** (card.hum_db / 20) * share * hum
    sound += np.asarray(card.dc)
    if jig.swapped:
        sound = sound[:, ::-1]
    return np.clip(sound, -card.ceiling, card.ceiling), ppm


def bench_text(jig=None, sound=None, first=None, second=None, series=None, lead_given=True, resistance_given=True, **more):
    """The bench file that belongs to a jig. `more` goes into [impedance_jig]."""
    jig = jig or Jig()
    inputs = [{"name": "jig-1", "channel": 1, "volts_at_full_scale": INPUT_V, "uncertainty_percent": 0.05, **(first or {})},
              {"name": "jig-2", "channel": 2, "volts_at_full_scale": INPUT_V, "uncertainty_percent": 0.05, **(second or {})}]
    text = program.table("[sound]", {"source": "device", "sample_rate_hz": 96000, **(sound or {})})
    text += program.table("[[output]]", {"name": "drive", "channel": 1, "volts_at_full_scale": GENERATOR_V, "maximum_dbfs": 0.0})
    text += "".join(program.table("[[input]]", fields) for fields in inputs)
    keys = {"topology": jig.topology, "series_ohm": jig.series_ohm, "uncertainty_percent": 0.1,
            "generator_side": "jig-1", "driver_side": "jig-2", **(series or {}), **more}
    if lead_given and jig.lead_ohm > 0:
        keys["lead_ohm"] = jig.lead_ohm
    if resistance_given and not math.isinf(jig.input_resistance_ohm):
        keys["input_resistance_ohm"] = jig.input_resistance_ohm
    return text + program.table("[impedance_jig]", keys)


UNIT = {"kind": "driver", "maker": "Nordhall", "model": "Dunlin 6", "serial": "7-114"}


def job_text(tests, claims=(), unit=None):
    return program.job_text(tests, claims, {**UNIT, **(unit or {})})


def impedance(name, **fields):
    return {"id": name, "measure": "impedance", **fields}


def parameters(name="parameters", **fields):
    return {"id": name, "measure": "driver-parameters", "free_air": "free", **fields}


@dataclass
class Tones:
    """Spectra of tone files, kept as long as the same sound comes again."""
    kept: dict = field(default_factory=dict)

    def of(self, shop, test):
        path = shop.make_tones() / f"{test}.wav"
        key = hash(path.read_bytes())
        if key not in self.kept:
            sound = sound_files.read_wav(path)
            self.kept[key] = Played(sound.channel(1), sound.rate_hz)
        return self.kept[key]


def run_driver(shop, tones, tests, jig, card):
    """tests: id -> z_of. Plays each test's tone into its impedance, runs the program over the recordings; gives the
    outcome and the clock's true ppm."""
    recordings, ppm = {}, 0.0
    for number, (test, z_of) in enumerate(tests.items()):
        one = Card(**{**card.__dict__, "seed": card.seed + 1000 * number})
        samples, ppm = record(tones.of(shop, test), z_of, jig, one)
        recordings[test] = (samples, card.rate_hz, card.kind)
    return shop.run(recordings), ppm


def quantities(outcome, test="parameters"):
    return outcome.session["tests"][test]["quantities"]
