"""Faint harmonics: -110 dB at 1 kHz through the whole path, and a sweep's harmonics against stepped tones.

Sources: harmonics of a polynomial, x + a2 x^2 + a3 x^3 of a sine of amplitude A: a2 A^2 / 2, a3 A^3 / 4, fundamental A +
3/4 a3 A^3 (elementary trigonometry; tests/outside/closed_forms.py); with filters P before and Q behind it, A is |P(f)| of
what was played, and harmonic n passes Q at n f. Dither is triangular, 2 LSB from peak to peak (sum of two rectangular
ones). Tolerances are the design's: 0.3 dB at -100 dB, 0.5 dB at -120 dB, so 0.4 dB at -110 dB; 0.3 dB between sweep and
stepped tones at -80 dB.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
GAIN_V = 20.0  # peak of the undistorted output for sample value 1.0
LEVEL_DBFS = -6.0
A = GAIN_V * 10 ** (LEVEL_DBFS / 20)
report = Report("Faint harmonics")


def dithered(samples, seed):
    lsb = 2.0 ** -23
    random = np.random.default_rng(seed)
    return samples + lsb * (random.random(len(samples)) - random.random(len(samples)))


def minus_110():
    """The recorder's noise lies 105 dB below full scale, white: no better than an ordinary card."""
    ratio = 10 ** (-110 / 20)
    third = laws.polynomial(0.0, -4 * ratio / A**2)
    second = laws.polynomial(2 * ratio / A, 0.0)
    cases = (("third, 24 bits, one clock", 997.0, third, 3, {}, "pcm24"), ("second, float, one clock", 997.0, second, 2, {}, "float"),
             ("off a bin, +200 ppm", 1003.713, third, 3, {"ppm": 200.0}, "pcm24"), ("44.1 kHz, -200 ppm", 1000.0, second, 2, {"ppm": -200.0, "rate_hz": 44100}, "pcm24"),
             ("none at all", 997.0, laws.straight, 0, {}, "pcm24"))
    tests = [{"id": f"case-{i}", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": LEVEL_DBFS, "frequency_hz": case[1]} for i, case in enumerate(cases)]
    with program.Workshop(program.job_text(tests)) as shop:
        recordings = {}
        for i, (_, _, law, _, settings, kind) in enumerate(cases):
            tone, rate = shop.tone(f"case-{i}")
            recorder = bench.Recorder(**{"rate_hz": RATE, "noise_dbfs": -105.0, "seed": 20 + i, **settings})
            samples = recorder.record(bench.amplify(tone, rate, law, GAIN_V), program.PROBE_V)
            recordings[f"case-{i}"] = (dithered(samples, 40 + i) if kind == "pcm24" else samples, recorder.rate_hz, kind)
        outcome = shop.run(recordings)
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        for i, (name, _, _, order, _, _) in enumerate(cases):
            thd = outcome.value(f"case-{i}", "thd_percent")
            if order == 0:
                report.check(thd is None or thd < 100 * 10 ** (-120 / 20), f"{name}: no THD that is not there",
                             "absent" if thd is None else f"{20 * np.log10(thd / 100):.1f} dB")
                continue
            report.absolute(f"{name}: THD, dB", 20 * np.log10((thd or 1e-9) / 100), -110.0, 0.4)
            own = outcome.value(f"case-{i}", f"harmonic_{order}_percent")
            report.absolute(f"{name}: harmonic {order}, dB", 20 * np.log10((own or 1e-9) / 100), -110.0, 0.4)


def before(f):
    """A first-order treble cut and a coupling."""
    return (1j * f / 30) / (1 + 1j * f / 30) / (1 + 1j * f / 9000)


def behind(f):
    s = 1j * f / 15000
    return 1 / (1 + s / 0.9 + s * s)


def sweep_and_steps():
    frequencies = (120.0, 997.0, 4000.0)
    tests = [{"id": "sweep", "measure": "response", "loads": ["load-a"]}]
    tests += [{"id": f"step-{i}", "measure": "distortion", "loads": ["load-a"], "frequency_hz": f} for i, f in enumerate(frequencies)]
    level = GAIN_V * 0.1
    a2, a3 = 2e-4 / level, 4e-4 / level**2
    law = laws.polynomial(a2, a3)
    with program.Workshop(program.job_text(tests)) as shop:
        recordings = {}
        for test in tests:
            tone, rate = shop.tone(test["id"])
            fine = bench.upsample(np.concatenate([tone, np.zeros(rate // 2)]), 4, rate) * GAIN_V
            n = 1 << int(np.ceil(np.log2(len(fine) + rate)))
            f = np.fft.rfftfreq(n, 1 / (4 * rate))
            f[0] = 1e-3
            bent = law(np.fft.irfft(np.fft.rfft(fine, n) * before(f), n))
            out = np.fft.irfft(np.fft.rfft(bent) * behind(f), n)[:len(fine)]
            recordings[test["id"]] = bench.Recorder(rate_hz=RATE, noise_dbfs=-112.0, seed=3).record(bench.Analog(4 * rate, out), program.PROBE_V)
        outcome = shop.run(recordings)
        report.check(outcome.status == 0, "sweep and steps: accepted", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        curve = outcome.findings("sweep", "load-a")["curves"]["response"]
        for i, f in enumerate(frequencies):
            a = level * abs(before(f))
            for order, bare in ((2, a2 * a**2 / 2), (3, abs(a3) * a**3 / 4)):
                expected = 100 * bare * abs(behind(order * f)) / ((a + 0.75 * a3 * a**3) * abs(behind(f)))
                column = [np.nan if v is None else v for v in curve[f"harmonic_{order}_percent"]]
                swept = 10 ** np.interp(np.log(f), np.log(curve["frequency_hz"]), np.log10(column))
                stepped = outcome.value(f"step-{i}", f"harmonic_{order}_percent")
                decibels = lambda x: 20 * np.log10(x / 100)  # noqa: E731
                report.absolute(f"{f:.0f} Hz, harmonic {order}: sweep against the stepped tone, dB", decibels(swept), decibels(stepped), 0.3)
                report.absolute(f"{f:.0f} Hz, harmonic {order}: sweep against the closed form, dB", decibels(swept), decibels(expected), 0.3)


for part in (minus_110, sweep_and_steps):
    report.guarded(part.__name__, part)
report.finish()
