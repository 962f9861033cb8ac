"""Runs the program as a person would: a folder with bench.toml and job.toml, tones, recordings, a session."""

import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from . import sound_files

SOURCE = Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2]))
PROGRAM = os.environ.get("ASSAY", str(SOURCE / "build" / "assay"))

# Volts at the sound card's output for sample value 1.0, and at the probe tip for sample value 1.0 recorded.
OUTPUT_V = 2.0
INPUT_V = 1.9
ATTENUATION = 13.0
PROBE_V = INPUT_V * ATTENUATION


def toml(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    if isinstance(value, float) and math.isinf(value):
        return "inf"
    return repr(value)


def table(header, fields):
    return header + "\n" + "".join(f"{key} = {toml(value)}\n" for key, value in fields.items() if value is not None) + "\n"


def bench_text(loads=None, inputs=None, outputs=None, sound=None, meters=()):
    """The defaults: one output, one probe, one load of 4 ohm; any part may be given instead as a list of dicts."""
    sound = {"source": "device", "sample_rate_hz": 96000, **(sound or {})}
    outputs = outputs or [{"name": "drive", "channel": 1, "volts_at_full_scale": OUTPUT_V, "maximum_dbfs": 0.0}]
    inputs = inputs or [probe("probe-a", 1)]
    loads = loads or [load("load-a", 4.0, "probe-a")]
    text = table("[sound]", sound)
    for header, tables in (("output", outputs), ("input", inputs), ("meter", meters), ("load", loads)):
        text += "".join(table(f"[[{header}]]", fields) for fields in tables)
    return text


def probe(name, channel, **more):
    fields = {"name": name, "channel": channel, "volts_at_full_scale": INPUT_V, "attenuation": ATTENUATION,
              "uncertainty_percent": 0.5, "clean_up_to_dbfs": -0.5}
    fields.update(more)
    return fields


def load(name, ohm, plus, **more):
    fields = {"name": name, "resistance_ohm": ohm, "uncertainty_percent": 0.5, "plus": plus}
    fields.update(more)
    return fields


def job_text(tests, claims=(), unit=None):
    unit = {"kind": "amplifier", "maker": "Nordhall", "model": "Kestrel 2", "serial": "000123", **(unit or {})}
    text = table("[unit]", unit)
    text += "".join(table("[[test]]", fields) for fields in tests)
    return text + "".join(table("[[claim]]", fields) for fields in claims)


class Outcome:
    """What a run of the program gave back."""

    def __init__(self, done, session_folder=None):
        self.status = done.returncode
        self.out = done.stdout
        self.err = done.stderr
        self.folder = session_folder

    @property
    def error_lines(self):
        return [line for line in self.err.splitlines() if line.strip()]

    @property
    def session(self):
        return json.loads((self.folder / "session.json").read_text())

    def has_session(self):
        return self.folder is not None and (self.folder / "session.json").exists()

    def findings(self, test, load_name=None):
        node = self.session["tests"][test]
        return node["loads"][load_name] if load_name else node

    def value(self, test, quantity, load_name="load-a"):
        """None where the quantity is absent."""
        found = self.findings(test, load_name)["quantities"].get(quantity)
        return None if found is None else found["value"]

    def warnings(self, test):
        """All warnings of a test, its loads' included, as one text in small letters."""
        node = self.session["tests"].get(test, {})
        all_of_them = list(node.get("warnings", []))
        for part in node.get("loads", {}).values():
            all_of_them += part.get("warnings", [])
        return "\n".join(f"{w.get('code', '')}: {w.get('text', '')} {w.get('advice', '')}" for w in all_of_them).lower()


def progress_of(session):
    """The tests that a session which is still running, or was interrupted, has finished: id to what session.json has."""
    done = {}
    for kept in sorted(Path(session).glob("progress/*/session.json"), key=lambda path: int(path.parent.name)):
        done.update(json.loads(kept.read_text())["tests"])
    return done


# For tests of numbers alone: without the programs that draw plots and pages, which cost ten times the rest.
WITHOUT_PAGES = {"PATH": "/nowhere"}


def assay(*arguments, timeout=300, environment=None):
    environment = {**os.environ, "LC_ALL": "C.UTF-8", **(environment or {})}
    done = subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=timeout,
                          env=environment, stdin=subprocess.DEVNULL, errors="replace")
    return Outcome(done)


# A process of its own, which is small: what was the memory of whoever starts a program counts as the program's.
WATCHER = """import os, subprocess, sys
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
print(used.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status))"""


def assay_and_memory(*arguments, timeout=300):
    """The outcome, and the program's largest resident set in MB."""
    done = subprocess.run([sys.executable, "-c", WATCHER, PROGRAM, *map(str, arguments)], capture_output=True, text=True,
                          timeout=timeout, stdin=subprocess.DEVNULL, errors="replace")
    return Outcome(done), int(done.stdout) / 1024


class Workshop:
    """A temporary folder with one bench and one job; tones are made once, recordings as often as wanted."""

    def __init__(self, job, bench=None, tone_options=(), environment=None):
        self.environment = environment
        self.folder = Path(tempfile.mkdtemp(prefix="assay-test-"))
        self.job = self.folder / "job.toml"
        self.bench = self.folder / "bench.toml"
        self.job.write_text(job)
        self.bench.write_text(bench or bench_text())
        self.tone_options = tone_options
        self.runs = 0
        self.tones_made = None

    def __enter__(self):
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.folder, ignore_errors=True)

    def make_tones(self):
        if self.tones_made is None:
            self.tones_made = assay("tones", self.job, "--bench", self.bench, "--into", self.folder / "tones",
                                    *self.tone_options)
            if self.tones_made.status != 0:
                raise AssertionError(f"assay tones: exit {self.tones_made.status}: {self.tones_made.err}")
        return self.folder / "tones"

    def tone(self, test, channel=1):
        """Samples of one channel and the rate."""
        sound = sound_files.read_wav(self.make_tones() / f"{test}.wav")
        return sound.channel(channel), sound.rate_hz

    def run(self, recordings, rate_hz=96000, kind="pcm24", keep_session=None):
        """recordings: test id -> samples (frames,) or (frames, channels), or (samples, rate, kind), or None for no
        file at all. Kinds of sound_files, and aiff, flac16, flac24."""
        self.runs += 1
        folder = self.folder / f"recordings-{self.runs}"
        folder.mkdir()
        for test, recording in recordings.items():
            if recording is None:
                continue
            samples, rate, form = recording if isinstance(recording, tuple) else (recording, rate_hz, kind)
            if form.startswith("flac"):
                sound_files.write_flac(folder / f"{test}.flac", int(rate), samples, int(form[4:]))
            elif form == "aiff":
                sound_files.write_aiff(folder / f"{test}.aif", int(rate), samples)
            else:
                sound_files.write_wav(folder / f"{test}.wav", int(rate), samples, form)
        session = keep_session or self.folder / f"session-{self.runs}"
        outcome = assay("run", self.job, "--bench", self.bench, "--recordings", folder, "--into", session, "--yes",
                        "--pages", "none")
        outcome.folder = session
        shutil.rmtree(folder, ignore_errors=True)
        return outcome
