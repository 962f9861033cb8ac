"""What the world does to a run: a full disk, a folder that cannot be written, a long path, too little memory, a locale with
a decimal comma, a file that goes away, two runs into one session, SIGTERM, a clock set back. Each gives a clear line, the
right exit status (README, "Commands"), and loses nothing that was finished. On the simulated bench."""

import json
import os
import resource
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

report = Report("what the world does")
TESTS = [{"id": f"step-{k}", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30 + 2 * k} for k in range(3)]


def command(folder, into, *more, assay=program.PROGRAM):
    return [str(assay), "run", str(folder / "job.toml"), "--bench", str(folder / "bench.toml"), "--into", str(into), "--pages", "none",
            "--quiet", *map(str, more)]


def run(words, **more):
    return subprocess.run(words, capture_output=True, text=True, errors="replace", timeout=120, **more)


def clear(done, status, words, what):
    """One line on standard error, the status, and a word that names the trouble."""
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    good = done.returncode == status and len(lines) == 1 and any(word in done.stderr.lower() for word in words)
    return report.check(good, what, f"exit {done.returncode}: {done.stderr.strip()[:300]}")


def numbers(session):
    return {test: found["loads"]["load-a"]["quantities"] for test, found in json.loads((session / "session.json").read_text())["tests"].items()}


def small_disk(folder):
    """As a file-size limit, which every system has: a write fails as on a full disk, with another errno."""
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
    done = run(command(folder, folder / "limited"), preexec_fn=limit)
    clear(done, 2, ["written", "write", "space", "too large"], "a file that cannot grow")
    report.check(not (folder / "limited" / "session.json").exists(), "  leaves no session that looks finished")
    again = run(command(folder, folder / "limited", "--resume"))
    report.check(again.returncode == 0 and numbers(folder / "limited") == numbers(folder / "whole"), "  and is gone on with", again.stderr[:200])


def full_disk(folder):
    """A real file system of two megabytes, where root may mount one."""
    disk = folder / "disk"
    disk.mkdir()
    if run(["mount", "-t", "tmpfs", "-o", "size=700k", "tmpfs", str(disk)]).returncode != 0:
        print("  (no file system can be mounted here: left out)")
        return
    try:
        done = run(command(folder, disk / "session"))
        clear(done, 2, ["no space", "full"], "a full disk")
        report.check(not (disk / "session" / "session.json").exists(), "  leaves no session that looks finished")
        run(["mount", "-o", "remount,size=100m", str(disk)])
        again = run(command(folder, disk / "session", "--resume"))
        report.check(again.returncode == 0 and numbers(disk / "session") == numbers(folder / "whole"), "  and is gone on with when there is room",
                     again.stderr[:200])
    finally:
        run(["umount", str(disk)])


def read_only(folder):
    closed = folder / "closed"
    closed.mkdir()
    closed.chmod(0o555)
    # Root may write everywhere: become somebody else.
    def somebody():
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)
    folder.chmod(0o755)
    assay = folder / "assay"
    shutil.copy(program.PROGRAM, assay)
    done = run(command(folder, closed / "session", assay=assay), preexec_fn=somebody, cwd="/")
    clear(done, 2, ["permission", "written", "made"], "a folder that cannot be written")


def long_path(folder):
    deep = folder
    while len(str(deep)) < 290:
        deep = deep / ("a-folder-with-a-long-name-%d" % len(str(deep)))
    done = run(command(folder, deep / "session"))
    report.check(done.returncode == 0 and numbers(deep / "session") == numbers(folder / "whole"), f"a path of {len(str(deep / 'session'))} characters",
                 done.stderr[:300])
    too_long = folder / ("x" * 300)
    clear(run(command(folder, too_long)), 2, ["long", "name"], "a name that no file system takes")


def little_memory(folder):
    for megabytes in (40, 60, 80):
        limit = megabytes << 20
        done = run(command(folder, folder / f"memory-{megabytes}"), preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)))
        if done.returncode == 0:
            break
        if "shared object" in done.stderr or "shared libraries" in done.stderr:
            continue  # the loader itself had no room
        clear(done, 1, ["memory"], f"{megabytes} MB of address space")
    else:
        report.check(True, "no limit tried was enough", f"up to {megabytes} MB")
    done = run(command(folder, folder / "memory"), preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (300 << 20, 300 << 20)))
    report.check(done.returncode == 0 and numbers(folder / "memory") == numbers(folder / "whole"), "300 MB of address space are enough", done.stderr[:200])


def decimal_comma(folder):
    locales = folder / "locales"
    locales.mkdir()
    if run(["localedef", "-i", "de_DE", "-f", "UTF-8", str(locales / "de_DE.UTF-8")]).returncode not in (0, 1) or not any(locales.iterdir()):
        report.check(False, "a locale with a decimal comma can be made", "package locales")
        return
    more = {"env": {**os.environ, "LOCPATH": str(locales), "LC_ALL": "de_DE.UTF-8"}}
    comma = run(["printf", "%.1f", "1,5"], **more).stdout
    report.check(comma == "1,5", "the locale writes a comma", comma)
    done = run(command(folder, folder / "comma"), **more)
    report.check(done.returncode == 0 and numbers(folder / "comma") == numbers(folder / "whole"), "the same numbers under it", done.stderr[:200])
    shown = {tongue: run([program.PROGRAM, "show", str(folder / "whole")], env=environment).stdout
             for tongue, environment in (("C", None), ("de", more["env"]))}
    report.check(shown["C"] == shown["de"] and "%" in shown["C"], "the same text under it")


def going_away(folder):
    into = folder / "away"
    shutil.copytree(folder / "whole", into)
    (into / "captures/step-1.wav").unlink()
    clear(run([program.PROGRAM, "verify", str(into), "--quiet"]), 4, ["step-1"], "a capture that has gone")
    clear(run([program.PROGRAM, "show", str(folder / "nowhere")]), 2, ["nowhere"], "a session that is not there")
    shutil.copy(folder / "whole/captures/step-1.wav", into / "captures/step-1.wav")
    (into / "job.toml").unlink()
    clear(run([program.PROGRAM, "verify", str(into), "--quiet"]), 4, ["job.toml"], "a job that has gone")


def two_runs(folder):
    into = folder / "shared"
    runs = [subprocess.Popen(command(folder, into), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    ended = [(*one.communicate(timeout=120), one.returncode) for one in runs]
    statuses = sorted(end[2] for end in ended)
    refused = [end[1].strip() for end in ended if end[2] != 0]
    report.check(statuses == [0, 2] and len(refused[0].splitlines()) == 1, "of two runs into one session one is refused", f"{statuses}: {' | '.join(refused)[:300]}")
    report.check(numbers(into) == numbers(folder / "whole"), "  and the other's numbers are sound")


def terminated(folder):
    into = folder / "terminated"
    going = subprocess.Popen(command(folder, into), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    until = time.monotonic() + 60
    while not program.progress_of(into) and going.poll() is None and time.monotonic() < until:
        time.sleep(0.002)
    going.send_signal(signal.SIGTERM)
    told = going.communicate(timeout=30)[1]
    if going.returncode == 0:
        print("  (the run had ended before it was stopped)")
        return
    report.check(going.returncode == 130 and "--resume" in told, "SIGTERM stops as Ctrl-C does", f"exit {going.returncode}: {told.strip()[:200]}")
    again = run(command(folder, into, "--resume"))
    report.check(again.returncode == 0 and numbers(into) == numbers(folder / "whole"), "  and is gone on with", again.stderr[:200])


def clock_set_back(folder):
    faked = run(["faketime", "2001-01-01 00:00:00", *command(folder, folder / "back")])
    report.check(faked.returncode == 0 and numbers(folder / "back") == numbers(folder / "whole"), "a clock set back to 2001", faked.stderr[:200])


PARTS = (small_disk, full_disk, read_only, long_path, little_memory, decimal_comma, going_away, two_runs, terminated, clock_set_back)

with tempfile.TemporaryDirectory(prefix="assay-world-") as made:
    folder = Path(made)
    (folder / "bench.toml").write_text(program.bench_text(sound={"source": "simulated"}))
    (folder / "job.toml").write_text(program.job_text(TESTS))
    whole = run(command(folder, folder / "whole"))
    report.check(whole.returncode == 0, "a run that nothing disturbs", whole.stderr[:300])
    for part in PARTS:
        report.guarded(part.__name__, lambda: part(folder))
report.finish()
