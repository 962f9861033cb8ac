"""What a skilled user of SciPy would write for three of the program's jobs, as fast as NumPy goes without effort that
such a user would not make: whole arrays at a time, real transforms of lengths that are fast, least squares with an
analytic Jacobian and a start off by ten to thirty per cent.

    python3 scipy_side.py FOLDER JOB REPEATS

reads FOLDER/plan.json (how the tones are laid out), FOLDER/tones and FOLDER/recordings, and prints as JSON what it
found and the processor and wall milliseconds of the work, the best of the repeats. Reading files is not counted.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
from scipy import fft, optimize, signal

SETTLE_S, END_GUARD_S, DECAY_S = 0.06, 0.005, 0.97
RESPONSE_PER_OCTAVE = 24


def read_wav(path):
    """24-bit PCM, as the recorder writes it: scipy.io.wavfile gives it in the upper bytes of an int32."""
    from scipy.io import wavfile
    rate, samples = wavfile.read(path)
    return rate, np.atleast_2d(np.ascontiguousarray(samples.T)) / 2.0**31


def start_of(recording, tone, head_frames, rate):
    """First frame of the tone in the recording, whose user knows that it starts within three seconds: by correlation
    with the tone's head at an eighth of the rate, then at the whole rate about the place."""
    head = tone[:head_frames]
    slow = signal.correlate(signal.decimate(recording[:len(head) + 3 * rate], 8), signal.decimate(head, 8), method="fft", mode="valid")
    near = max(8 * int(np.argmax(np.abs(slow))) - 64, 0)
    fine = signal.correlate(recording[near:near + len(head) + 128], head, method="fft", mode="valid")
    return near + int(np.argmax(np.abs(fine)))


class Staircase:
    """Volts, watts, THD and THD+N of each step by one windowed transform a step."""

    LOBE = 4  # bins to each side that hold a line of the Blackman-Harris window

    def __init__(self, folder, plan, settings):
        self.rate, self.recording = read_wav(folder / "recordings/stairs.wav")
        self.tone = read_wav(folder / "tones/stairs.wav")[1][0]
        self.starts = np.array([step["first_frame"] for step in plan["stairs"]])
        self.frames = plan["stairs"][0]["frames"]
        self.settings = settings

    def work(self):
        rate, settings = self.rate, self.settings
        start = start_of(self.recording[0], self.tone, self.starts[0], rate)
        settle, guard = int(SETTLE_S * rate), int(END_GUARD_S * rate)
        count = self.frames - settle - guard
        count -= count % 500  # 22500: a length without large prime factors
        window = signal.windows.blackmanharris(count, sym=False)
        steps = np.lib.stride_tricks.sliding_window_view(self.recording[0], count)[start + settle + self.starts]
        power = np.abs(fft.rfft(steps * window, axis=1))**2 * (2 * settings["volts_per_unit"]**2 / (count * np.sum(window**2)))
        top, bottom = int(20000 * count / rate), int(np.ceil(20 * count / rate))
        first = settings["frequency_hz"] * count / rate
        lines = np.round(first * np.arange(1, int(20000 // settings["frequency_hz"]) + 1)).astype(int)
        wide = lines[:, None] + np.arange(-self.LOBE, self.LOBE + 1)
        each = power[:, wide].sum(axis=2)
        fundamental, band = each[:, 0], power[:, bottom:top + 1].sum(axis=1)
        return {"fundamental_v": np.sqrt(fundamental).tolist(), "thd": np.sqrt(each[:, 1:].sum(axis=1) / fundamental).tolist(),
                "thd_plus_noise": np.sqrt(np.maximum(band - fundamental, 0) / band).tolist(), "power_w": (band / settings["load_ohm"]).tolist()}


class Sweep:
    """Gain and phase by division of the spectra, a window about the impulse response, and its transform."""

    def __init__(self, folder, plan, settings):
        self.rate, self.recording = read_wav(folder / "recordings/band.wav")
        self.tone = read_wav(folder / "tones/band.wav")[1][0]
        step = plan["band"][1]  # steady, sweep, steady
        self.head = plan["band"][0]["first_frame"]
        self.first, self.frames = step["first_frame"], step["frames"]
        self.settings = settings

    def work(self):
        rate, settings = self.rate, self.settings
        start = start_of(self.recording[0], self.tone, self.head, rate) + self.first
        played = self.tone[self.first:self.first + self.frames] * settings["tone_unit"]
        recorded = self.recording[0, start:start + self.frames + int(DECAY_S * rate)] * settings["volts_per_unit"]
        length = fft.next_fast_len(len(recorded) + len(played), real=True)
        own = fft.rfft(played, length)
        size = np.abs(own)**2
        impulse = fft.irfft(fft.rfft(recorded, length) * np.conj(own) / (size + 1e-6 * size.max()), length)
        # 0.3 s before and 0.9 s after: room for the bass, and none for the harmonics.
        before, after = int(0.3 * rate), int(0.9 * rate)
        piece = np.concatenate([impulse[-before:], impulse[:after]]) * signal.windows.tukey(before + after, 0.5)
        count = fft.next_fast_len(2 * len(piece), real=True)
        spectrum = fft.rfft(piece, count)
        frequency = self.settings["frequencies_hz"]
        place = np.asarray(frequency) * count / rate
        low = place.astype(int)
        # The window's delay is taken out of the bins before the straight line between two of them.
        turned = [spectrum[low + k] * np.exp(2j * np.pi * (low + k) * before / count) for k in (0, 1)]
        gain = turned[0] + (place - low) * (turned[1] - turned[0])
        return {"frequency_hz": list(frequency), "gain_db": (20 * np.log10(np.abs(gain))).tolist(), "phase_deg": np.degrees(np.angle(gain)).tolist()}


class Driver:
    """Impedance of the periodic multitone by one transform of whole periods, then one fit of both curves."""

    def __init__(self, folder, plan, settings):
        self.settings = settings
        self.parts = []
        for name, added_kg in (("free", 0.0), ("mass", settings["added_kg"])):
            self.rate, recording = read_wav(folder / f"recordings/{name}.wav")
            tone = read_wav(folder / f"tones/{name}.wav")[1][0]
            self.parts.append((recording, tone[:plan[name][0]["first_frame"]], plan[name][-1], added_kg))

    def impedance(self, recording, head, step):
        rate = self.rate
        start = start_of(recording[0], head, len(head), rate) + step["first_frame"] + 3 * rate
        both = fft.rfft(recording[:, start:start + 20 * rate], axis=1)
        frequency = np.asarray(step["lines_hz"])
        bins = np.round(frequency * 20).astype(int)  # four periods of 5 s: each line on a bin of its own
        ratio = both[1, bins] / both[0, bins]
        return frequency, self.settings["series_ohm"] * ratio / (1 - ratio) - self.settings["lead_ohm"]

    def work(self):
        curves = []
        for recording, head, step, added_kg in self.parts:
            frequency, z = self.impedance(recording, head, step)
            keep = frequency <= 5000
            curves.append((frequency[keep], z[keep], added_kg))
        frequency, z = (np.concatenate([curve[k] for curve in curves]) for k in (0, 1))
        added = np.concatenate([np.full(len(curve[0]), curve[2]) for curve in curves])
        weight, s = 1 / np.abs(z), 2j * np.pi * frequency
        log_s = np.log(s)

        def parts(x):
            re, fs, qms, qes, k, n, mms = np.exp(x)
            q = 1j * frequency / fs
            coil = k * np.exp(n * log_s)
            inside = q * (1 + added / mms) + 1 / qms + 1 / q
            return re, fs, qms, qes, n, mms, q, coil, inside, re / qes / inside

        def residual(x):
            re, *_, coil, _, cone = parts(x)
            off = (re + coil + cone - z) * weight
            return np.concatenate([off.real, off.imag])

        def jacobian(x):
            re, _, qms, _, n, mms, q, coil, inside, cone = parts(x)
            slope = -cone / inside  # of the cone's impedance, for a change of `inside`
            columns = np.stack([re + cone, slope * (1 / q - q * (1 + added / mms)), -slope / qms, -cone, coil, coil * n * log_s,
                                -slope * q * added / mms]) * weight
            return np.concatenate([columns.real, columns.imag], axis=1).T

        # Where a person begins who looks at the curve: the peak and the lowest point.
        free_f, free_z, _ = curves[0]
        bass = free_f < 200
        peak = int(np.argmax(np.abs(free_z[bass])))
        re = 0.95 * np.abs(free_z).min()
        res, fs = np.abs(free_z[peak]) - re, free_f[peak]
        loaded_fs = curves[1][0][np.argmax(np.abs(curves[1][1][curves[1][0] < 200]))]
        half = free_f[bass][np.abs(free_z[bass]) > np.sqrt(re * np.abs(free_z[peak]))]
        qms = fs / (half[-1] - half[0]) * np.sqrt(1 + res / re)
        mms = self.settings["added_kg"] / ((fs / loaded_fs)**2 - 1)
        begin = np.log([re, fs, qms, qms * re / res, 0.02, 0.7, mms])
        found = optimize.least_squares(residual, begin, jac=jacobian, method="lm", xtol=1e-10, ftol=1e-12)
        values = np.exp(found.x)
        return dict(zip(("re_ohm", "fs_hz", "qms", "qes"), values[:4].tolist()), mms_kg=float(values[6]))


JOBS = {"staircase": Staircase, "sweep": Sweep, "driver": Driver}


def main():
    folder, name, repeats = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    settings = json.loads((folder / "settings.json").read_text())
    job = JOBS[name](folder, json.loads((folder / "plan.json").read_text()), settings)
    cpu, wall = [], []
    for _ in range(repeats):
        began, before = time.perf_counter(), time.process_time()
        found = job.work()
        cpu.append(1e3 * (time.process_time() - before))
        wall.append(1e3 * (time.perf_counter() - began))
    print(json.dumps({"like": {"cpu_ms": min(cpu), "wall_ms": min(wall)}, "found": found}))


if __name__ == "__main__":
    main()
