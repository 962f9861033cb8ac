"""The outside bench against closed forms and printed tables, before it judges the program.

Table values: harmonics of clipped, one-sided, dead-zone and cubic sines, printed to the digits below from the
Fourier integrals in double precision; the square wave's sqrt(pi^2/8 - 1) after Blagouchine & Moreau, IEEE Trans.
Commun. 59(9), 2478-2491 (2011). The recorder and the amplifier are checked by an FFT over whole cycles.
"""

import os
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, sound_files  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The outside bench checked by itself")

# c, b1, H3/H1 %, H5/H1 %, THD_F of all harmonics %, THD_F to the 10th %, power re the sine of peak c
CLIPPED = [
    (0.99, 0.998801, 0.118093, -0.114333, 0.286177, 0.221897, 1.017868),
    (0.97, 0.993791, 0.595178, -0.538898, 1.061607, 0.997609, 1.049773),
    (0.90, 0.962614, 3.286318, -2.287278, 4.219933, 4.189833, 1.146019),
    (0.80, 0.895912, 8.185916, -3.470828, 8.978576, 8.949059, 1.264264),
    (0.50, 0.608998, 22.632632, 4.526526, 23.293814, 23.247823, 1.564009),
    (0.10, 0.127111, 32.889484, 19.207459, 43.039702, 41.446337, 1.915032),
]
for c, b1, h3, h5, all_of_them, to_10, power in CLIPPED:
    b = closed_forms.hard_clip(c, 10)
    mean_square = closed_forms.hard_clip_mean_square(c)
    figures = [b[1], 100 * b[3] / b[1], 100 * b[5] / b[1], 100 * np.sqrt(mean_square / (b[1] ** 2 / 2) - 1),
               100 * closed_forms.thd(b), mean_square / (c * c / 2)]
    worst = max(abs(np.array(figures) - [b1, h3, h5, all_of_them, to_10, power]))
    report.check(worst < 6e-7, f"table of clipped sines, c = {c}", f"largest difference {worst:.1e}")
for c, d_c, b1, h2, h3, all_of_them, to_10 in [
        (0.95, -0.003364, 0.993340, 0.650381, 0.617862, 1.430512, 1.412747),
        (0.90, -0.009538, 0.981307, 1.790954, 1.611858, 3.210453, 3.191561),
        (0.80, -0.027120, 0.947956, 4.835311, 3.868249, 7.055176, 7.041495),
        (0.50, -0.108998, 0.804499, 17.132680, 8.566340, 19.464760, 19.447236)]:
    b = closed_forms.one_sided_clip(c, 10)
    many = closed_forms.one_sided_clip(c, 20000)
    figures = [b[0], b[1], 100 * abs(b[2]) / b[1], 100 * abs(b[3]) / b[1], 100 * closed_forms.thd(many),
               100 * closed_forms.thd(b)]
    worst = max(abs(np.array(figures) - [d_c, b1, h2, h3, all_of_them, to_10]))
    report.check(worst < 6e-7, f"table of one-sided clips, c = {c}", f"largest difference {worst:.1e}")
for d, b1, h3, h5, to_10 in [(0.001, 0.998727, -0.042495, -0.025497, 0.054665), (0.02, 0.974537, -0.870482, -0.521732, 1.118824),
                             (0.10, 0.872889, -4.789419, -2.797021, 6.035482), (0.50, 0.391002, -35.251008, -7.050202, 36.209187)]:
    b = closed_forms.dead_zone(d, 10)
    worst = max(abs(np.array([b[1], 100 * b[3] / b[1], 100 * b[5] / b[1], 100 * closed_forms.thd(b)]) - [b1, h3, h5, to_10]))
    report.check(worst < 6e-7, f"table of dead zones, d = {d}", f"largest difference {worst:.1e}")
for k, factor, percent in [(-0.4, 0.7, 14.285714), (-0.04, 0.97, 1.030928), (-0.001, 0.99925, 0.025019), (0.1, 1.075, 2.325581)]:
    b = closed_forms.polynomial(0.0, k, 1.0, 10)
    worst = max(abs(b[1] - factor), abs(100 * closed_forms.thd(b) - percent))
    report.check(worst < 6e-7, f"table of cubic terms, a3 A^2 = {k}", f"largest difference {worst:.1e}")
square = closed_forms.hard_clip(1e-6, 200001)
report.absolute("a sine clipped to a square wave, THD %", 100 * closed_forms.thd(square), 48.342585, 3e-4)
for limit, c_all in [(1.0, 0.971487), (10.0, 0.778651)]:
    level = closed_forms.last_upward_crossing(
        lambda db: 100 * np.sqrt(closed_forms.hard_clip_mean_square(10 ** (-db / 20)) * 2
                                 / closed_forms.hard_clip(10 ** (-db / 20), 1)[1] ** 2 - 1),
        limit, np.arange(-1, 6, 0.25))
    report.absolute(f"clip ratio for {limit:g} % THD", 10 ** (-level / 20), c_all, 6e-7)
report.absolute("onset of an ideal clip: 0.25 dB below the rail by definition",
                closed_forms.onset_peak(lambda db: min(10 ** (db / 20), 1.0), np.arange(-6, 3, 0.1)), 10 ** (-0.25 / 20), 1e-8)
for name, law, form in [
        ("clip", laws.hard_clip(0.9), closed_forms.hard_clip(0.9, 20)),
        ("one-sided", laws.one_sided(0.8), closed_forms.one_sided_clip(0.8, 20)),
        ("dead zone", laws.dead_zone(0.1), closed_forms.dead_zone(0.1, 20)),
        ("polynomial", laws.polynomial(0.02, -0.04), closed_forms.polynomial(0.02, -0.04, 1.0, 20))]:
    by_sum = closed_forms.by_quadrature(law, 1.0, 20)
    # A sine's closed form against a cosine's quadrature: sizes, since odd orders change sign with the phase.
    report.check(np.max(np.abs(np.abs(by_sum) - np.abs(form))) < 1e-8, f"closed form against quadrature, {name}")


def harmonics_by_fft(samples, rate_hz, fundamental_hz, seconds=1.0):
    """Amplitudes of 1 .. 20 over a stretch that holds whole cycles, so that no window is needed."""
    frames = int(seconds * rate_hz)
    spectrum = np.abs(np.fft.rfft(samples[:frames])) * 2 / frames
    return np.concatenate([[0], spectrum[np.arange(1, 21) * int(fundamental_hz * seconds)]])


# The bench's own error: a tone of exactly 997 cycles a second, so that an FFT of one second sees lines only.
RATE = 96000
tone = np.zeros(3 * RATE)
time = np.arange(RATE * 2) / RATE
tone[RATE // 2:RATE // 2 + 2 * RATE] = 0.7 * np.sin(2 * np.pi * 997 * time)
for name, law, amplitude, form in [
        ("straight", laws.straight, 10.0, closed_forms.polynomial(0, 0, 1.0, 20)),
        ("clip", laws.hard_clip(9.0), 10.0, closed_forms.hard_clip(0.9, 20)),
        ("one-sided", laws.one_sided(8.0), 10.0, closed_forms.one_sided_clip(0.8, 20)),
        ("dead zone", laws.dead_zone(1.0), 10.0, closed_forms.dead_zone(0.1, 20))]:
    analog = bench.amplify(tone, RATE, law, amplitude / 0.7, oversample=16)
    recorded = bench.Recorder(rate_hz=RATE, start_s=0.25, noise_dbfs=-400).record(analog, 20.0)
    measured = harmonics_by_fft(recorded[RATE:], RATE, 997) * 20.0 / amplitude
    worst = np.max(np.abs(measured[1:] - np.abs(form[1:])))
    report.check(worst < 1e-6, f"amplifier and recorder at one clock, {name}", f"largest error of a harmonic {worst:.1e} of the input")

for rate, ppm in [(44100, 0), (48000, 500), (88200, -500), (96000, 500), (176400, 37), (192000, -500)]:
    analog = bench.amplify(tone, RATE, laws.hard_clip(9.0), 10.0 / 0.7)
    recorder = bench.Recorder(rate_hz=rate, ppm=ppm, start_s=0.3, noise_dbfs=-400)
    recorded = recorder.record(analog, 20.0)
    # Sine fit by linear least squares at the known frequency as the recorder counts it.
    true_hz = 997 / (1 + ppm * 1e-6)
    part = recorded[int(1.0 * rate):int(2.4 * rate)]
    angle = 2 * np.pi * true_hz * (np.arange(len(part)) + int(1.0 * rate) - 0.8 * rate) / rate
    columns = np.stack([f(n * angle) for n in range(1, 21) for f in (np.sin, np.cos)], 1)
    fit, *_ = np.linalg.lstsq(columns, part, rcond=None)
    amplitudes = np.hypot(fit[0::2], fit[1::2]) * 2
    form = np.abs(closed_forms.hard_clip(0.9, 20))[1:]
    phase = np.arctan2(fit[1], fit[0])
    worst = np.max(np.abs(amplitudes - form))
    report.check(worst < 2e-6, f"recorder at {rate} Hz, {ppm:+} ppm", f"largest error of a harmonic {worst:.1e}")
    # ppm is defined on the tone's seconds from its frame 0, so the phase at the tone's start is start * ppm late.
    expected = 0.0
    drift = 2 * np.pi * true_hz * 0.5 * ppm * 1e-6
    report.check(abs(phase + drift - expected) < 1e-4, "  its start", f"{phase + drift:+.1e} rad at 997 Hz")

with tempfile.TemporaryDirectory() as folder:
    sound = np.clip(0.4 * np.random.default_rng(5).standard_normal((5001, 2)), -0.99, 0.99)
    for kind, step in [("pcm16", 2**-15), ("pcm24", 2**-23), ("rf64", 2**-23), ("float", 2**-24)]:
        path = os.path.join(folder, kind + ".wav")
        sound_files.write_wav(path, 48000, sound, kind)
        back = sound_files.read_wav(path)
        report.check(back.rate_hz == 48000 and back.samples.shape == sound.shape
                     and np.max(np.abs(back.samples - sound)) <= step / 2 * 1.0001, f"sound file written and read, {kind}")
    sound_files.write_flac(os.path.join(folder, "x.flac"), 48000, sound)
    report.check(os.path.getsize(os.path.join(folder, "x.flac")) > 1000, "FLAC written")

staircase, places = [np.zeros(RATE // 2)], []
for number, level in enumerate((-20, -10, -3)):
    places.append(sum(map(len, staircase)))
    ramp = np.minimum(1, np.minimum(np.arange(RATE // 2), np.arange(RATE // 2)[::-1]) / 480)
    staircase += [10 ** (level / 20) * ramp * np.sin(2 * np.pi * 997 * np.arange(RATE // 2) / RATE), np.zeros(RATE // 10)]
found = bench.levels_of(np.concatenate(staircase), RATE, 997)
report.check(len(found) == 3 and all(abs(20 * np.log10(f[2]) - level) < 1e-4 for f, level in zip(found, (-20, -10, -3)))
             and all(0 <= f[0] - place < 4000 for f, place in zip(found, places)), "steady stretches found in a staircase", str(found))
report.finish()
