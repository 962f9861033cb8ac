"""A line-level unit in real time: volts and gain of a preamplifier that multiplies by its gain, heard at its output's input.

Closed forms: volts are drive times gain, gain_1khz_db the ratio of output to source; THD of the multiplication is none.
Tolerances: 0.1 % of the volts (their noise and quantisation stay below 1e-5), 0.01 dB of the gain, the design's.
"""

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import ASSAY, GAIN, RAIL, RATE, Folder, LiveBench  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("a line unit, live")
LEVEL_DBFS = -30.0
TESTS = [{"id": "clean", "measure": "distortion", "inputs": ["probe-a"], "drive_dbfs": LEVEL_DBFS},
         {"id": "band", "measure": "response", "inputs": ["probe-a"], "drive_dbfs": LEVEL_DBFS, "start_hz": 50.0, "stop_hz": 15000.0},
         {"id": "rest", "measure": "noise", "inputs": ["probe-a"]}]


def line():
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as bench, Folder("line", TESTS) as folder:
        folder.job.write_text(program.job_text(TESTS, unit={"kind": "line"}))
        done = bench.run(*folder.command("--yes", "--pages", "none"))
        report.check(done.returncode == 0, "accepted", done.stderr.strip()[-300:] if done.returncode else "")
        report.check("watt" not in (done.stdout + done.stderr).lower(), "nothing is said of watts")
        tests = folder.session()["tests"]
        found = {test: node["inputs"]["probe-a"]["quantities"] for test, node in tests.items()}
        volts = GAIN * program.PROBE_V * 10 ** (LEVEL_DBFS / 20) / math.sqrt(2)
        report.relative("voltage_v", found["clean"]["voltage_v"]["value"], volts, 0.1)
        report.absolute("gain_1khz_db", found["band"]["gain_1khz_db"]["value"], 20 * math.log10(GAIN * program.PROBE_V / program.OUTPUT_V), 0.01)
        report.check("power_w" not in found["clean"], "no power")
        report.check("noise_v" in found["rest"] or any("noise" in entry["quantity"] for entry in tests["rest"]["inputs"]["probe-a"].get("absent", [])),
                     "noise has a number or a reason")
        verified = bench.run(ASSAY, "verify", folder.into)
        report.check(verified.returncode == 0, "verify", verified.stderr.strip()[-200:])


report.guarded("line", line)
report.finish()
