"""Faults made on purpose by the virtual bench: each is named rightly, and no number rests on a bad stretch."""

import json
import math
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import GAIN, RAIL, RATE, Folder, LiveBench, power_test  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("faults on the virtual bench")


def fault(name, words, commands=(), tests=None, channels=1, later=(), of_the_unit=False, quantity="power_at_1_percent_w"):
    """A fresh virtual bench with one fault; the last line on stderr must match `words`, and the exit status be 3. What
    the unit itself does is a result: its words may stand in the session instead, with exit status 0. No advice speaks
    of recordings made elsewhere, and what was captured before the fault is kept."""
    arguments = ["--gain", str(GAIN), "--rail", str(RAIL), *sum((["--at", entry] for entry in later), [])]
    with LiveBench(rate_hz=RATE, period=1024, arguments=arguments) as bench:
        for command in commands:
            bench.tell(command)
        with Folder("fault", tests or [power_test()], channels) as folder:
            run = bench.run(*folder.command("--yes", "--pages", "none"))
            told = run.stderr.splitlines()[-1] if run.stderr.strip() else ""
            if of_the_unit and run.returncode == 0:
                told = json.dumps(folder.session()["tests"]["power"])
            report.check((run.returncode == 3 or (of_the_unit and run.returncode == 0)) and re.search(words, told) is not None, name, f"exit {run.returncode}: {told[-220:]}")
            numbers = folder.session()["tests"]["power"]["loads"]
            report.check(not any(quantity in found["quantities"] for found in numbers.values()), f"{name}: no number", json.dumps(numbers)[:200])
            elsewhere = re.search(r"record again|recording app|[ae] phone|player played|tone file|--recordings", run.stderr + json.dumps(folder.session()["tests"]))
            report.check(elsewhere is None, f"{name}: advice for a live bench", elsewhere and elsewhere.group(0))
            kept = sum(path.stat().st_size for path in (folder.into / "captures").glob("*.wav"))
            report.check(not later or kept > 50_000, f"{name}: the capture is kept", f"{kept} bytes")


SINGLE = [{"id": "power", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}]


def faults():
    fault("swapped channels", "swapped", ["swap"], [power_test(loads=("load-a", "load-b"))], channels=2)
    fault("a dead channel", "not heard", ["mute"])
    fault("exact zeros", "exact zeros in every input", ["zeros"])
    fault("overload of the recorder", "overload", ["rail 10"])
    fault("collapse of the output", "collapse", later=["5:mute"], of_the_unit=True)
    fault("the device disappears", "device is gone|cannot be opened", later=["4:quit"])
    fault("a hand on the knob", "knob", later=["6:gain 3"])
    thd = {"tests": SINGLE, "quantity": "thd_percent"}
    fault("frames lost", "dropout|missing", later=[f"{at}:drop 400" for at in (4.5, 4.9, 5.3)], **thd)
    # Ten whole cycles of 1 kHz at 48 kHz leave no trace in a steady tone: the marks tell.
    whole = {"tests": [{**SINGLE[0], "frequency_hz": 1000}], "quantity": "thd_percent"}
    fault("whole cycles lost", "dropout|missing", later=[f"{at}:drop 480" for at in (4.5, 4.9, 5.3)], **whole)
    fault("whole cycles given twice", "repeated|too much", later=[f"{at}:double 480" for at in (4.5, 4.9, 5.3)], **whole)
    # What the marks do not see: lost in one place of a step and given back in another.
    pair = {"tests": [{"id": "power", "measure": "intermodulation", "loads": ["load-a"], "drive_dbfs": -30}], "quantity": "modulation_distortion_percent"}
    fault("frames lost and given back", "tone jumps|dropout|repeated|came back broken",
          later=[f"{4 + 0.35 * k:.2f}:{'double' if k % 2 else 'drop'} 64" for k in range(10)], **pair)
    fault("a slow fade", "fade.*let unit and load cool", later=["4:fade 0.3"], of_the_unit=True)


def second_clock(said):
    """The recorder's clock is 200 ppm fast, which is no fault where the bench says so, and is told where it says that
    there is one clock: the numbers stand."""
    arguments = ["--gain", str(GAIN), "--rail", str(RAIL), "--clock", "200"]
    with LiveBench(rate_hz=RATE, period=1024, arguments=arguments) as bench, Folder("clock", SINGLE) as folder:
        if said:
            folder.bench.write_text(folder.bench.read_text().replace("[sound]", "[sound]\nshared_clock = false"))
        run = bench.run(*folder.command("--yes", "--pages", "none"))
        report.check(run.returncode == 0, "two clocks", f"exit {run.returncode}: {run.stderr.strip()[-200:]}")
        test = folder.session()["tests"]["power"]
        report.absolute("parts in a million between the clocks", test["conditions"]["clock_ppm"], 200.0, 0.1)
        volts = GAIN * program.PROBE_V * 10 ** (-30 / 20) / math.sqrt(2)  # sine of -30 dBFS times the gain
        report.relative("volts over two clocks", test["loads"]["load-a"]["quantities"]["voltage_v"]["value"], volts, 0.01)
        told = [warning["text"] for warning in test["warnings"] if warning["code"] == "second-clock"]
        right = told == [] if said else len(told) == 1 and "200 ppm faster" in told[0] and "shared_clock" in told[0]
        report.check(right, "named" if not said else "silent where the bench says so", str(told))
        verified = bench.run(program.PROGRAM, "verify", folder.into)
        report.check(verified.returncode == 0, "and verified", verified.stdout.strip()[-200:] + verified.stderr.strip()[-200:])


report.guarded("faults", faults)
report.guarded("second clock", lambda: second_clock(said=True))
report.guarded("second clock unsaid", lambda: second_clock(said=False))
report.finish()
