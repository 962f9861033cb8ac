"""A class-AB output stage in ngspice, driven into clipping by a tone file of the program.

Outside references: the circuit is solved by ngspice (netlists beside this file); power at 1 % and 10 % THD is found
from the same volts by SciPy's own route (Blackman-Harris window, FFT, lobes summed, monotone cubic interpolation).
Power within 0.5 %. Two channels bridged into R against the sum of the two into R/2 each, out of phase on the same
supply: within 2 %.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.signal import get_window

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, program  # noqa: E402
from outside.report import Report  # noqa: E402

NETLISTS = Path(__file__).resolve().parent / "ngspice"
DRIVE_V = 1.1  # peak at the stage's input for sample value 1.0
FREQUENCY_HZ = 997


def solve(name, tone, rate_hz, folder):
    """Volts of every probe on the tone's own grid."""
    folder.mkdir()
    time = np.arange(len(tone)) / rate_hz
    np.savetxt(folder / "tone.txt", np.stack([time, tone], 1), fmt="%.10g")
    (folder / "class_ab.inc").write_text((NETLISTS / "class_ab.inc").read_text())
    text = (NETLISTS / f"{name}.cir").read_text()
    # One grid step is left at the end, so that the last row exists after `linearize`.
    for mark, value in [("VOLTS", DRIVE_V), ("STEP", 1 / rate_hz), ("END", time[-2]), ("LARGEST_STEP", 0.5 / rate_hz)]:
        text = text.replace(f"@{mark}@", f"{value:.15g}")
    (folder / "run.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", "run.cir"], cwd=folder, capture_output=True, text=True, timeout=600)
    if not (folder / "out.txt").exists():
        raise AssertionError(f"ngspice gave nothing: {done.stdout[-500:]} {done.stderr[-500:]}")
    rows = np.loadtxt(folder / "out.txt", skiprows=1)
    grid = np.rint(rows[:, 0] * rate_hz).astype(int)
    volts = np.zeros((len(tone), rows.shape[1] - 1))
    volts[grid] = rows[:, 1:]
    volts[grid[-1]:] = volts[grid[-1]]
    return volts


def harmonics(volts, rate_hz, frequency_hz=FREQUENCY_HZ, top_hz=20000):
    """Amplitudes of the 1st .. the last harmonic below top_hz: lobes of a Blackman-Harris window, 4 bins a side."""
    window = get_window("blackmanharris", len(volts))
    power = np.abs(np.fft.rfft((volts - np.mean(volts)) * window)) ** 2
    scale = 4 / (len(volts) * np.sum(window**2))  # energy of a lobe -> amplitude squared
    out = []
    for n in range(1, int(top_hz / frequency_hz) + 1):
        bin_number = int(round(n * frequency_hz * len(volts) / rate_hz))
        out.append(np.sqrt(scale * np.sum(power[bin_number - 4:bin_number + 5])))
    return np.array(out)


def by_scipy(volts, steps, rate_hz, ohm, limits_percent):
    """Watts at each limit, at the last upward crossing in the order of the steps."""
    level, log_thd, log_volts = [], [], []
    for first, end, amplitude in steps:
        # The first third of each step settles; the last 20 ms may hold a fade.
        part = volts[first + (end - first) // 3:end - int(0.02 * rate_hz)]
        h = harmonics(part, rate_hz)
        level.append(20 * np.log10(amplitude))
        log_thd.append(np.log(100 * np.sqrt(np.sum(h[1:] ** 2)) / h[0]))
        log_volts.append(np.log(np.sqrt(np.sum(h**2) / 2)))
    # Only the last rising run: a staircase may come back down to a level (repeats) before or after.
    level, log_thd, log_volts = map(np.array, (level, log_thd, log_volts))
    found = {}
    for limit in limits_percent:
        up = np.nonzero((log_thd[:-1] < np.log(limit)) & (log_thd[1:] >= np.log(limit)) & (np.diff(level) > 0))[0]
        if up.size == 0:
            found[limit] = None
            continue
        start = up[-1]
        low = start
        while low > 0 and level[low - 1] < level[low]:
            low -= 1
        high = start + 1
        while high + 1 < len(level) and level[high + 1] > level[high]:
            high += 1
        run = slice(low, high + 1)
        thd_of = PchipInterpolator(level[run], log_thd[run])
        at = brentq(lambda x: thd_of(x) - np.log(limit), level[start], level[start + 1])
        found[limit] = float(np.exp(2 * PchipInterpolator(level[run], log_volts[run])(at)) / ohm)
    return found, dict(zip(np.round(level, 2), np.round(np.exp(log_thd), 3)))


def clipping_test(name, loads):
    return {"id": name, "measure": "clipping-power", "loads": loads, "frequency_hz": FREQUENCY_HZ,
            "from_dbfs": -3.7, "to_dbfs": -0.7, "step_db": 0.2}


def main():
    report = Report("ngspice: a class-AB stage driven into clipping")
    single = program.load("single", 4.0, "probe-a")
    bridged = program.load("bridge", 8.0, "probe-a", minus="probe-b")
    left, right = program.load("left", 4.0, "probe-a"), program.load("right", 4.0, "probe-b")
    bench_file = program.bench_text(
        outputs=[{"name": "drive", "channel": 1, "volts_at_full_scale": DRIVE_V, "maximum_dbfs": 0.0}],
        inputs=[program.probe("probe-a", 1), program.probe("probe-b", 2)], loads=[single, bridged, left, right],
        sound={"ground": "supply-negative"})
    job = program.job_text([clipping_test("single", ["single"]), clipping_test("bridged", ["bridge"]),
                            clipping_test("two", ["left", "right"])])
    with program.Workshop(job, bench_file, ("--rate", "48000")) as shop:
        recordings, truth = {}, {}
        for test, netlist in [("single", "single"), ("bridged", "bridged"), ("two", "two_channels")]:
            tone, rate = shop.tone(test)
            steps = bench.levels_of(tone, rate, FREQUENCY_HZ)
            volts = solve(netlist, tone, rate, shop.folder / netlist)
            if test == "single":
                truth["single", "single"], curve = by_scipy(volts[:, 0], steps, rate, 4.0, (1, 10))
                print(f"  {len(tone) / rate:.1f} s of tone, {len(steps)} steps; THD % by SciPy at each dBFS: {curve}")
            elif test == "bridged":
                truth["bridged", "bridge"], _ = by_scipy(volts[:, 0] - volts[:, 1], steps, rate, 8.0, (1, 10))
            else:
                for i, side in enumerate(("left", "right")):
                    truth["two", side], _ = by_scipy(volts[:, i], steps, rate, 4.0, (1, 10))
            if volts.shape[1] == 1:
                volts = np.repeat(volts, 2, 1) * [1, 0]
            recordings[test] = np.concatenate([np.zeros((rate // 2, 2)), volts / program.PROBE_V, np.zeros((rate, 2))])
        outcome = shop.run(recordings, rate, "float")
        report.check(outcome.status == 0, "exit status", f"{outcome.status} {outcome.err.strip()}")
        for (test, load), watts in truth.items():
            for limit, expected in watts.items():
                report.relative(f"power at {limit} % THD, {test}, {load}",
                                outcome.value(test, f"power_at_{limit}_percent_w", load), expected, 0.5)
        for limit in (1, 10):
            sides = [outcome.value("two", f"power_at_{limit}_percent_w", side) for side in ("left", "right")]
            report.relative(f"bridged into 8 ohm against the sum of two into 4 ohm, {limit} %",
                            outcome.value("bridged", f"power_at_{limit}_percent_w", "bridge"), sum(sides), 2.0)
    report.finish()


if __name__ == "__main__":
    main()
