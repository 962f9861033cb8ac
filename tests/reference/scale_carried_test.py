"""A scale found at 83 Hz, carried to other frequencies through an input's coupling capacitor.

Closed form: a first-order high-pass, |H(f)| = 1 / sqrt(1 + (fc/f)^2). The recording is the tone through that law; the
bench's scale is what a meter at 83 Hz would have given. Stated, the corner is taken out; not stated, the result is
wider, and holds the truth for corners up to the 10 Hz that an ordinary card keeps (common practice, no source).
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("scales carried to other frequencies")
FREQUENCIES = (20, 997, 10000)
CALIBRATED_HZ, LEVEL_DBFS, SCALE = 83.0, -12.0, 1.95
TRUE_V = SCALE * program.ATTENUATION * 10 ** (LEVEL_DBFS / 20) / np.sqrt(2)


def high_pass(f, corner):
    return 1 / (1 - 1j * corner / np.maximum(f, 1e-9))


def coupled(samples, rate, corner):
    n = 2 * len(samples)
    spectrum = np.fft.rfft(samples, n)
    return np.fft.irfft(spectrum * high_pass(np.fft.rfftfreq(n, 1 / rate), corner), n)[:len(samples)]


def volts(corner, stated):
    """Test id -> (volts, expanded uncertainty, share of the response's doubt)."""
    tests = [{"id": f"at-{f}", "measure": "distortion", "loads": ["load-a"], "frequency_hz": f, "drive_dbfs": LEVEL_DBFS} for f in FREQUENCIES]
    found = SCALE / abs(high_pass(CALIBRATED_HZ, corner))
    probe = program.probe("probe-a", 1, volts_at_full_scale=float(found), uncertainty_percent=0.01, calibrated_at_hz=CALIBRATED_HZ,
                          **({"high_pass_hz": float(corner)} if stated else {}))
    bench = program.bench_text(inputs=[probe], loads=[program.load("load-a", 8.0, "probe-a")])
    with program.Workshop(program.job_text(tests), bench, environment=program.WITHOUT_PAGES) as shop:
        recordings = {}
        for test in tests:
            samples, rate = shop.tone(test["id"])
            recordings[test["id"]] = (coupled(samples, rate, corner), rate, "pcm24")
        outcome = shop.run(recordings)
        report.check(outcome.status == 0, f"exit status, {corner} Hz", f"{outcome.status} {outcome.err.strip()}")
        return {f: outcome.findings(f"at-{f}", "load-a")["quantities"]["voltage_v"] for f in FREQUENCIES}


def stated():
    for corner in (4, 10, 20):
        for f, got in volts(corner, True).items():
            # 24-bit samples and the fit: far below 0.02 %, the scale's own uncertainty twice.
            report.relative(f"{f} Hz through {corner} Hz, stated", got["value"], TRUE_V, 0.02)


def left_out():
    for corner in (4, 10):
        for f, got in volts(corner, False).items():
            off = got["value"] - TRUE_V
            report.check(abs(off) <= got["expanded_uncertainty"], f"{f} Hz through {corner} Hz, not stated",
                         f"off by {100 * off / TRUE_V:+.2f} %, stated {100 * got['expanded_uncertainty'] / TRUE_V:.2f} %")


def found_at(corner):
    return float(SCALE / abs(high_pass(CALIBRATED_HZ, corner)))


def coupled_probe(name, channel, corner):
    return program.probe(name, channel, volts_at_full_scale=found_at(corner), uncertainty_percent=0.01, calibrated_at_hz=CALIBRATED_HZ, high_pass_hz=float(corner))


def noise():
    """White noise through the coupling, against the same samples without one: the samples' own spread falls out."""
    rate, corner = 96000, 20
    samples = 1e-3 * np.random.default_rng(5).standard_normal(12 * rate)
    got = {}
    for name, heard, probe in (("plain", samples, program.probe("probe-a", 1, volts_at_full_scale=SCALE)),
                               ("coupled", coupled(samples, rate, corner), coupled_probe("probe-a", 1, corner))):
        job = program.job_text([{"id": "hiss", "measure": "noise", "loads": ["load-a"]}])
        with program.Workshop(job, program.bench_text(inputs=[probe]), environment=program.WITHOUT_PAGES) as shop:
            outcome = shop.run({"hiss": (heard, rate, "pcm24")})
            got[name] = {q: outcome.value("hiss", q) for q in ("noise_v", "noise_a_weighted_v")}
    # 24 bits add 3e-5 of the noise; the lowest bins of the band, where the law is steep, are 1e-3 of its power.
    for quantity, plain in got["plain"].items():
        report.relative(f"{quantity} through 20 Hz, its scale found at 83 Hz", got["coupled"][quantity], plain, 0.05)


def separation():
    """Two inputs of unlike corners, both scales found at 83 Hz; the idle side gets a thousandth."""
    corners = (4, 20)
    probes = [coupled_probe(f"probe-{n}", k + 1, corner) for k, (n, corner) in enumerate(zip("ab", corners))]
    bench = program.bench_text(outputs=[{"name": f"drive-{n}", "channel": k + 1, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": 0.0} for k, n in enumerate("ab")],
                               inputs=probes, loads=[program.load(f"load-{n}", 8.0, f"probe-{n}", driven_by=[f"drive-{n}"]) for n in "ab"])
    test = {"id": "apart", "measure": "separation", "driven": "load-a", "idle": "load-b", "drive_dbfs": LEVEL_DBFS, "frequencies_hz": [20, 100, 1000]}
    with program.Workshop(program.job_text([test]), bench, environment=program.WITHOUT_PAGES) as shop:
        samples, rate = shop.tone("apart")
        both = np.stack([coupled(samples, rate, corners[0]), coupled(1e-3 * samples, rate, corners[1])], axis=1)
        outcome = shop.run({"apart": (both, rate, "pcm24")})
        report.check(outcome.status == 0, "separation: exit status", f"{outcome.status} {outcome.err.strip()[-200:]}")
        curve = outcome.findings("apart")["curves"]["separation"]
        for f, db in zip(curve["frequency_hz"], curve["separation_db"]):
            report.absolute(f"separation at {f} Hz through unlike corners, dB", db, 60.0, 0.01)


for part in (stated, left_out, noise, separation):
    report.guarded(part.__name__, part)
report.finish()
