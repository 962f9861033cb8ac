"""Faults made on purpose by the virtual bench: each is named rightly, and no number rests on a bad stretch."""

import json
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside.live_bench import GAIN, RAIL, RATE, Folder, LiveBench, power_test  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("faults on the virtual bench")


def fault(name, words, commands=(), tests=None, channels=1, later=(), of_the_unit=False):
    """A fresh virtual bench with one fault; the last line on stderr must match `words`, and the exit status be 3. What
    the unit itself does is a result: its words may stand in the session instead, with exit status 0."""
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
            report.check(not any("power_at_1_percent_w" in found["quantities"] for found in numbers.values()), f"{name}: no number", json.dumps(numbers)[:200])


SINGLE = [{"id": "power", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}]


def faults():
    fault("swapped channels", "swapped", ["swap"], [power_test(loads=("load-a", "load-b"))], channels=2)
    fault("a dead channel", "not heard", ["mute"])
    fault("exact zeros", "exact zeros in every input", ["zeros"])
    fault("overload of the recorder", "overload", ["rail 10"])
    fault("collapse of the output", "collapse", later=["5:mute"], of_the_unit=True)
    fault("the device disappears", "device is gone|cannot be opened", later=["4:quit"])
    fault("a hand on the knob", "knob", later=["6:gain 3"])
    fault("frames lost", "dropout|missing", tests=SINGLE, later=["4.5:drop 400", "4.9:drop 400", "5.3:drop 400"])


report.guarded("faults", faults)
report.finish()
