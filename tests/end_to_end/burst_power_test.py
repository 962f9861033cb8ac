"""The measure `burst-power` on recordings made by the outside bench (numpy).

Source: power at 1 % THD of a hard-clipped sine, closed form (Fourier series); a unit whose rails are 24 V in bursts and
20 V in the steady test has a headroom of 20 log10(24 / 20) = 1.583625 dB. The pattern of 20 cycles and 480 cycles 20 dB
lower is the one known from the trade; its mean power is 4.96 % of the burst's. Tolerances: 0.5 % of power
(a curve is laid through steps of 0.25 dB, and distortion sets in within one), 0.03 dB.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE, OHM, IDEAL_V = 96000, 4.0, 32.0
report = Report("Burst power")
STEADY = {"id": "steady", "measure": "clipping-power", "loads": ["load-a"], "from_dbfs": -10.0, "to_dbfs": -1.0}
BURST = {"id": "burst", "measure": "burst-power", "loads": ["load-a"], "continuous": "steady", "to_dbfs": -1.0}


def watts(rail_v, percent=1.0):
    c = brentq(lambda c: closed_forms.thd(closed_forms.hard_clip(c, 20)) - percent / 100, 0.3, 1 - 1e-9)
    return np.sum(closed_forms.hard_clip(c, 20)[1:] ** 2) / 2 * (rail_v / c) ** 2 / OHM


def pattern(tone):
    """The last three bursts, all of one level: where each begins and ends, and the mean power from one's beginning to
    the next one's over that of a steady tone."""
    loud = np.flatnonzero(abs(tone) > 0.3)
    begins = loud[np.flatnonzero(np.diff(loud, prepend=-RATE) > RATE // 100)][-3:]
    ends = loud[np.flatnonzero(np.diff(loud, append=2 * len(tone)) > RATE // 100)][-3:]
    period = tone[begins[0]:begins[1]]
    return begins / RATE, ends / RATE, np.mean(period**2) / (np.max(abs(period)) ** 2 / 2)


def run():
    with program.Workshop(program.job_text([STEADY, BURST])) as shop:
        tone, rate = shop.tone("burst")
        begins, ends, duty = pattern(tone)
        report.absolute("mean power of the pattern", duty, 0.0496, 1e-4)
        # The first and the last tenth of a millisecond of a sine are below the threshold.
        report.check(np.allclose(ends - begins, 0.02, atol=4e-4) and np.allclose(np.diff(begins), 0.5, atol=1e-5), "20 ms on, twice a second",
                     f"{ends - begins} {np.diff(begins)}")
        steady_tone, _ = shop.tone("steady")
        steady = bench.Recorder(noise_dbfs=-110.0).record(bench.amplify(steady_tone, rate, laws.hard_clip(20.0), IDEAL_V), program.PROBE_V)
        loud = bench.amplify(tone, rate, laws.hard_clip(24.0), IDEAL_V)
        for settings in ({}, {"rate_hz": 44100, "ppm": -140.0, "start_s": 4.4}):
            samples = bench.Recorder(**{"noise_dbfs": -100.0, **settings}).record(loud, program.PROBE_V)
            outcome = shop.run({"steady": steady, "burst": (samples, settings.get("rate_hz", RATE), "pcm24")})
            report.check(outcome.status == 0, f"{settings}: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
            report.relative(f"{settings}: burst_power_w", outcome.value("burst", "burst_power_w"), watts(24.0), 0.5)
            report.absolute(f"{settings}: headroom_db", outcome.value("burst", "headroom_db"), 20 * np.log10(24 / 20), 0.03)
        alone = shop.run({"steady": None, "burst": bench.Recorder().record(loud, program.PROBE_V)})
        report.check(alone.status == 3 and alone.value("burst", "burst_power_w") is not None and alone.value("burst", "headroom_db") is None,
                     "no continuous power: the burst is still measured", alone.err.strip()[:200])
        weak = bench.Recorder().record(loud, program.PROBE_V)[:int(10 * RATE)]
        cut = shop.run({"steady": steady, "burst": weak})
        report.check(cut.status == 3 and "cut short" in cut.err, "cut short: exit 3", cut.err.strip()[:200])
        straight = bench.Recorder().record(bench.amplify(tone, rate, laws.straight, 20.0), program.PROBE_V)
        never = shop.run({"steady": steady, "burst": straight})
        report.check(never.status == 0 and never.value("burst", "burst_power_w") is None and "limit-not-reached" in never.warnings("burst"),
                     "the limit is not reached: no number", never.warnings("burst")[:200])


def bad_jobs():
    for fields, word in (({"on_ms": 5.0}, "on_ms"), ({"continuous": "nothing"}, "continuous"), ({"drive_dbfs": -10.0}, "drive_dbfs"), ({"frequency_hz": 9000.0}, "frequency_hz")):
        with program.Workshop(program.job_text([STEADY, {**BURST, **fields}])) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{fields}: refused", done.err.strip()[:200])


for part in (run, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
