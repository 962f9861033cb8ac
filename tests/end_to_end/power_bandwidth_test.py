"""The measure `power-bandwidth` on recordings made by the outside bench (numpy).

Source: Fourier series of a hard-clipped sine (closed_forms.hard_clip), every harmonic passed through the filter that the
bench puts behind the clipping, at its own frequency; the limit is found by bisection on the clip ratio. Above a third of
the 20 kHz band, where the third harmonic is outside, the measure judges by the fall of gain that the limit has at
1 kHz: the same clip ratio, of which only the harmonics inside the band count. Tolerance: 1 % of power where harmonics
judge (steps of 0.5 dB between which a curve is laid), 2 % where the gain does.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM, RAIL_V, IDEAL_V, INDUCTANCE_UH = 4.0, 20.0, 30.0, 8.0
FREQUENCIES = [30.0, 60.0, 1000.0, 5000.0, 12000.0, 20000.0]
report = Report("Power bandwidth")


def transfer(f):
    """A coupling capacitor and a filter coil behind the output stage."""
    return (1j * f / 42) / (1 + 1j * f / 42) / (1 + 1j * f / 14000)


def wave(c, f):
    """Amplitudes of the harmonics within 20 kHz for the clip ratio c, re the rail."""
    top = max(int(20000 / f + 1e-9), 1)
    n = np.arange(top + 1)
    amplitudes = np.zeros(top + 1)
    amplitudes[1:] = closed_forms.hard_clip(c, max(top, 3))[1:top + 1] / c * abs(transfer(n[1:] * f))
    return amplitudes


def watts(f, percent):
    limit = lambda c, g: closed_forms.thd(wave(c, g)) - percent / 100  # noqa: E731
    c = brentq(limit, 0.3, 1 - 1e-9, args=(1000.0 if 3 * f > 20000 else f,))
    x = 2 * np.pi * f * INDUCTANCE_UH * 1e-6
    return np.sum(wave(c, f) ** 2) / 2 * RAIL_V**2 * OHM / (OHM**2 + x**2)


def run():
    test = {"id": "band", "measure": "power-bandwidth", "loads": ["load-a"], "frequencies_hz": FREQUENCIES, "to_dbfs": -2.0,
            "distortion_limits_percent": [1.0, 3.0]}
    loads = [program.load("load-a", OHM, "probe-a", inductance_uh=INDUCTANCE_UH)]
    with program.Workshop(program.job_text([test]), program.bench_text(loads=loads)) as shop:
        tone, rate = shop.tone("band")
        clean = bench.amplify(tone, rate, laws.hard_clip(RAIL_V), IDEAL_V)
        output = bench.Analog(clean.rate_hz, bench.through(clean.volts, clean.rate_hz, transfer))
        samples = bench.Recorder(noise_dbfs=-110.0, ppm=45.0).record(output, program.PROBE_V)
        outcome = shop.run({"band": samples})
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        c = outcome.findings("band", "load-a")["curves"]["power"]
        report.check(c["frequency_hz"] == FREQUENCIES, "the curve's frequencies")
        for percent, column in ((1, "power_w"), (3, "power_at_3_percent_w")):
            for i, frequency in enumerate(FREQUENCIES):
                report.relative(f"{percent} % at {frequency:.0f} Hz", c[column][i], watts(frequency, percent), 2.0 if 3 * frequency > 20000 else 1.0)
        # JCGM 100:2008, 5.1.6: twice the scale's 0.5 % and once the load's, k = 2. What the steps add between which the curve
        # is laid can be no more than a whole step of 0.5 dB taken as rectangular (4.3.7).
        scale = 2 * np.hypot(2 * 0.005, 0.005)
        step = 2 * (10 ** 0.05 - 1) / 2 / np.sqrt(3)
        parts = [u / p for u, p in zip(c["power_expanded_uncertainty_w"], c["power_w"])]
        report.check(all(scale * 0.999 < u < np.hypot(scale, step) for u in parts), "expanded uncertainty of each power",
                     f"{100 * min(parts):.2f} to {100 * max(parts):.2f} %, scale and load {100 * scale:.2f} %, with a whole step {100 * np.hypot(scale, step):.2f} %")
        report.check(c["harmonics_in_band"] == [665, 332, 19, 3, 0, 0], "harmonics in the band", str(c["harmonics_in_band"]))
        text = outcome.warnings("band")
        report.check("12000 hz (0 in band)" in text and "20000 hz (0 in band)" in text and "fall of gain" in text, "told where no harmonic is left, and what judged", text[:240])
        # A smooth curve through the true powers at these few points (SciPy's PCHIP), and where half the power really lies.
        decibels = np.array([10 * np.log10(watts(f, 1)) for f in FREQUENCIES])
        smooth = PchipInterpolator(np.log(FREQUENCIES), decibels)
        for name, low, high in (("lower_limit_hz", 30.0, 1000.0), ("upper_limit_hz", 7000.0, 20000.0)):
            found = outcome.findings("band", "load-a")["quantities"][name]
            by_points = np.exp(brentq(lambda x: smooth(x) - (decibels[2] - 3), np.log(low), np.log(high)))
            truth = brentq(lambda f: watts(f, 1) - watts(1000.0, 1) * 10**-0.3, low, high)
            report.relative(name, found["value"], by_points, 1.0)
            report.check(abs(found["value"] - truth) <= found["expanded_uncertainty"] <= 0.15 * truth, f"{name}: the interval holds where half the power lies",
                         f"{found['value']:.2f} ± {found['expanded_uncertainty']:.2f}, truth {truth:.2f}")
        quiet = shop.run({"band": samples * 0.999})
        report.relative("again, 0.1 % fainter: power at 1 kHz", quiet.findings("band", "load-a")["curves"]["power"]["power_w"][2], c["power_w"][2] * 0.999**2, 0.01)
        loud = shop.run({"band": np.clip(samples * 1.9, -1, 1)})
        report.check(loud.status == 3 and "overload" in loud.err, "overload: exit 3", loud.err.strip()[:200])


def noise_counts():
    """THD+N: the recorder's noise within 20 Hz to 20 kHz, white and of known volts, adds to the harmonics in power."""
    test = {"id": "band", "measure": "power-bandwidth", "loads": ["load-a"], "frequencies_hz": [100.0, 1000.0, 2000.0], "to_dbfs": -2.0, "limit_on": "thd+n"}
    with program.Workshop(program.job_text([test])) as shop:
        tone, rate = shop.tone("band")
        clean = bench.amplify(tone, rate, laws.hard_clip(RAIL_V), IDEAL_V)
        noise_dbfs = -43.0
        noise_v = 10 ** (noise_dbfs / 20) / np.sqrt(2) * program.PROBE_V * np.sqrt((20000 - 20) / (RATE / 2))
        outcome = shop.run({"band": bench.Recorder(noise_dbfs=noise_dbfs).record(clean, program.PROBE_V)})
        report.check(outcome.status == 0, "THD+N: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        c = outcome.findings("band", "load-a")["curves"]["power"]

        def volts_at(f):
            parts = lambda x: RAIL_V * closed_forms.hard_clip(x, int(20000 / f))[1:] / x / np.sqrt(2)  # noqa: E731
            def over(x):
                own = parts(x)
                return np.sqrt((np.sum(own[1:] ** 2) + noise_v**2) / (np.sum(own**2) + noise_v**2)) - 0.01
            own = parts(brentq(over, 0.9, 1 - 1e-9))
            return np.sqrt(np.sum(own**2) + noise_v**2)
        for f, found in zip(c["frequency_hz"], c["power_w"]):
            report.relative(f"1 % THD+N at {f:.0f} Hz", found, volts_at(f) ** 2 / OHM, 1.0)
        report.check(outcome.findings("band")["conditions"]["limit_on"] == "thd+n", "and said what the limit is on")


def bad_jobs():
    base = {"id": "band", "measure": "power-bandwidth", "loads": ["load-a"]}
    open_load = [{"name": "load-a", "resistance_ohm": float("inf"), "plus": "probe-a"}]
    for fields, loads, word in (({"drive_dbfs": -10.0}, None, "drive_dbfs"), ({"frequencies_hz": [50.0, 39999.0]}, None, None), ({}, open_load, "loads")):
        with program.Workshop(program.job_text([{**base, **fields}]), program.bench_text(loads=loads, sound={"sample_rate_hz": 48000})) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and (word or "frequencies_hz") in done.err and len(done.error_lines) == 1, f"{fields}: refused", done.err.strip()[:200])


for part in (run, noise_counts, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
