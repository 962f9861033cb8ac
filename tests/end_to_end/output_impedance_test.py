"""The measure `output-impedance` on recordings made by the outside bench (numpy).

Source: the voltage divider of a source with an impedance of its own, V = V0 Z_L / (Z_L + Z_S), applied by FFT on a fine
grid. Tolerance: noise 60 dB below the tone is at most 0.2 mohm of 4 ohm in the magnitude of a point, three of them are
allowed; 0.5 % of the impedance where that is more.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM = 4.0
LOAD_UH = 1.5
REFERENCE_V = 2.5
report = Report("Output impedance")

INPUTS = [program.probe("probe-a", 1), program.probe("ref", 2, volts_at_full_scale=REFERENCE_V, attenuation=1.0, role="reference")]
LOADS = [program.load("load-a", OHM, "probe-a", inductance_uh=LOAD_UH),
         {"name": "open", "resistance_ohm": float("inf"), "plus": "probe-a"}]


def source_ohm(f):
    """Feedback that gives out: resistance with an inductance, and a little lead."""
    return 0.08 + 1j * 2 * np.pi * f * 2e-6


def load_ohm(f):
    return OHM + 1j * 2 * np.pi * f * LOAD_UH * 1e-6


def tests(**more):
    return [{"id": "with", "measure": "response", "loads": ["load-a"], **more},
            {"id": "without", "measure": "response", "loads": ["open"], **more},
            {"id": "inner", "measure": "output-impedance", "loaded": "with", "unloaded": "without"}]


def record(shop, test, loaded, gain=12.0, **settings):
    """Load and reference, two channels."""
    tone, rate = shop.tone(test)
    fine = bench.upsample(np.concatenate([tone, np.zeros(rate // 2)]), 4, rate) * program.OUTPUT_V

    def transfer(f):
        divider = load_ohm(f) / (load_ohm(f) + source_ohm(f)) if loaded else 1.0
        return gain / (1 + 1j * f / 80000) * divider
    output = bench.through(fine, 4 * rate, transfer)
    recorder = bench.Recorder(**{"rate_hz": RATE, "noise_dbfs": -95.0, "seed": 3 + loaded, **settings})
    samples = recorder.record(bench.Analog(4 * rate, output), program.PROBE_V)
    other = bench.Recorder(**{**vars(recorder), "seed": 11 + loaded})
    return np.stack([samples, other.record(bench.Analog(4 * rate, fine), REFERENCE_V)], 1)


MADE = {}


def recordings(shop):
    """Tones go by the tests' names, so both jobs have the same."""
    if not MADE:
        MADE["with"] = record(shop, "with", True)
        MADE["without"] = record(shop, "without", False, start_s=1.1, ppm=40.0)
    return dict(MADE)


def with_reference():
    with program.Workshop(program.job_text(tests(reference="ref")), program.bench_text(inputs=INPUTS, loads=LOADS)) as shop:
        outcome = shop.run(recordings(shop))
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        true = abs(source_ohm(1000.0))
        report.absolute("output_impedance_1khz_ohm", outcome.value("inner", "output_impedance_1khz_ohm", None), true, 6e-4)
        damping = outcome.value("inner", "damping_factor_1khz", None)
        report.relative("damping_factor_1khz", damping, OHM / true, 1.0)
        quantity = outcome.findings("inner")["quantities"]["output_impedance_1khz_ohm"]
        report.check(abs(quantity["value"] - true) <= quantity["expanded_uncertainty"] < 0.01, "truth inside its uncertainty", f"{quantity['expanded_uncertainty']:.2g} ohm")
        c = outcome.findings("inner")["curves"]["output_impedance"]
        f, size, phase = (np.array(c[k]) for k in ("frequency_hz", "magnitude_ohm", "phase_deg"))
        band = (f >= 20) & (f <= 20000)
        error = abs(size - abs(source_ohm(f)))[band] / np.maximum(6e-4, 0.005 * abs(source_ohm(f)))[band]
        report.check(np.max(error) <= 1, "curve, 20 Hz to 20 kHz", f"worst {np.max(error):.2f} of the tolerance, at {f[band][np.argmax(error)]:.0f} Hz")
        ten = np.argmin(abs(f - 10000))
        report.absolute("phase near 10 kHz", phase[ten], np.degrees(np.angle(source_ohm(f[ten]))), 0.7)


def without_reference():
    with program.Workshop(program.job_text(tests()), program.bench_text(loads=LOADS)) as shop:
        recorded = {test: samples[:, 0] for test, samples in recordings(shop).items()}
        outcome = shop.run(recorded)
        expected = OHM * (abs((load_ohm(1e3) + source_ohm(1e3)) / load_ohm(1e3)) - 1)
        report.absolute("no reference: the part in phase", outcome.value("inner", "output_impedance_1khz_ohm", None), expected, 6e-4)
        report.check("in-phase" in outcome.warnings("inner"), "no reference: told of")
        turned = shop.run({"with": 1.05 * recorded["with"], "without": recorded["without"]})
        report.check(turned.value("inner", "output_impedance_1khz_ohm", None) is None and "gain-changed" in turned.warnings("inner"),
                     "a knob turned up in between: no number", turned.warnings("inner")[:160])
        alone = shop.run({"with": recorded["with"], "without": None})
        report.check(alone.status == 3 and "without" in alone.err, "one recording missing: exit 3", alone.err.strip()[:200])


def bad_jobs():
    for change, word in (({"loaded": "none"}, "loaded"), ({"loaded": "without"}, "loaded"), ({"unloaded": "with"}, "unloaded")):
        jobs = tests()
        jobs[2].update(change)
        with program.Workshop(program.job_text(jobs), program.bench_text(loads=LOADS)) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{change}: refused", done.err.strip()[:200])


for part in (with_reference, without_reference, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
