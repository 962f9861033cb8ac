"""The measure `endurance` on recordings made with numpy: closed forms.

A gain that falls by exp(-t / tau) falls by 1 dB after tau ln(10) / 20; a cubic term of share h is THD h; a mute has the
minute at which it was put in. The fall is counted from the second row, 3 s in. Tolerances: 0.3 s for the fall (the 0.25 s grid of the start);
a quarter of a second at each end for what goes away at once; 2 ppm of clock, from half-second fits at -100 dBFS of noise.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE, F, THIRD = 48000, 997.0, 0.002
report = Report("Endurance")


def recording(minutes, gain, ppm=200.0, lead_s=1.3):
    rate = RATE * (1 + ppm * 1e-6)
    t = np.arange(int(minutes * 60 * rate)) / rate
    sound = gain(t) * (np.sin(2 * np.pi * F * t) + THIRD * np.sin(2 * np.pi * 3 * F * t))
    whole = np.concatenate([np.zeros(int(lead_s * RATE)), sound, np.zeros(RATE)]) * 0.5
    return whole + 1e-5 * np.random.default_rng(1).standard_normal(len(whole))


def run():
    test = {"id": "held", "measure": "endurance", "loads": ["load-a"], "minutes": 2.0, "drive_dbfs": -20.0}
    with program.Workshop(program.job_text([test])) as shop:
        tau = 600.0
        falling = shop.run({"held": (recording(2.0, lambda t: np.exp(-t / tau)), RATE, "pcm24")})
        report.check(falling.status == 0, "slow fall: accepted", falling.err.strip()[:300])
        report.absolute("slow fall: run_minutes", falling.value("held", "run_minutes"), (tau * np.log(10) / 20 + 3.0) / 60, 0.005)
        log = falling.findings("held", "load-a")["curves"]["log"]
        report.absolute("THD of the log", log["thd_percent"][3], 100 * THIRD, 0.004)
        report.relative("volts of the first row", log["voltage_v"][0], 0.5 * program.PROBE_V / np.sqrt(2), 1.0)
        report.absolute("clock_ppm", falling.findings("held")["conditions"]["clock_ppm"], 200.0, 2.0)
        mute = shop.run({"held": (recording(2.0, lambda t: np.where(t < 70.0, 1.0, 0.0)), RATE, "pcm24")})
        report.absolute("mute: run_minutes", mute.value("held", "run_minutes"), 70 / 60, 0.5 / 60)
        report.absolute("mute: output_fall_db", mute.value("held", "output_fall_db"), 0.0, 0.01)
        report.check("output-gone" in mute.warnings("held"), "mute: told", mute.warnings("held")[:200])
        whole = shop.run({"held": (recording(2.05, lambda t: 0 * t + 1), RATE, "pcm24")})
        report.absolute("held to the end: run_minutes", whole.value("held", "run_minutes"), 2.0, 1e-9)


report.guarded("run", run)
report.finish()
