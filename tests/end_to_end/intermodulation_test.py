"""The measure `intermodulation` on recordings made by the outside bench (numpy).

Source: two tones of amplitudes A1, A2 through x + a2 x^2 + a3 x^3, elementary trigonometry:
  f1: A1 (1 + 3/4 a3 A1^2 + 3/2 a3 A2^2), f2 likewise; f2 +/- f1: a2 A1 A2; f2 +/- 2 f1: 3/4 a3 A1^2 A2;
  2 f1 - f2: 3/4 a3 A1^2 A2; 2 f2 - f1: 3/4 a3 A2^2 A1.
For the pair 4:1 of combined peak Ap and k = a3 Ap^2 = -0.04 that is 3.998334 % of third order (arithmetic sum), with
a2 Ap = 0.01 1.6 % over the high tone's factor of second order. Tolerance: 0.3 % of the value.
"""

import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, laws, program, sound_files  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
IDEAL_V = 20.0
LEVEL_DBFS = -6.0
PEAK_V = IDEAL_V * 10 ** (LEVEL_DBFS / 20)
report = Report("Intermodulation")


def expected(low_share, a2, a3, method):
    a, b = low_share * PEAK_V, (1 - low_share) * PEAK_V
    u1 = a * (1 + 0.75 * a3 * a * a + 1.5 * a3 * b * b)
    u2 = b * (1 + 0.75 * a3 * b * b + 1.5 * a3 * a * a)
    if method == "modulation":
        return 100 * 2 * a2 * a * b / u2, 100 * 2 * 0.75 * abs(a3) * a * a * b / u2
    return 100 * a2 * a * b / (u1 + u2), 100 * 0.75 * abs(a3) * (a * a * b + b * b * a) / (u1 + u2)


def one(test, low_share, k2, k3, method, rate=RATE, **settings):
    stem = "modulation_distortion" if method == "modulation" else "difference_frequency_distortion"
    a2, a3 = k2 / PEAK_V, k3 / PEAK_V**2
    name = f"{method}, k2 {k2}, k3 {k3}, {settings}"
    with program.Workshop(program.job_text([{"id": "two", "measure": "intermodulation", "loads": ["load-a"], "method": method, "drive_dbfs": LEVEL_DBFS, **test}])) as shop:
        tone, tone_rate = shop.tone("two")
        report.absolute(f"{name}: peak of the tone is that of a sine of its level", np.max(abs(tone)), 10 ** (LEVEL_DBFS / 20), 0.01)
        output = bench.amplify(tone, tone_rate, laws.polynomial(a2, a3), IDEAL_V)
        samples = bench.Recorder(rate_hz=rate, **{"noise_dbfs": -110.0, **settings}).record(output, program.PROBE_V)
        outcome = shop.run({"two": (samples, rate, "pcm24")})
        report.check(outcome.status == 0, f"{name}: accepted", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        second, third = expected(low_share, a2, a3, method)
        report.relative(f"{name}: second order", outcome.value("two", stem + "_2_percent"), second, 0.3)
        report.relative(f"{name}: third order", outcome.value("two", stem + "_3_percent"), third, 0.3)
        report.relative(f"{name}: both", outcome.value("two", stem + "_percent"), np.hypot(second, third), 0.3)
        report.check("U(f2" in outcome.findings("two")["conditions"]["formula"], f"{name}: the formula is told")


def tables():
    report.absolute("4:1, k = -0.04: the published 3.998334 % is this file's formula", expected(0.8, 0.0, -0.04 / PEAK_V**2, "modulation")[1], 3.998334, 1e-6)
    report.absolute("1:1, k = -0.04: the published 0.767263 %", expected(0.5, 0.0, -0.04 / PEAK_V**2, "difference-frequency")[1], 0.767263, 1e-6)
    one({}, 0.8, 0.01, -0.04, "modulation")
    one({}, 0.8, 0.001, -0.01, "modulation", rate=44100, ppm=180.0, hum_dbfs=-70.0)
    one({"frequencies_hz": [250.0, 8000.0]}, 0.8, 0.0005, 0.0008, "modulation")
    one({}, 0.5, 0.004, -0.04, "difference-frequency")
    one({}, 0.5, 0.002, 0.003, "difference-frequency", rate=48000, ppm=-90.0)


def recordings(shop, **samples):
    folder = shop.folder / "again"
    folder.mkdir(exist_ok=True)
    for test, of in samples.items():
        sound_files.write_wav(folder / f"{test}.wav", RATE, of, "pcm24")
    return folder


def checked_elsewhere():
    """A session holds copies of what its bench names outside of its folder: `check` goes by those, wherever the session lies."""
    card = {"schema": "assay-response-1", "input": "probe-a", "rate_hz": RATE, "date": "2026-05-04", "frequency_hz": [10, 1000, 40000],
            "magnitude_db": [0, 0, 0], "phase_deg": [0, 0, 0]}
    inputs = [program.probe("probe-a", 1, response="../cards/flat.json")]
    with program.Workshop(program.job_text([{"id": "two", "measure": "intermodulation", "loads": ["load-a"], "drive_dbfs": LEVEL_DBFS}])) as shop:
        (shop.folder / "cards").mkdir()
        (shop.folder / "cards/flat.json").write_text(json.dumps(card))
        (shop.folder / "bench").mkdir()
        shop.bench = shop.folder / "bench/bench.toml"
        shop.bench.write_text(program.bench_text(inputs=inputs))
        tone, rate = shop.tone("two")
        samples = bench.Recorder().record(bench.amplify(tone, rate, laws.polynomial(0.01 / PEAK_V, -0.04 / PEAK_V**2), IDEAL_V), program.PROBE_V)
        outcome = shop.run({"two": samples}, keep_session=shop.folder / "deeper/down/session")
        report.check(outcome.status == 0, "a card's response beside the bench: accepted", outcome.err.strip()[:200])
        again = program.assay("check", outcome.folder, "--recordings", recordings(shop, two=samples))
        report.check(again.status == 0 and "same unit, unchanged" in again.out, "check: the session's own copies are read", again.err.strip()[:300] + again.out[-200:])


def clean():
    with program.Workshop(program.job_text([{"id": "two", "measure": "intermodulation", "loads": ["load-a"]}])) as shop:
        tone, rate = shop.tone("two")
        output = bench.amplify(tone, rate, laws.straight, IDEAL_V)
        outcome = shop.run({"two": bench.Recorder(noise_dbfs=-90.0).record(output, program.PROBE_V)})
        report.check(outcome.status == 0 and outcome.value("two", "modulation_distortion_percent") is None and "below-noise" in outcome.warnings("two"),
                     "a straight unit in noise: no number", str(outcome.findings("two", "load-a")["quantities"])[:200])
        nothing = program.assay("check", outcome.folder, "--recordings", recordings(shop, two=bench.Recorder(noise_dbfs=-90.0).record(output, program.PROBE_V)))
        report.check(nothing.status == 2 and "no number that could be compared" in nothing.err and "unchanged" not in nothing.out,
                     "check: no figures, no verdict", f"exit {nothing.status} {nothing.err.strip()[:200]} {nothing.out[-200:]}")
        samples = bench.Recorder().record(output, program.PROBE_V)
        refused = shop.run({"two": bench.lost(samples, int(3.4 * RATE), 300)})
        report.check(refused.status == 3 and "dropout" in refused.err, "300 samples lost: exit 3", refused.err.strip()[:200])
    for fields, word in (({"power_w": 5.0}, "power_w"), ({"frequencies_hz": [60.0]}, "frequencies_hz"), ({"frequencies_hz": [6000.0, 7000.0]}, "frequencies_hz"),
                         # f2 - f1 and 2 f1 - f2 are both 5 kHz: no fit can tell the two orders apart.
                         ({"frequencies_hz": [10000.0, 15000.0], "method": "difference-frequency"}, "on one another")):
        job = program.job_text([{"id": "two", "measure": "intermodulation", "loads": ["load-a"], **fields}])
        with program.Workshop(job) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{fields}: refused", done.err.strip()[:200])


for part in (tables, checked_elsewhere, clean):
    report.guarded(part.__name__, part)
report.finish()
