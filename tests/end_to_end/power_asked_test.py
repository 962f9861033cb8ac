"""Tests at a power that is asked for (`power_w`) on recordings, and what a load's inductance does to watts.

Sources: power of a voltage into R + jwL is V^2 R / (R^2 + (wL)^2), the real part of V^2 / conj Z (circuit theory, any
textbook); harmonics of y = x + a2 x^2 + a3 x^3 are the closed forms of tests/outside/closed_forms.py at the amplitude
that gives the power; crosstalk is k (1 + V / V0) of the driven volts V, applied by the bench. Tolerances: 0.1 % of the
power (the design's amplitude is far better), 0.3 dB of a harmonic. Steps of 6 dB: a straight line over the logarithm of
the volts misses ln(1 + V / V0) by at most s (1 - s) h^2 / 8 in the middle, with h = ln 2 and s the slope; with s = 0.3 that
is 0.11 dB, beside which 0.15 dB are allowed. A response between two sweeps 3 dB apart: the gain of y = x + a3 x^3 at the
power (0.01 dB, the design's), its harmonics 0.3 dB; near a hard clip the gain within its own stated uncertainty.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM, UH = 4.0, 60.0
GAIN = 12.0
report = Report("A power that is asked for")


def conductance(f):
    return OHM / (OHM**2 + (2 * np.pi * f * UH * 1e-6) ** 2)


def distortion():
    """5 kHz, where 60 uH take 15 % of the watts away; by staircase, and at a level of the player."""
    frequency, watts = 5000.0, 20.0
    load = program.load("load-a", OHM, "probe-a", inductance_uh=UH)
    tests = [{"id": "asked", "measure": "distortion", "loads": ["load-a"], "frequency_hz": frequency, "power_w": watts},
             {"id": "level", "measure": "distortion", "loads": ["load-a"], "frequency_hz": frequency, "drive_dbfs": -6.0}]
    a2, a3 = 2e-5, 3e-6
    law = laws.polynomial(a2, a3)
    with program.Workshop(program.job_text(tests), program.bench_text(loads=[load])) as shop:
        recordings = {}
        for test in ("asked", "level"):
            tone, rate = shop.tone(test)
            analog = bench.amplify(tone, rate, law, program.OUTPUT_V * GAIN)
            recordings[test] = bench.Recorder(rate_hz=RATE, noise_dbfs=-125.0).record(analog, program.PROBE_V)
        outcome = shop.run(recordings)
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        volts = np.sqrt(watts / conductance(frequency))
        report.relative("voltage_v at the power", outcome.value("asked", "voltage_v"), volts, 0.05)
        report.relative("power_w", outcome.value("asked", "power_w"), watts, 0.1)
        level_v = outcome.value("level", "voltage_v")
        form = closed_forms.polynomial(a2, a3, program.OUTPUT_V * GAIN * 10 ** (-6 / 20), 4)
        report.relative("at a level: voltage_v", level_v, closed_forms.rms(form), 0.02)
        report.relative("at a level: power_w counts the inductance", outcome.value("level", "power_w"), closed_forms.rms(form)**2 * conductance(frequency), 0.1)
        # Amplitude of the fundamental that makes those volts: harmonics are far too small to count.
        peak = volts * np.sqrt(2)
        ideal = peak / (1 + 0.75 * a3 * peak**2)
        form = closed_forms.polynomial(a2, a3, ideal, 4)
        for order in (2, 3):
            found = outcome.value("asked", f"harmonic_{order}_percent")
            expected = 100 * abs(form[order] / form[1])
            report.absolute(f"harmonic {order} at the power, dB", None if not found else 20 * np.log10(found), 20 * np.log10(expected), 0.3)
        curve = outcome.findings("asked", "load-a")["curves"]["level"]
        error = np.array(curve["power_w"]) / (np.array(curve["voltage_v"]) ** 2 * conductance(frequency)) - 1
        report.check(np.max(abs(error)) < 1e-3, "curve: watts count the inductance", f"off by at most {100 * np.max(abs(error)):.4f} %")
        lacking = shop.run({"asked": recordings["asked"] * 0.1, "level": None})
        report.check(lacking.value("asked", "power_w") is None and "power-not-reached" in lacking.warnings("asked"), "too little gain: no numbers, with the reason",
                     lacking.warnings("asked")[:200])


def clipping():
    """A hard clip at 10 kHz into the same load: its 1 % power is less by the conductance."""
    frequency, rail = 10000.0, 20.0
    load = program.load("load-a", OHM, "probe-a", inductance_uh=UH)
    test = {"id": "clip", "measure": "clipping-power", "loads": ["load-a"], "frequency_hz": frequency, "distortion_limits_percent": [1],
            "distortion_bandwidth_hz": 40000, "from_dbfs": -8.0, "to_dbfs": -1.0}
    with program.Workshop(program.job_text([test]), program.bench_text(loads=[load])) as shop:
        tone, rate = shop.tone("clip")
        analog = bench.amplify(tone, rate, laws.hard_clip(rail), program.OUTPUT_V * GAIN, oversample=32)
        outcome = shop.run({"clip": bench.Recorder(rate_hz=RATE, noise_dbfs=-120.0).record(analog, program.PROBE_V)})
        volts, watts = outcome.value("clip", "voltage_at_1_percent_v"), outcome.value("clip", "power_at_1_percent_w")
        report.check(outcome.status == 0 and volts is not None, "a hard clip at 10 kHz", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        report.relative("power_at_1_percent_w is V^2 R / (R^2 + (wL)^2)", watts, volts**2 * conductance(frequency), 0.01)


def separation():
    """Crosstalk that grows with the level, so that only the right power gives the right number."""
    outputs = [{"name": name, "channel": channel, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": 0.0}
               for channel, name in ((1, "left-out"), (2, "right-out"))]
    inputs = [program.probe("probe-a", 1), program.probe("probe-b", 2, attenuation=1.0)]
    loads = [program.load("left", OHM, "probe-a", driven_by=["left-out"]), program.load("right", OHM, "probe-b", driven_by=["right-out"])]
    watts, knee_v, share = 10.0, 20.0, 1e-3
    test = {"id": "apart", "measure": "separation", "driven": "left", "idle": "right", "power_w": watts, "frequencies_hz": [100, 1000, 10000]}
    with program.Workshop(program.job_text([test]), program.bench_text(outputs=outputs, inputs=inputs, loads=loads)) as shop:
        tone, rate = shop.tone("apart", 1)
        fine = bench.upsample(np.concatenate([tone, np.zeros(rate // 4)]), 4, rate) * program.OUTPUT_V * GAIN
        peak_v = bench.envelope(fine, 4 * rate)
        heard = fine * share * (1 + peak_v / knee_v)
        record = lambda volts, scale, seed: bench.Recorder(rate_hz=RATE, noise_dbfs=-115.0, seed=seed).record(bench.Analog(4 * rate, volts), scale)  # noqa: E731
        samples = np.stack([record(fine, program.PROBE_V, 2), record(heard, program.INPUT_V, 5)], 1)
        outcome = shop.run({"apart": samples})
        report.check(outcome.status == 0, "separation: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        peak = np.sqrt(2 * watts * OHM)
        expected = -20 * np.log10(share * (1 + peak / knee_v))
        report.absolute("separation_1khz_db at the power", outcome.value("apart", "separation_1khz_db", None), expected, 0.15)
        found = np.array(outcome.findings("apart")["curves"]["separation"]["separation_db"], float)
        report.check(len(found) == 3 and np.max(abs(found - expected)) < 0.15, "curve", f"{found} against {expected:.3f} dB")
        report.relative("condition power_w", outcome.findings("apart")["conditions"].get("power_w"), watts, 0.1)
        faint = shop.run({"apart": samples * [0.05, 0.05]})
        report.check(faint.value("apart", "separation_1khz_db", None) is None and "power-not-reached" in faint.warnings("apart"),
                     "too little gain: no number, with the reason", faint.err.strip()[:200])


def swept(shop, test, law):
    """A tone of several sweeps through the law, recorded."""
    tone, rate = shop.tone(test)
    analog = bench.amplify(np.concatenate([tone, np.zeros(rate // 2)]), rate, law, program.OUTPUT_V * GAIN)
    return bench.Recorder(rate_hz=SWEPT_RATE, noise_dbfs=-120.0, ppm=40.0).record(analog, program.PROBE_V)


SWEPT_RATE = 48000


def response():
    """The gain and the harmonics of a curved unit depend on the level: the power says which."""
    watts, a2, a3 = 16.0, 4e-5, -4e-5
    sound = {"sample_rate_hz": SWEPT_RATE}
    test = {"id": "asked", "measure": "response", "loads": ["load-a"], "start_hz": 100.0, "stop_hz": 5000.0, "power_w": watts}
    with program.Workshop(program.job_text([test, {**test, "id": "near", "power_w": 10.0}]), program.bench_text(sound=sound)) as shop:
        curved = swept(shop, "asked", laws.polynomial(a2, a3))
        outcome = shop.run({"asked": curved, "near": swept(shop, "near", laws.straight)}, SWEPT_RATE)
        report.check(outcome.status == 0, "response: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        # x + a2 x^2 + a3 x^3 at peak A: fundamental A + 3/4 a3 A^3, second a2 A^2 / 2, third a3 A^3 / 4.
        peak = np.sqrt(2 * watts * OHM)
        ideal = peak
        for _ in range(50):
            ideal = peak / (1 + 0.75 * a3 * ideal**2)
        gain = 20 * np.log10(GAIN * (1 + 0.75 * a3 * ideal**2))
        report.absolute("response: gain_1khz_db at the power", outcome.value("asked", "gain_1khz_db"), gain, 0.01)
        curve = outcome.findings("asked", "load-a")["curves"]["response"]
        report.absolute("response: the curve's furthest point", float(np.max(np.abs(np.array(curve["magnitude_db"]) - gain))), 0.0, 0.01)
        at = int(np.argmin(np.abs(np.array(curve["frequency_hz"]) - 1000)))
        form = closed_forms.polynomial(a2, a3, ideal, 4)
        for order in (2, 3):
            found = curve[f"harmonic_{order}_percent"][at]
            report.absolute(f"response: harmonic {order} at the power, dB", None if not found else 20 * np.log10(found),
                            20 * np.log10(100 * abs(form[order] / form[1])), 0.3)
        drive = 20 * np.log10(ideal / (program.OUTPUT_V * GAIN))
        report.absolute("response: drive_dbfs at the power", outcome.findings("asked")["conditions"].get("drive_dbfs"), drive, 0.02)
        verified = program.assay("verify", outcome.folder)
        report.check(verified.status == 0, "response: verify computes the same", verified.err.strip()[:200])
        faint = shop.run({"asked": 0.1 * curved}, SWEPT_RATE)
        report.check(faint.value("asked", "gain_1khz_db") is None and "power-not-reached" in faint.warnings("asked"),
                     "response: too little gain: no number, with the reason", faint.warnings("asked")[:200])
        # 0.3 dB below the ceiling: the louder of the two sweeps is 2.3 dB above it, and the gain lies within its uncertainty.
        rail = np.sqrt(2 * 10.0 * OHM) * 10 ** (0.3 / 20)
        near = shop.run({"near": swept(shop, "near", laws.hard_clip(rail))}, SWEPT_RATE)
        found = near.findings("near", "load-a")["quantities"]["gain_1khz_db"]
        off = abs(found["value"] - 20 * np.log10(GAIN))
        report.check(off > 0.1 and off <= found["expanded_uncertainty"] and "gain-bends" in near.warnings("near"),
                     "response: near the ceiling the gain is doubted, and why is told", f"off by {off:.3f} dB of {found['expanded_uncertainty']:.3f} dB")
    both = [test, {"id": "open", "measure": "response", "loads": ["open"]},
            {"id": "inner", "measure": "output-impedance", "loaded": "asked", "unloaded": "open"}]
    loads = [program.load("load-a", OHM, "probe-a"), {"name": "open", "resistance_ohm": float("inf"), "plus": "probe-a"}]
    for tests, words in ((both, "asks for a power"), ([{**test, "loads": ["open"]}], "no resistance")):
        with program.Workshop(program.job_text(tests), program.bench_text(sound=sound, loads=loads)) as shop:
            refused = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(refused.status == 2 and words in refused.err, f"refused: {words}", refused.err.strip()[:200])


for part in (distortion, clipping, separation, response):
    report.guarded(part.__name__, part)
report.finish()
