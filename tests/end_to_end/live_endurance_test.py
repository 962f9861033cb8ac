"""Endurance live: a level held for a minute whose output falls in its middle, and what the watcher is told meanwhile.

Closed forms: the virtual bench multiplies by its gain, so that the volts are drive times gain and the fall is the ratio of
two gains; P = V^2 / R. When the gain was turned down is read from the capture by NumPy, as the RMS of tenths of a second.
Tolerances: 0.01 dB of the design for volts (0.12 %), twice that for watts; for the minute what the program itself states.
"""

import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program, sound_files  # noqa: E402
from outside.live_bench import ASSAY, GAIN, OHM, RAIL, RATE, Folder, LiveBench, at_terminal  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("endurance live")
DRIVE_DBFS, LOWER_GAIN, AT_S = -30.0, 3.0, 30.0
VOLTS = program.PROBE_V * GAIN * 10 ** (DRIVE_DBFS / 20) / np.sqrt(2)


def held_s(path):
    """Seconds from the first loud tenth of a second to the first that lies below the middle of both levels."""
    sound = sound_files.read_wav(path)
    whole = sound.channel(1)
    tenth = RATE // 10
    volts = np.sqrt(np.mean(whole[:len(whole) // tenth * tenth].reshape(-1, tenth) ** 2, 1)) * program.PROBE_V
    first = int(np.argmax(volts > 0.9 * VOLTS))
    middle = 0.5 * VOLTS * (1 + LOWER_GAIN / GAIN)
    return 0.1 * float(np.argmax(volts[first:] < middle))


def falls():
    test = {"id": "held", "measure": "endurance", "loads": ["load-a"], "minutes": 1.0, "drive_dbfs": DRIVE_DBFS, "end_fall_db": 1.0}
    arguments = ["--gain", str(GAIN), "--rail", str(RAIL), "--at", f"{AT_S:.0f}:gain {LOWER_GAIN}"]
    with LiveBench(rate_hz=RATE, period=1024, arguments=arguments) as bench, Folder("held", [test]) as folder:
        seen = at_terminal(bench, folder.command("--yes", "--pages", "none"), [], timeout_s=300)
        report.check(seen.status == 0, "accepted", "" if seen.status == 0 else f"exit {seen.status}: {seen.text.strip()[-300:]}")
        found = folder.session()["tests"]["held"]
        truth_s = held_s(folder.into / "captures" / "held.wav")
        lasted_s = sound_files.read_wav(folder.into / "captures" / "held.wav").channel(1).size / RATE
        verified = bench.run(ASSAY, "verify", folder.into)
        report.check(verified.returncode == 0, "verify", verified.stderr.strip()[-200:])
    load = found["loads"]["load-a"]
    log = {name: np.array(column, float) for name, column in load["curves"]["log"].items()}
    report.relative("volts before", log["voltage_v"][1], VOLTS, 0.12)
    report.relative("volts behind", log["voltage_v"][-2], VOLTS * LOWER_GAIN / GAIN, 0.12)
    report.relative("watts before", log["power_w"][1], VOLTS**2 / OHM, 0.24)
    ended = load["quantities"]["run_minutes"]
    report.absolute("run_minutes", ended["value"], truth_s / 60.0, ended["expanded_uncertainty"])
    # Rows are two seconds long; one in which the gain jumps may be left out as uneven, so that three span the fall.
    report.check(ended["expanded_uncertainty"] < 3 * 2.0 / 60.0, "the minute is known to a few seconds", f"{ended['expanded_uncertainty']:.3f} min")
    report.check(found["conditions"]["ended_by.load-a"] == "fall of the output", "ended by the fall", found["conditions"]["ended_by.load-a"])
    shares = [int(share) for share in re.findall(r"held +(\d+) %", seen.text)]
    report.check(truth_s + 5.0 < lasted_s < truth_s + 18.0, "the load is not heated for long after the fall", f"fell at {truth_s:.1f} s, ended at {lasted_s:.1f} s of 60 s")
    report.check(shares == sorted(shares) and shares[0] < 5 and 50 < shares[-1] < 75 and len(set(shares)) > 40,
                 "the line of progress goes from none to where it ended", f"{len(shares)} lines, {shares[:1]} to {shares[-1:]} %")


report.guarded("falls", falls)
report.finish()
