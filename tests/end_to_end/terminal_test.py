"""What a person reads at a terminal breaks between words at its width, and says the same as without one. Errors stay
one line where a program reads them."""

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("text at a terminal")
WIDTHS = (60, 80, 120)


def at_width(columns, command, until=None):
    """All that is written on a terminal of so many columns, to the end or until these words."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, start_new_session=True)
    os.close(slave)
    text, end = "", time.monotonic() + 30
    while time.monotonic() < end and (until is None or until not in " ".join(text.split())):
        if not select.select([master], [], [], 0.1)[0]:
            continue
        try:
            more = os.read(master, 65536)
        except OSError:  # the last holder of the terminal has closed it
            break
        if not more:
            break
        text += more.decode(errors="replace")
    process.kill()
    process.wait()
    os.close(master)
    return text.replace("\r\n", "\n")


def same_words(what, command):
    piped = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    plain = piped.stdout + piped.stderr
    report.check(max(map(len, plain.splitlines())) > min(WIDTHS), f"{what}: there is something to break", f"{len(plain)} characters")
    if piped.returncode != 0:
        report.check(plain.count("\n") == 1, f"{what}: one line without a terminal", plain)
    for columns in WIDTHS:
        seen = at_width(columns, command)
        longest = max(map(len, seen.splitlines()))
        report.check(longest <= columns, f"{what}: {columns} columns hold every line", f"longest {longest}")
        report.check(seen.split() == plain.split(), f"{what}: the same words at {columns}", seen[:300])


def main():
    with tempfile.TemporaryDirectory(prefix="assay-terminal-") as name:
        here = Path(name)
        (here / "bench.toml").write_text(program.bench_text())
        (here / "job.toml").write_text(program.job_text(
            [{"id": "power", "measure": "clipping-power", "loads": ["load-a"]}]))
        run = [program.PROGRAM, "run", str(here / "job.toml"), "--bench", str(here / "bench.toml")]
        same_words("wiring", [*run, "--show-wiring"])
        same_words("help", [program.PROGRAM, "calibrate", "--help"])
        os.chdir(here)  # short names, so that nothing that cannot be broken is longer than the line
        (here / "wrong.toml").write_text(program.job_text(
            [{"id": "power", "measure": "clipping-power", "loads": ["load-a"], "ask": ["supply_loaded_amperes"]}]))
        same_words("an error", [program.PROGRAM, "run", "wrong.toml", "--bench", "bench.toml", "--into", "session"])
        for columns in WIDTHS:
            # A line ends where the next word does not fit: text that was broken twice is ragged.
            cautions = at_width(columns, [program.PROGRAM, "--help"]).split("Before the first tone:\n")[1].splitlines()
            ragged = [line for line, after in zip(cautions, cautions[1:])
                      if after.startswith("    ") and len(line) + 1 + len(after.split()[0]) <= min(columns, 79)]
            report.check(len(cautions) > 10 and not ragged, f"the cautions fill {columns} columns", str(ragged))
            asked = at_width(columns, [program.PROGRAM, "new", "bench"], "]:")
            longest = max(map(len, asked.splitlines()), default=0)
            report.check(0 < longest <= columns and "Sound device, or a part of its name" in " ".join(asked.split()),
                         f"a question at {columns} columns", asked)
    report.finish()


report.guarded("terminal", main)
