"""The measure `separation` on recordings made by the outside bench (numpy).

Source: the crosstalk is a transfer function that the bench applies by FFT: a shared resistance and a stray capacitance,
k + j f / f0; its magnitude is the closed value. Tolerance: 0.05 dB, where noise stands 40 dB below the crosstalk.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
report = Report("Channel separation")
OUTPUTS = [{"name": name, "channel": channel, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": 0.0}
           for channel, name in ((1, "left-out"), (2, "right-out"))]
INPUTS = [program.probe("probe-a", 1), program.probe("probe-b", 2, attenuation=2.0)]
LOADS = [program.load("left", 4.0, "probe-a", driven_by=["left-out"]), program.load("right", 4.0, "probe-b", driven_by=["right-out"])]
TEST = {"id": "apart", "measure": "separation", "driven": "left", "idle": "right", "drive_dbfs": -12.0}


def crosstalk(f):
    return 3e-4 + 1j * f / 2e7


def record(shop, noise_dbfs=-125.0, through=crosstalk, **settings):
    tone, rate = shop.tone("apart", 1)
    report.check(np.max(abs(shop.tone("apart", 2)[0])) == 0 and np.max(abs(tone)) > 0.2, "the tone is in the driven channel alone")
    fine = bench.upsample(np.concatenate([tone, np.zeros(rate // 4)]), 4, rate) * program.OUTPUT_V * 12
    f = np.fft.rfftfreq(len(fine), 1 / (4 * rate))
    heard = np.fft.irfft(np.fft.rfft(fine) * through(f), len(fine))
    a = bench.Recorder(rate_hz=RATE, noise_dbfs=noise_dbfs, seed=2, **settings).record(bench.Analog(4 * rate, fine), program.PROBE_V)
    b = bench.Recorder(rate_hz=RATE, noise_dbfs=noise_dbfs, seed=5, **settings).record(bench.Analog(4 * rate, heard), program.INPUT_V * 2.0)
    return np.stack([a, b], 1)


def run():
    with program.Workshop(program.job_text([TEST]), program.bench_text(outputs=OUTPUTS, inputs=INPUTS, loads=LOADS)) as shop:
        samples = record(shop, ppm=35.0)
        outcome = shop.run({"apart": samples})
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        report.absolute("separation_1khz_db", outcome.value("apart", "separation_1khz_db", None), -20 * np.log10(abs(crosstalk(1e3))), 0.05)
        c = outcome.findings("apart")["curves"]["separation"]
        f = np.array(c["frequency_hz"])
        error = np.array(c["separation_db"], float) + 20 * np.log10(abs(crosstalk(f)))
        report.check(len(f) == 10 and np.max(abs(error)) <= 0.05, "curve, 20 Hz to 20 kHz", f"off by at most {np.max(abs(error)):.4f} dB of 0.05")
        clean = np.array(c["expanded_uncertainty_db"], float)
        stated = outcome.findings("apart")["quantities"]["separation_1khz_db"]["expanded_uncertainty"]
        report.absolute("each point's uncertainty: at 1 kHz it is the number's", clean[list(f).index(1000.0)], stated, 1e-9)
        hissing = shop.run({"apart": record(shop, noise_dbfs=-50.0)}).findings("apart")["curves"]["separation"]
        wide = np.array(hissing["expanded_uncertainty_db"], float)
        ratio = abs(np.array(hissing["separation_db"], float) + 20 * np.log10(abs(crosstalk(f)))) / wide
        report.check(np.all(wide >= clean) and wide[0] > 1.3 * clean[0] and np.max(ratio) <= 1.5 and np.mean(ratio <= 1) >= 0.9,
                     "with noise it grows, and holds the truth", f"{wide[0]:.3f} dB after {clean[0]:.3f} dB; off by at most {np.max(ratio):.2f} of it")
        noisy = shop.run({"apart": record(shop, noise_dbfs=-60.0, through=lambda f: 1e-6 + 0 * f)})
        absent = {entry["quantity"]: entry for entry in noisy.findings("apart")["absent"]}
        report.check(noisy.status == 0 and noisy.value("apart", "separation_1khz_db", None) is None and "better than" in absent["separation_1khz_db"]["text"],
                     "drowned in noise: no number", str(absent)[:200])
        swapped = shop.run({"apart": samples[:, ::-1] * 0.3})
        report.check(swapped.status == 3 and "louder" in swapped.err, "channels swapped: exit 3", swapped.err.strip()[:200])
        middle = int((0.7 + 6.3) * RATE)
        for name, hurt in (("300 samples lost", bench.lost(samples, middle, 300)), ("a block of zeros", bench.silenced(samples, middle, 480))):
            refused = shop.run({"apart": hurt})
            report.check(refused.status == 3 and "dropout" in refused.err, f"{name}: exit 3", refused.err.strip()[:200])


def hum():
    """The idle channel's own hum, 6 dB above what comes over at 50 Hz; the mains off their name by 30 mHz. Truth as above."""
    with program.Workshop(program.job_text([TEST]), program.bench_text(outputs=OUTPUTS, inputs=INPUTS, loads=LOADS), environment=program.WITHOUT_PAGES) as shop:
        samples = record(shop, ppm=35.0)
        time = np.arange(len(samples)) / RATE
        size = 2 * abs(crosstalk(50.0)) * program.OUTPUT_V * 12 * 10 ** (-12 / 20) / (program.INPUT_V * 2.0)
        wander = 0.25 / 0.21 * np.sin(2 * np.pi * 0.21 * time)
        for name, phase in (("steady", 0.0 * time), ("that wanders by 0.25 Hz", wander)):
            loud = samples + np.outer(size * np.sin(2 * np.pi * 49.97 * time + phase), [0.0, 1.0])
            outcome = shop.run({"apart": loud})
            c = outcome.findings("apart")["curves"]["separation"]
            at = c["frequency_hz"].index(50.0)
            truth = -20 * np.log10(abs(crosstalk(50.0)))
            found, stated, least = c["separation_db"][at], c["expanded_uncertainty_db"][at], c["separation_at_least_db"][at]
            if name == "steady":
                report.check(found is not None and abs(found - truth) <= 0.1, "steady hum is taken out at 50 Hz",
                             f"{found} dB, truth {truth:.2f}, {-20 * np.log10(3 * abs(crosstalk(50.0))):.1f} to {-20 * np.log10(abs(crosstalk(50.0))):.1f} with it")
                report.check("hum-taken-out" in outcome.warnings("apart") and "50" in outcome.warnings("apart"), "and told")
            else:
                report.check(found is None and stated is None and least <= truth and "hum-hides" in outcome.warnings("apart"),
                             f"hum {name}: no more than a bound, and told", f"{found}, at least {least:.2f}, truth {truth:.2f}")
            report.absolute("1 kHz is as without", outcome.value("apart", "separation_1khz_db", None), -20 * np.log10(abs(crosstalk(1e3))), 0.05)


def bad_jobs():
    shared = [dict(LOADS[0], driven_by=["left-out", "right-out"]), LOADS[1]]
    for change, loads, word in (({"idle": "left"}, LOADS, "idle"), ({"driven": "middle"}, LOADS, "driven"), ({}, shared, "driven"),
                                ({"loads": ["left"]}, LOADS, "loads")):
        with program.Workshop(program.job_text([{**TEST, **change}]), program.bench_text(outputs=OUTPUTS, inputs=INPUTS, loads=loads)) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{change} {word}: refused", done.err.strip()[:200])


for part in (run, hum, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
