"""Long recordings need no more memory than short ones: below 200 MB whatever the length, and the numbers are those of
the short recording. The operating system tells the memory (largest resident set, wait4); a recording of twenty
minutes in two channels is 230 MB as the program holds samples of one channel, and more than 1 GB where it is
transformed whole, so a program that holds it fails here. And no more at 192 kHz, where a step of an impedance tone and a
sweep must be transformed whole: these are recorded by the simulated bench, and then read from the recordings.
"""

import json
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import driver_bench, program, sound_files  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Memory for long recordings")
RATE, HIGH_RATE, MINUTES, MOST_MB = 48000, 192000, 20, 200
TESTS = [{"id": "noise", "measure": "noise", "loads": ["load-a"]},
         {"id": "tone", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -20}]


def grown(short, long, minutes):
    """The short recording, and its last seconds of quiet again and again behind it; 24 bits, two channels."""
    text = short.read_bytes()
    at = text.index(b"data") + 8
    frame_bytes = 6
    sound = text[at:]
    quiet = sound[-20 * RATE * frame_bytes:]
    more = (minutes * 60 * RATE * frame_bytes - len(sound)) // len(quiet)
    size = len(sound) + more * len(quiet)
    with open(long, "wb") as file:
        file.write(text[:4] + (at - 8 + size).to_bytes(4, "little") + text[8:at - 4] + size.to_bytes(4, "little") + sound)
        for _ in range(more):
            file.write(quiet)


def run(folder, recordings, into):
    done, mb = program.assay_and_memory("run", folder / "job.toml", "--bench", folder / "bench.toml", "--recordings", recordings,
                                        "--into", into, "--pages", "none", "--quiet")
    return done.status, mb, done.err


def compare(folder):
    tones = program.assay("tones", folder / "job.toml", "--bench", folder / "bench.toml", "--into", folder / "tones")
    report.check(tones.status == 0, "tones", "" if tones.status == 0 else tones.err)
    random = np.random.default_rng(11)
    tone = sound_files.read_wav(folder / "tones/tone.wav").channel(1)
    for name, sound in {"noise": np.zeros(90 * RATE), "tone": np.concatenate([np.zeros(3 * RATE), 0.7 * tone, np.zeros(100 * RATE)])}.items():
        samples = np.stack([sound, sound], 1) + 1e-4 * random.standard_normal((len(sound), 2))
        for kind in ("short", "long"):
            (folder / kind).mkdir(exist_ok=True)
        sound_files.write_wav(folder / f"short/{name}.wav", RATE, samples, "pcm24")
        grown(folder / f"short/{name}.wav", folder / f"long/{name}.wav", MINUTES)
    sessions = {}
    for kind in ("short", "long"):
        status, mb, told = run(folder, folder / kind, folder / f"session-{kind}")
        report.check(status == 0, f"{kind} recordings", told)
        report.check(mb < MOST_MB, f"memory of the {kind} recordings", f"{mb:.0f} MB, at most {MOST_MB} MB")
        sessions[kind] = json.loads((folder / f"session-{kind}/session.json").read_text())["tests"]
    for test in ("noise", "tone"):
        short, long = (sessions[kind][test]["loads"]["load-a"]["quantities"] for kind in ("short", "long"))
        report.check(set(short) == set(long) and len(short) > 3, f"{test}: the same numbers are given", str(set(short) ^ set(long)))
        # Noise is read from the same samples. A tone's place is found in another stretch of the recording, by some
        # nanoseconds elsewhere.
        limit = 1e-9 if test == "noise" else 1e-6
        worst = max(abs(long[name]["value"] / short[name]["value"] - 1) for name in short)
        report.check(worst <= limit, f"{test}: they are the same", f"at most {worst:.2g} apart, allowed {limit:.0e}")


def high_rate(folder):
    """The simulated bench holds a whole take itself, so that the run which makes the recordings is not judged."""
    folder.mkdir()
    drivers = [driver_bench.impedance("free"), driver_bench.impedance("mass", added_mass_g=10.0),
               {"id": "parameters", "measure": "driver-parameters", "free_air": "free", "with_mass": "mass"}]
    sweep = [{"id": "band", "measure": "response", "loads": ["load-a"], "drive_dbfs": -20}]
    for what, bench, job in (("driver", driver_bench.bench_text, driver_bench.job_text(drivers)),
                             ("sweep", program.bench_text, program.job_text(sweep))):
        for source in ("simulated", "device"):
            (folder / f"{what}-{source}.toml").write_text(bench(sound={"source": source, "sample_rate_hz": HIGH_RATE}))
        (folder / f"{what}.toml").write_text(job)
        made = program.assay("run", folder / f"{what}.toml", "--bench", folder / f"{what}-simulated.toml", "--into",
                             folder / what, "--pages", "none", "--quiet", "--yes")
        report.check(made.status == 0, f"{what} at 192 kHz, simulated", made.err)
        done, mb = program.assay_and_memory("run", folder / f"{what}.toml", "--bench", folder / f"{what}-device.toml",
                                            "--recordings", folder / what / "captures", "--into", folder / f"{what}-read",
                                            "--pages", "none", "--quiet")
        report.check(done.status == 0, f"{what} at 192 kHz, from its recordings", done.err)
        report.check(mb < MOST_MB, f"memory of the {what} at 192 kHz", f"{mb:.0f} MB, at most {MOST_MB} MB")


with tempfile.TemporaryDirectory(prefix="assay-memory-") as name:
    here = Path(name)
    (here / "bench.toml").write_text(program.bench_text(sound={"sample_rate_hz": RATE}))
    (here / "job.toml").write_text(program.job_text(TESTS))
    report.guarded("compare", lambda: compare(here))
    report.guarded("high rate", lambda: high_rate(here / "high-rate"))
report.finish()
