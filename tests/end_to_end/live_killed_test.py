"""A live session that is killed at any moment, and one that loses its device between tests: nothing that was finished
is lost or measured again, and `--resume` completes.

The server waits for its clients in this bench (tests/outside/live_bench.py). One that was killed it gives up after ten
of its time limits, and nothing sounds until then: the limit is short here, and each kill is followed by that wait.
"""

import json
import math
import random
import re
import signal
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import GAIN, RAIL, RATE, Folder, LiveBench  # noqa: E402
from outside.report import Report  # noqa: E402

KILLS = int(sys.argv[1]) if len(sys.argv) > 1 else 4  # more by hand: live_killed_test.py 20
TIMEOUT_MS = 500
GIVEN_UP_S = 10 * TIMEOUT_MS / 1000 + 1.0
ARGUMENTS = ["--gain", str(GAIN), "--rail", str(RAIL)]
LEVELS_DBFS = (-30, -28)
TESTS = [{"id": f"step-{k}", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": level}
         for k, level in enumerate(LEVELS_DBFS)]
report = Report("live sessions that are cut off")


def volts_right(session, k):
    """The sine's RMS behind a linear gain, in closed form."""
    expected = GAIN * program.PROBE_V * 10 ** (LEVELS_DBFS[k] / 20) / math.sqrt(2)
    found = session["tests"][f"step-{k}"]["loads"]["load-a"]["quantities"].get("voltage_v", {}).get("value", 0.0)
    return abs(found / expected - 1) < 1e-4  # its noise and quantisation stay below 1e-5


def stamps(folder):
    """The captures of the tests that were finished, with the moment of their last change."""
    done = program.progress_of(folder.into)
    return {test: (folder.into / f"captures/{test}.wav").stat().st_mtime_ns for test in done}


def killed_once(bench, moment_s):
    """How many tests were finished, and what is wrong, if anything."""
    with Folder("killed", TESTS) as folder:
        run = bench.start(*folder.command("--yes", "--pages", "none"))
        time.sleep(moment_s)
        if run.poll() is not None:
            return len(TESTS), f"ended before {moment_s:.1f} s: {run.stderr.read()[-200:]}"
        run.send_signal(signal.SIGKILL)
        run.wait()
        before = stamps(folder)
        time.sleep(GIVEN_UP_S)
        again = bench.run(*folder.command("--yes", "--resume", "--pages", "none"))
        if again.returncode != 0:
            return len(before), f"killed at {moment_s:.1f} s, resumed: exit {again.returncode}: {again.stderr[-200:]}"
        for test, stamp in before.items():
            if (folder.into / f"captures/{test}.wav").stat().st_mtime_ns != stamp:
                return len(before), f"{test} was finished and is measured again"
        session = folder.session()
        right = all(volts_right(session, k) for k in range(len(TESTS)))
        whole = not list(folder.into.glob("captures/*.part")) and not (folder.into / "progress").exists()
        return len(before), "" if right and whole else f"killed at {moment_s:.1f} s: volts right {right}, whole {whole}"


def killed():
    with LiveBench(rate_hz=RATE, period=1024, arguments=ARGUMENTS, timeout_ms=TIMEOUT_MS) as bench:
        with Folder("whole", TESTS) as folder:
            began = time.monotonic()
            whole = bench.run(*folder.command("--yes", "--pages", "none"))
            length_s = time.monotonic() - began
            report.check(whole.returncode == 0, "a whole run", f"{length_s:.1f} s; {whole.stderr[-200:]}")
        moments = random.Random(4)
        # One moment in each of equal parts, so that few of them meet every stage of the session.
        part_s = 0.95 * length_s / KILLS
        kept = 0
        for k in range(KILLS):
            moment_s = (k + moments.uniform(0.0, 1.0)) * part_s
            finished, wrong = killed_once(bench, moment_s)
            kept += finished > 0
            report.check(not wrong, f"killed at {moment_s:.1f} s", wrong or f"{finished} finished, all kept")
        report.check(kept > 0, "some had finished tests to lose", f"{kept} of {KILLS}")


def device_lost():
    """The device goes while the second of three tests sounds, and is back in a later run."""
    tests = [*TESTS, {**TESTS[1], "id": "last"}]
    with LiveBench(rate_hz=RATE, period=1024, arguments=ARGUMENTS) as bench, Folder("lost", tests) as folder:
        run = bench.start(*folder.command("--yes", "--pages", "none"))
        until = time.monotonic() + 60
        while not (folder.into / "captures/step-1.wav.part").exists() and time.monotonic() < until and run.poll() is None:
            time.sleep(0.02)
        time.sleep(3.0)
        bench.tell("quit")
        _, told = run.communicate(timeout=60)
        session = folder.session()
        report.check(run.returncode == 3 and re.search(r'test "step-1": .*(the sound device is gone|nothing but exact zeros)', told) is not None, "a lost device is named",
                     f"exit {run.returncode}: {told.strip()[-300:]}")
        report.check(volts_right(session, 0), "the test before it stands")
        report.check(set(session["tests"]) == {"step-0", "step-1", "last"} and not any(
            session["tests"][test].get("loads", {}).get("load-a", {}).get("quantities") for test in ("step-1", "last")),
            "the session ends whole, without numbers of the others", str(list(session["tests"])))
        kept = (folder.into / "captures/step-1.wav").stat().st_size
        report.check(kept > 2 * RATE * 3, "what was captured before is kept", f"{kept} bytes")
        stamp = (folder.into / "captures/step-0.wav").stat().st_mtime_ns
        bench.client.stdin.close()
        bench.client.wait(timeout=10)
        bench.client = bench.start_client(bench.name, ARGUMENTS)
        again = bench.run(*folder.command("--yes", "--resume", "--pages", "none"))
        session = folder.session()
        report.check(again.returncode == 0 and all(volts_right(session, k) for k in (0, 1)), "back again: --resume completes",
                     f"exit {again.returncode}: {again.stderr.strip()[-200:]}")
        report.check((folder.into / "captures/step-0.wav").stat().st_mtime_ns == stamp, "and measures the missing ones only")


def server_lost():
    """The sound server itself ends: its library waits for it for minutes, the program does not."""
    with Folder("server", TESTS) as folder:
        for ending in (signal.SIGTERM, signal.SIGKILL):
            with LiveBench(rate_hz=RATE, period=1024, arguments=ARGUMENTS) as bench:
                run = bench.start(*folder.command("--yes", "--pages", "none", *(["--resume"] if ending == signal.SIGKILL else [])))
                until = time.monotonic() + 60
                while not (folder.into / "captures/step-1.wav.part").exists() and time.monotonic() < until and run.poll() is None:
                    time.sleep(0.02)
                time.sleep(2.0)
                bench.server.send_signal(ending)
                gone_s = time.monotonic()
                try:
                    _, told = run.communicate(timeout=60)
                except BaseException:
                    run.kill()
                    raise
                took_s = time.monotonic() - gone_s
                session = folder.session()
                report.check(run.returncode == 3 and 'test "step-1": ' in told and took_s < 15.0,
                             f"a lost server ({signal.Signals(ending).name}) is named and not waited for", f"{took_s:.1f} s, exit {run.returncode}: {told.strip()[-300:]}")
                report.check(volts_right(session, 0), "the test before it stands")
        with LiveBench(rate_hz=RATE, period=1024, arguments=ARGUMENTS) as bench:
            again = bench.run(*folder.command("--yes", "--resume", "--pages", "none"))
            session = folder.session()
            report.check(again.returncode == 0 and all(volts_right(session, k) for k in range(len(TESTS))), "a new server: --resume completes",
                         f"exit {again.returncode}: {again.stderr.strip()[-200:]}")


report.guarded("server lost", server_lost)
report.guarded("killed", killed)
report.guarded("device lost", device_lost)
report.finish()
