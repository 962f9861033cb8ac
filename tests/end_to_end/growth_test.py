"""Sessions of 1, 10 and 100 captures: the work grows with their number and no faster, and the memory does not grow with
it. The operating system tells both (getrusage). Ten times the captures may take ten times as long; what takes the
square of their number would take a hundred times.
"""

import resource
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program, sound_files  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Sessions of many captures")
RATE = 48000
COUNTS = (1, 10, 100)


def measured(*arguments):
    """(outcome, seconds of processor time, MB)."""
    def spent():
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime
    before = spent()
    done, mb = program.assay_and_memory(*arguments)
    return done, spent() - before, mb


def session_of(folder, count):
    here = folder / str(count)
    here.mkdir()
    tests = [{"id": f"tone-{k}", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -20} for k in range(count)]
    (here / "bench.toml").write_text(program.bench_text(sound={"sample_rate_hz": RATE}))
    (here / "job.toml").write_text(program.job_text(tests))
    made = program.assay("tones", here / "job.toml", "--bench", here / "bench.toml", "--into", here / "tones")
    report.check(made.status == 0, f"tones for {count} captures", made.err.strip()[-200:])
    (here / "recordings").mkdir()
    random = np.random.default_rng(count)
    for test in tests:
        tone = sound_files.read_wav(here / f"tones/{test['id']}.wav").channel(1)
        sound = np.concatenate([np.zeros(RATE), 0.7 * tone, np.zeros(RATE)])
        sound_files.write_wav(here / f"recordings/{test['id']}.wav", RATE, sound + 1e-5 * random.standard_normal(len(sound)), "pcm24")
    run = measured("run", here / "job.toml", "--bench", here / "bench.toml", "--recordings", here / "recordings", "--into", here / "s",
                   "--pages", "html", "--quiet")
    return {"run": run, "verify": measured("verify", here / "s"), "show": measured("show", here / "s")}


def least(one, other):
    """Of two measurements of the same: whichever failed, the least time, the most memory."""
    return (one[0] if one[0].status else other[0]), min(one[1], other[1]), max(one[2], other[2])


def shares(outcomes):
    """Seconds that the first captures cost beside starting the program and this script's watcher, and all the later ones."""
    return outcomes[1][1] - outcomes[0][1], outcomes[2][1] - outcomes[1][1]


def is_linear(outcomes):
    first, later = shares(outcomes)
    return later < 1.5 * 10 * first


COMMANDS = ("run", "verify", "show")
with tempfile.TemporaryDirectory(prefix="assay-growth-") as name:
    found = {}
    # What else the machine does only adds time: the least of up to three counts.
    for attempt in range(3):
        here = Path(name) / str(attempt)
        here.mkdir()
        now = [session_of(here, count) for count in COUNTS]
        for command in COMMANDS:
            outcomes = [session[command] for session in now]
            found[command] = list(map(least, found[command], outcomes)) if command in found else outcomes
        if is_linear(found["run"]) and is_linear(found["verify"]):
            break
    for command, outcomes in found.items():
        for count, (done, seconds, mb) in zip(COUNTS, outcomes):
            report.check(done.status == 0, f"{command} of {count} captures", f"{seconds:.2f} s, {mb:.0f} MB; {done.err.strip()[-200:]}")
        if command != "show":  # takes a few hundredths of a second
            first, later = shares(outcomes)
            report.check(is_linear(outcomes), f"{command}: the later captures take no longer than the first", f"{later / 90:.4f} s each, {first / 9:.4f} s each of the first ten")
        report.check(outcomes[2][2] < outcomes[0][2] + 25, f"{command}: memory", f"{outcomes[0][2]:.0f} to {outcomes[2][2]:.0f} MB")
report.finish()
