"""A bench in numpy: a tone file is played into an amplifier without memory and recorded elsewhere.

The amplifier works at eight times the tone's rate or more, so that the harmonics that it makes do not fold back;
the recorder has its own rate, clock, start, noise, hum, coupling and ceiling. Filters are linear-phase Kaiser
designs with 140 dB of stop band, their delay taken out, so that truth is known to the sample.
"""

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq
from scipy.signal import firwin, lfilter, oaconvolve, upfirdn

ATTENUATION_BETA = 14.3  # Kaiser's beta for 140 dB (Kaiser 1974: 0.1102 (A - 8.7))


def low_pass(pass_hz, stop_hz, rate_hz):
    """Odd number of taps, unity at 0 Hz."""
    width = (stop_hz - pass_hz) / (rate_hz / 2)
    taps = int(np.ceil((140 - 7.95) / (2.285 * np.pi * width))) + 1
    return firwin(taps | 1, (pass_hz + stop_hz) / 2, window=("kaiser", ATTENUATION_BETA), fs=rate_hz)


def filtered(x, taps):
    """Same length, no delay."""
    half = len(taps) // 2
    return oaconvolve(x, taps)[half:half + len(x)]


def upsample(x, factor, rate_hz):
    """Band-limited, frame n of x at frame n * factor. Content must stay below 0.42 of the rate."""
    taps = low_pass(0.42 * rate_hz, 0.58 * rate_hz, rate_hz * factor) * factor
    half = len(taps) // 2
    whole = np.zeros(len(x) * factor)
    for phase in range(factor):
        # Frame m*factor + phase of the result is the sum of taps[half + phase + j*factor] * x[m - j].
        first = (half + phase) % factor
        part = oaconvolve(x, taps[first::factor])
        lead = (half + phase - first) // factor
        whole[phase::factor] = part[lead:lead + len(x)]
    return whole


def through(x, rate_hz, transfer, ring_s=1.0, more_s=0.0):
    """x through a transfer function, by FFT: zeros behind it hold what rings on, of which `more_s` are kept. `transfer`
    takes frequencies above zero."""
    length = next_fast_len(len(x) + int(ring_s * rate_hz), real=True)
    f = np.maximum(rfftfreq(length, 1 / rate_hz), 1e-3)
    return irfft(rfft(x, length) * transfer(f), length)[:len(x) + int(more_s * rate_hz)]


def every(x, taps, step):
    """filtered(x, taps)[::step], without the work for the frames between. For few taps."""
    half = len(taps) // 2
    lead = -half % step  # so that the first frame that is kept falls on the grid of those that are worked out
    first = (half + lead) // step
    whole = upfirdn(taps, np.concatenate([np.zeros(lead), x]), 1, step)
    return whole[first:first + -(-len(x) // step)]


def at_positions(x, positions, points=10):
    """Lagrange interpolation of x at fractional frames; beyond its ends x is silent. Wants content below about a
    tenth of the rate."""
    offsets = np.arange(points) - (points // 2 - 1)
    scale = [1.0 / np.prod([float(offset - other) for other in offsets if other != offset]) for offset in offsets]
    out = np.zeros(len(positions))
    padded = np.concatenate([np.zeros(points), x, np.zeros(points)])
    block = 1 << 14  # what is between fits the cache
    for begin in range(0, len(positions), block):
        where = positions[begin:begin + block] + points
        inside = (where >= points - 1) & (where <= len(padded) - points)
        where = np.where(inside, where, points)
        base = np.floor(where).astype(np.int64)
        part = where - base
        away = [part - offset for offset in offsets]
        # The weight of a point is the product of the distances to all the others: those before it times those after it.
        after = [np.ones(len(where))]
        for distance in away[:0:-1]:
            after.append(after[-1] * distance)
        before, value = np.ones(len(where)), np.zeros(len(where))
        for i, offset in enumerate(offsets):
            value += scale[i] * before * after[points - 1 - i] * padded[base + offset]
            before *= away[i]
        out[begin:begin + block] = np.where(inside, value, 0.0)
    return out


@dataclass
class Analog:
    """Volts on a grid much finer than sound; frame 0 is frame 0 of the tone file."""
    rate_hz: float
    volts: np.ndarray

    def __mul__(self, factor):
        return Analog(self.rate_hz, self.volts * factor)

    def __add__(self, other):
        return Analog(self.rate_hz, self.volts + other.volts)

    @property
    def seconds(self):
        return len(self.volts) / self.rate_hz


def amplify(tone, rate_hz, law, volts_per_unit, oversample=8):
    """`law` takes volts_per_unit * tone and gives volts. The result stands on four times the tone's rate."""
    keep = 4
    taps = low_pass(0.65 * rate_hz, 3.35 * rate_hz, oversample * rate_hz)
    step = oversample // keep
    pieces = []
    block, margin = 1 << 18, 512
    padded = np.concatenate([np.zeros(margin), tone, np.zeros(margin)])
    for begin in range(0, len(tone), block):
        end = min(begin + block, len(tone))
        fine = law(volts_per_unit * upsample(padded[begin:end + 2 * margin], oversample, rate_hz))
        coarse = every(fine, taps, step)
        pieces.append(coarse[margin * keep:(margin + end - begin) * keep])
    return Analog(rate_hz * keep, np.concatenate(pieces))


@dataclass
class Recorder:
    rate_hz: int = 96000
    ppm: float = 0.0          # positive: counts more samples per second of the tone than its nominal rate
    start_s: float = 0.7      # where frame 0 of the tone lies, in seconds of the recording at its nominal rate
    tail_s: float = 1.0
    noise_dbfs: float = -120.0  # RMS re a full-scale sine, over half the rate
    hum_dbfs: float = -400.0
    hum_hz: float = 50.0
    dc: float = 0.0
    coupling_hz: float = 0.0
    ceiling: float = 1.0      # where the input stage flattens, sample units
    seed: int = 1

    def record(self, analog, volts_per_unit):
        """One channel, float samples, before the file's grid."""
        volts, fine = analog.volts, analog.rate_hz
        if self.coupling_hz > 0:
            # First-order high-pass, bilinear; at this rate its warping at 1 kHz is below 1e-5.
            k = np.tan(np.pi * self.coupling_hz / fine)
            volts = lfilter(np.array([1, -1]) / (1 + k), [1, -(1 - k) / (1 + k)], volts)
        units = np.clip(volts / volts_per_unit, -self.ceiling, self.ceiling)
        pass_hz = max(20050.0, 0.45 * self.rate_hz)
        if self.rate_hz - pass_hz < fine / 2:
            units = filtered(units, low_pass(pass_hz, self.rate_hz - pass_hz, fine))
        frames = int((self.start_s + analog.seconds * (1 + self.ppm * 1e-6) + self.tail_s) * self.rate_hz)
        count = np.arange(frames)
        seconds = (count - self.start_s * self.rate_hz) / (self.rate_hz * (1 + self.ppm * 1e-6))
        samples = at_positions(units, seconds * fine)
        random = np.random.default_rng(self.seed)
        samples += self.dc + 10 ** (self.noise_dbfs / 20) * np.sqrt(0.5) * random.standard_normal(frames)
        if self.hum_dbfs > -300:
            samples += 10 ** (self.hum_dbfs / 20) * np.sin(2 * np.pi * self.hum_hz * count / self.rate_hz + 0.4)
        return samples


def nothing(frames, noise_dbfs=-90.0, seed=2):
    return 10 ** (noise_dbfs / 20) * np.sqrt(0.5) * np.random.default_rng(seed).standard_normal(frames)


def music_like(frames, rate_hz, peak=0.5, seed=3):
    """Pink-like noise in a band, with a beat: another signal."""
    random = np.random.default_rng(seed)
    length = next_fast_len(frames, real=True)
    spectrum = rfft(random.standard_normal(length))
    frequency = rfftfreq(length, 1 / rate_hz)
    spectrum *= 1 / np.sqrt(np.maximum(frequency, 40)) * (frequency < 12000)
    sound = irfft(spectrum, length)[:frames]
    sound *= 0.4 + 0.6 * np.abs(np.sin(2 * np.pi * 1.1 * np.arange(frames) / rate_hz))
    return peak * sound / np.max(np.abs(sound))


def lost(samples, at_frame, frames):
    """A dropout that takes samples out: what follows comes early."""
    return np.delete(samples, slice(at_frame, at_frame + frames), axis=0)


def repeated(samples, at_frame, frames):
    """A block played twice: what follows comes late."""
    return np.concatenate([samples[:at_frame], samples[at_frame - frames:at_frame], samples[at_frame:]])


def silenced(samples, at_frame, frames):
    """A buffer of exact zeros in place of sound; nothing is shifted."""
    out = np.array(samples)
    out[at_frame:at_frame + frames] = 0
    return out


def stuck(samples, at_frame, frames):
    """A buffer given once more in place of the next one; nothing after it is shifted."""
    out = np.array(samples)
    out[at_frame:at_frame + frames] = out[at_frame - frames:at_frame]
    return out


def envelope(samples, rate_hz, window_s=0.02):
    taps = np.ones(int(window_s * rate_hz))
    power = oaconvolve(samples**2, taps / len(taps))[:len(samples)]
    return np.sqrt(2 * np.maximum(power, 0))


def compressed(samples, rate_hz, above=0.1, ratio=2.0):
    """A slow compressor: above a level, peaks rise by 1 dB for `ratio` dB."""
    level = np.maximum(envelope(samples, rate_hz), 1e-9)
    return samples * np.where(level > above, (level / above) ** (1 / ratio - 1), 1.0)


def expanded_gate(samples, rate_hz, below=0.02):
    """A noise gate: what is softer than `below` is pushed down by as much again."""
    level = np.maximum(envelope(samples, rate_hz), 1e-9)
    return samples * np.where(level < below, level / below, 1.0)


def levels_of(tone, rate_hz, frequency_hz, shortest_s=0.1):
    """Where a tone file holds a steady sine: list of (first frame, end frame, amplitude). Found from the samples
    alone, in hops of 5 ms, so that nothing needs to be known of how the tone is laid out."""
    hop = int(0.005 * rate_hz)
    width = 4 * hop
    count = (len(tone) - width) // hop
    time = np.arange(width) / rate_hz
    window = np.hanning(width + 1)[:width]
    amplitude, purity = np.zeros(count), np.zeros(count)
    cosine, sine = np.cos(2 * np.pi * frequency_hz * time), np.sin(2 * np.pi * frequency_hz * time)
    basis = np.stack([cosine, sine], 1) * window[:, None]
    solve = np.linalg.pinv(basis)
    for i in range(count):
        piece = tone[i * hop:i * hop + width] * window
        fit = solve @ piece
        amplitude[i] = np.hypot(*fit)
        power = np.sum(piece**2)
        purity[i] = 1 - np.sum((piece - basis @ fit) ** 2) / power if power > 1e-12 else 0
    steady = (purity > 1 - 1e-5) & (amplitude > 1e-5)
    found, i = [], 0
    while i < count:
        if not steady[i]:
            i += 1
            continue
        j = i
        while j + 1 < count and steady[j + 1] and abs(amplitude[j + 1] / amplitude[i] - 1) < 1e-4:
            j += 1
        if (j - i) * hop + width >= shortest_s * rate_hz:
            found.append((i * hop, j * hop + width, float(np.median(amplitude[i:j + 1]))))
        i = j + 1
    return found
