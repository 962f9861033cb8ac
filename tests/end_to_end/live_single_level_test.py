"""Live tests at one level: faults made in their middle by the virtual bench, and a power that is asked for.

Closed forms: Fourier integrals of a clipped sine (tests/outside/closed_forms.py), P = V^2 / R, crosstalk by a factor.
The power asked for is also measured offline, on a recording made by the same law in NumPy.
"""

import json
import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import closed_forms, program  # noqa: E402
from outside.live_bench import ASSAY, GAIN, OHM, RAIL, RATE, Folder, LiveBench, bench_text  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("live tests at one level")
FREQUENCY = 997


def measured(bench, test, channels=1, edit=lambda text: text):
    with Folder("single", [test], channels) as folder:
        folder.bench.write_text(edit(folder.bench.read_text()))
        run = bench.run(*folder.command("--yes", "--pages", "none"))
        found = folder.session()["tests"][test["id"]]
        verified = bench.run(ASSAY, "verify", folder.into).returncode if run.returncode == 0 else None
        return run, found, verified


def fault(name, test, words, *later):
    """The fault comes in the middle of the test's tone: exit 3, named, and no number of the test is given."""
    arguments = ["--gain", str(GAIN), "--rail", str(RAIL), *sum((["--at", entry] for entry in later), [])]
    with LiveBench(rate_hz=RATE, period=1024, arguments=arguments) as bench:
        run, found, _ = measured(bench, {"loads": ["load-a"], **test})
        told = run.stderr.strip().splitlines()[-1]
        numbers = [part["quantities"] for part in found["loads"].values()]
        report.check(run.returncode == 3 and re.search(words, told) is not None, name, f"exit {run.returncode}: {told[-230:]}")
        report.check(not any(numbers), f"{name}: no number", json.dumps(numbers)[:160])


def faults():
    distortion = {"id": "one", "measure": "distortion", "drive_dbfs": -30}
    pair = {"id": "two", "measure": "intermodulation", "drive_dbfs": -30}
    hiss = {"id": "hiss", "measure": "noise"}
    # A gain of 3 for 4 is 2.50 dB less; where the jump falls within a repeat, its reading lies between none and that.
    fallen = r"a repeated level gives ([01]\.\d\d|2\.[0-4]\d|2\.50) dB less.*knob"
    fault("distortion: the gain jumps", distortion, fallen, "6:gain 3")
    fault("distortion: a ceiling comes down", distortion, r"dB less.*its top is flat then, a ceiling of the recorder", "6:ceiling 0.08")
    fault("intermodulation: the gain jumps", pair, fallen, "6:gain 3")
    fault("intermodulation: a ceiling comes down", pair, "a repeated level gives .* dB less", "6:ceiling 0.06")
    fault("noise: the gain jumps", hiss, r"the noise is 9\.[4-7] dB louder from about \d+ s on", "9:record_gain 3")


def ceiling_all_along(bench):
    """A recorder that is flat from the start: nothing at one level tells it from the unit, unless a loopback has shown it clean."""
    bench.tell(f"gain {GAIN}")
    bench.tell("ceiling 0.1")
    test = {"id": "one", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}
    for known, warned in ((False, True), (True, False)):
        run, found, _ = measured(bench, test, edit=lambda text: text if known else text.replace("clean_up_to_dbfs = -0.5\n", ""))
        codes = [warning["code"] for warning in found["loads"]["load-a"]["warnings"]]
        report.check(run.returncode == 0 and ("recorder-ceiling-not-excluded" in codes) == warned, f"a flat top, input known to be clean: {known}", f"exit {run.returncode}: {codes}")
    # Two tones against a loopback's range: their peak of -18 dBFS lies above -20 dBFS.
    bench.tell("ceiling 100")
    run, found, _ = measured(bench, {"id": "two", "measure": "intermodulation", "loads": ["load-a"], "drive_dbfs": -30},
                             edit=lambda text: text.replace("clean_up_to_dbfs = -0.5\n", "clean_up_to_dbfs = -20\n"))
    codes = [warning["code"] for warning in found["loads"]["load-a"]["warnings"]]
    report.check("input-not-clean" in codes, "two tones above what a loopback has shown clean", f"{codes}")


def thd_at(watts):
    """THD of an ideally clipped sine whose RMS gives the power; counted to 20 kHz."""
    volts = np.sqrt(watts * OHM)
    lowest, highest = 0.2, 1.0  # of rail over the unclipped peak
    for _ in range(60):
        middle = 0.5 * (lowest + highest)
        rms = RAIL * program.PROBE_V / middle * np.sqrt(closed_forms.hard_clip_mean_square(middle))
        lowest, highest = (middle, highest) if rms > volts else (lowest, middle)
    return 100 * closed_forms.thd(closed_forms.hard_clip(0.5 * (lowest + highest), int(20000 / FREQUENCY)))


def offline(test):
    with program.Workshop(program.job_text([test]), bench_text().replace('playback_device = "virtual-bench"\n', "")) as shop:
        samples, rate = shop.tone(test["id"])
        outcome = shop.run({test["id"]: np.clip(GAIN * samples, -RAIL, RAIL)}, rate)
        report.check(outcome.status == 0, "offline", outcome.err.strip()[-200:])
        return outcome.findings(test["id"], "load-a")["quantities"]


def power_asked(bench):
    for command in (f"gain {GAIN}", f"rail {RAIL}", "ceiling 100"):
        bench.tell(command)
    for watts in (30.0, 5.0):  # the unclipped sine ends at 27.5 W
        test = {"id": "asked", "measure": "distortion", "loads": ["load-a"], "power_w": watts, "frequency_hz": FREQUENCY}
        run, found, verified = measured(bench, test)
        got = found["loads"].get("load-a", {}).get("quantities", {})
        report.check(run.returncode == 0 and verified == 0, f"{watts} W asked live", f"exit {run.returncode}, verify {verified}: {run.stderr.strip()[-160:]}")
        report.relative(f"{watts} W: the power of the result", got.get("power_w", {}).get("value"), watts, 0.6)
        loudest = max(level for take in found["takes"] for level in take["tone"]["segments"]["level_dbfs"])
        report.check(loudest < 20 * np.log10(RAIL / GAIN) + 3, f"{watts} W: nothing much louder was played", f"{loudest:.2f} dBFS")
        if watts < 27.5:
            continue
        same = offline(test)
        report.relative("volts, live against offline", got["voltage_v"]["value"], same["voltage_v"]["value"], 0.3)
        # A live level is set within 0.5 % of the power; what that does to the THD is told by the closed form.
        spread = 100 * (thd_at(1.006 * watts) / thd_at(watts) - 1)
        report.relative("THD, live against offline", got["thd_percent"]["value"], same["thd_percent"]["value"], spread + 3.0)
        report.relative("THD at the live power against the closed form", got["thd_percent"]["value"], thd_at(got["power_w"]["value"]), 1.0)
        report.relative("THD offline against the closed form", same["thd_percent"]["value"], thd_at(watts), 3.0)
    too_much = {"id": "asked", "measure": "distortion", "loads": ["load-a"], "power_w": 500.0}
    run, found, _ = measured(bench, too_much)
    told = json.dumps(found)
    report.check(run.returncode == 0 and "power-not-reached" in told and not found["loads"]["load-a"]["quantities"], "500 W: only the quiet tone sounds, and why is told",
                 f"exit {run.returncode}: {told[:120]}")


def separation_at_power(bench):
    bench.tell("crosstalk 0.001")
    test = {"id": "apart", "measure": "separation", "driven": "load-a", "idle": "load-b", "power_w": 10.0, "frequencies_hz": [100, 1000]}
    run, found, verified = measured(bench, test, channels=2)
    report.check(run.returncode == 0 and verified == 0, "separation at a power, live", f"exit {run.returncode}, verify {verified}: {run.stderr.strip()[-200:]}")
    report.absolute("separation of a factor of 1000, dB", found["quantities"].get("separation_1khz_db", {}).get("value"), 60.0, 0.02)
    report.relative("at the power asked for", found["conditions"].get("power_w"), 10.0, 0.6)
    bench.tell("crosstalk 0")


report.guarded("faults", faults)
with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as shared:
    for part in (ceiling_all_along, power_asked, separation_at_power):
        report.guarded(part.__name__, lambda: part(shared))
report.finish()
