"""A session that is killed at any moment is gone on with: nothing that was finished is measured again, the numbers are
those of a run that was never interrupted. On the simulated bench, which gives the same samples every time."""

import json
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

KILLS = int(sys.argv[1]) if len(sys.argv) > 1 else 8  # more by hand: resume_test.py 20
report = Report("resuming")
TESTS = [{"id": f"step-{k}", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30 + 2 * k} for k in range(3)]


def command(folder, into, *more):
    return [program.PROGRAM, "run", str(folder / "job.toml"), "--bench", str(folder / "bench.toml"), "--into", str(into),
            "--pages", "none", "--quiet", *more]


def numbers(session):
    return {test: found["loads"]["load-a"]["quantities"] for test, found in json.loads((session / "session.json").read_text())["tests"].items()}


def killed(folder):
    began = time.monotonic()
    whole = subprocess.run(command(folder, folder / "whole"), capture_output=True, text=True)
    length_s = time.monotonic() - began
    report.check(whole.returncode == 0, "a whole run", whole.stderr[-200:])
    expected = numbers(folder / "whole")
    moments = random.Random(4)
    kept = completed = same = 0
    for k in range(KILLS):
        into = folder / f"killed-{k}"
        run = subprocess.Popen(command(folder, into), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(moments.uniform(0.0, length_s))
        run.send_signal(signal.SIGKILL)
        run.wait()
        if (into / "session.json").exists():
            completed += 1
            continue
        done = program.progress_of(into)
        stamps = {test: (into / f"captures/{test}.wav").stat().st_mtime_ns for test in done}
        again = subprocess.run(command(folder, into, "--resume"), capture_output=True, text=True)
        if again.returncode != 0:
            report.check(False, f"killed run {k} is resumed", f"exit {again.returncode}: {again.stderr[-200:]}")
            continue
        untouched = all((into / f"captures/{test}.wav").stat().st_mtime_ns == stamp for test, stamp in stamps.items())
        kept += bool(done) and untouched
        same += numbers(into) == expected and not list(into.glob("captures/*.part")) and untouched
        shutil.rmtree(into)
    report.check(same == KILLS - completed and same > 0, "killed at random moments, resumed, the same numbers",
                 f"{same} of {KILLS}, {kept} with finished tests kept, {completed} had ended before")


def refusals(folder):
    into = folder / "other"
    run = subprocess.Popen(command(folder, into), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 60
    while not program.progress_of(into) and run.poll() is None and time.monotonic() < until:
        time.sleep(0.005)
    run.send_signal(signal.SIGKILL)
    run.wait()
    if (into / "session.json").exists():
        report.check(True, "the run was too quick to be interrupted")
        return
    plain = subprocess.run(command(folder, into), capture_output=True, text=True)
    report.check(plain.returncode == 2 and "--resume" in plain.stderr, "an interrupted session is not written over", plain.stderr)
    (folder / "job.toml").write_text((folder / "job.toml").read_text() + "# changed\n")
    changed = subprocess.run(command(folder, into, "--resume"), capture_output=True, text=True)
    report.check(changed.returncode == 2 and "is not what this session began with" in changed.stderr, "nor gone on with by another job", changed.stderr)


with tempfile.TemporaryDirectory() as name:
    here = Path(name)
    (here / "bench.toml").write_text(program.bench_text(sound={"source": "simulated"}))
    (here / "job.toml").write_text(program.job_text(TESTS))
    report.guarded("killed", lambda: killed(here))
    report.guarded("refusals", lambda: refusals(here))
report.finish()
