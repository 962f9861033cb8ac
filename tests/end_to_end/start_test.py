"""The program starts at once: `assay --version` within 15 ms. Processor time as the operating system counts it
(wait4), the best of many, so that a busy machine does not fail it. The loading of libraries counts: a library that
does its work at start-up is found here.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Start of the program")
MOST_MS, STARTS, ROUNDS = 15.0, 20, 20


def processor_ms():
    process = subprocess.Popen([program.PROGRAM, "--version"], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    report.check(process.returncode == 0, "exit status", str(process.returncode))
    return 1e3 * (used.ru_utime + used.ru_stime)


def start():
    best = min(processor_ms() for _ in range(STARTS))
    # A processor that others heat or share is slow for seconds: what the program takes is the least that is ever seen.
    for _ in range(ROUNDS):
        if best < MOST_MS:
            break
        time.sleep(1.0)
        best = min(best, *(processor_ms() for _ in range(STARTS)))
    report.check(best < MOST_MS, "assay --version", f"{best:.1f} ms of processor time, less than {MOST_MS:.0f} ms")


report.guarded("start", start)
report.finish()
