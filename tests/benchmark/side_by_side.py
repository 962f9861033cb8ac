"""This program beside a script of SciPy, on the same recordings, in one run: speed, and whether both find the same.

    python3 side_by_side.py [--short] [--repeats N] [--runs N]

with ASSAY and ASSAY_BUILD as the tests have them. The script is side_by_side/scipy_side.py, our half is
side_by_side/ours.cpp. The recordings are made in NumPy, 24 bits at 96 kHz: a staircase, a sweep, a driver in its jig
without and with a mass. Both sides run on one core, one after the other in turn, and the best of the repeats counts:
what disturbs a run can only lengthen it. "Work" is counted within the process, without start-up and reading of files.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import driver_bench, loudspeakers, program, sound_files  # noqa: E402

HERE = Path(__file__).resolve().parent
OURS = Path(os.environ.get("ASSAY_BUILD", ".")) / "tests/side_by_side"
RATE = 96000
ONE_CORE = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "LC_ALL": "C.UTF-8"}
DRIVER = loudspeakers.Driver("Dunlin 6", 5.6, 0.0142, 0.80e-3, 1.05, 6.4, 0.0132, loudspeakers.Coil("K", (0.010, 0.68)))
JIG = driver_bench.Jig("series-high", 22.0, 0.05)
GAIN = 8.0
TESTS = {"staircase": ("stairs",), "sweep": ("band",), "driver": ("free", "mass")}


def amplifier(tone):
    """Volts for volts: a little of the second and third order, and rails."""
    x = program.OUTPUT_V * GAIN * tone
    return np.clip(x + 2e-5 * x**2 + 1e-6 * x**3, -11.5, 11.5)


def low_pass(tone, corner_hz=30000.0):
    spectrum = np.fft.rfft(tone, 2**int(np.ceil(np.log2(len(tone) + RATE))))
    frequency = np.fft.rfftfreq(2 * (len(spectrum) - 1), 1 / RATE)
    return np.fft.irfft(spectrum / (1 + 1j * frequency / corner_hz))[:len(tone) + RATE]


class Shop:
    """One folder a job: bench, job, tones, recordings, the layout and the settings for the script."""

    def __init__(self, folder, name, tests, bench, job, settings):
        self.name, self.folder, self.tests = name, folder / name, tests
        self.folder.mkdir()
        (self.folder / "bench.toml").write_text(bench)
        (self.folder / "job.toml").write_text(job)
        self.call(program.PROGRAM, "tones", "job.toml", "--bench", "bench.toml", "--into", "tones")
        (self.folder / "plan.json").write_text(self.call(OURS, self.folder, "plan"))
        (self.folder / "settings.json").write_text(json.dumps(settings))
        (self.folder / "recordings").mkdir()
        random = np.random.default_rng(1)
        for test in tests:
            tone = sound_files.read_wav(self.folder / f"tones/{test}.wav").channel(1)
            samples = self.record(test, tone)
            samples = samples + 3e-6 * random.standard_normal(samples.shape)
            sound_files.write_wav(self.folder / f"recordings/{test}.wav", RATE, samples)
        self.seconds = len(samples) / RATE * len(tests)

    def record(self, test, tone):
        if self.name == "driver":
            added_kg = 0.01 if test == "mass" else 0.0
            return driver_bench.record(driver_bench.Played(tone, RATE), lambda f: DRIVER.z(f, added_kg=added_kg), JIG, driver_bench.Card(start_s=0.7))[0]
        volts = amplifier(tone) if self.name == "staircase" else program.OUTPUT_V * GAIN * low_pass(tone)
        silence = np.zeros(int(0.7 * RATE))
        return np.concatenate([silence, volts / program.PROBE_V, silence])

    def call(self, *arguments):
        done = subprocess.run(list(map(str, arguments)), cwd=self.folder, env=ONE_CORE, capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"{arguments[0]}: {done.stderr}")
        return done.stdout

    def script(self, repeats):
        return json.loads(self.call("/usr/bin/python3", HERE / "side_by_side/scipy_side.py", self.folder, self.name, repeats))

    def ours(self, repeats):
        return json.loads(self.call(OURS, self.folder, "work", repeats))[self.name]

    def process(self, *arguments):
        """Processor and wall seconds of one process with its children."""
        watcher = ("import os, subprocess, sys, time\nbegan = time.perf_counter()\n"
                   "process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)\n_, status, used = os.wait4(process.pid, 0)\n"
                   "print(used.ru_utime + used.ru_stime, time.perf_counter() - began)\nsys.exit(os.waitstatus_to_exitcode(status))")
        return tuple(map(float, self.call(sys.executable, "-c", watcher, *arguments).split()))

    def processes(self, runs):
        """The best of the runs, in turn: ((cpu, wall) of the script, of ours)."""
        both = []
        for number in range(runs):
            script = self.process("/usr/bin/python3", HERE / "side_by_side/scipy_side.py", self.folder, self.name, 1)
            ours = self.process(program.PROGRAM, "run", "job.toml", "--bench", "bench.toml", "--recordings", "recordings",
                                "--into", f"session-{number}", "--pages", "none", "--quiet")
            both.append((script, ours))
        return [[min(pair[side][k] for pair in both) for k in (0, 1)] for side in (0, 1)]


def shops(folder, short):
    stairs = {"id": "stairs", "measure": "clipping-power", "loads": ["load-a"], "frequency_hz": 997,
              **({"from_dbfs": -24, "step_db": 1.0} if short else {})}
    band = {"id": "band", "measure": "response", "loads": ["load-a"], "drive_dbfs": -20}
    settings = {"volts_per_unit": program.PROBE_V, "load_ohm": 4.0, "frequency_hz": 997, "tone_unit": 1.0,
                "frequencies_hz": [], "series_ohm": JIG.series_ohm, "lead_ohm": JIG.lead_ohm, "added_kg": 0.01}
    middle = 1000 * 2.0**(np.arange(-136, 104) / 24)
    settings["frequencies_hz"] = [20.0, *middle[(middle > 20.001) & (middle < 19999)].tolist(), 20000.0]
    yield Shop(folder, "staircase", ["stairs"], program.bench_text(), program.job_text([stairs]), settings)
    yield Shop(folder, "sweep", ["band"], program.bench_text(), program.job_text([band]), settings)
    if short:  # a jig's recordings take long to make; reference/driver_fit_test.py holds the fit against SciPy
        return
    driver = [driver_bench.impedance("free"), driver_bench.impedance("mass", added_mass_g=10.0),
              {"id": "parameters", "measure": "driver-parameters", "free_air": "free", "with_mass": "mass"}]
    yield Shop(folder, "driver", ["free", "mass"], driver_bench.bench_text(JIG), driver_bench.job_text(driver), settings)


def apart(name, ours, script):
    """Largest difference between the two sides by kind of number: (what, difference, allowed). Allowed is what the
    simpler method errs by: scalloping and leakage of windowed lines, straight lines between bins, a fit without floor."""
    def relative(key, where=slice(None)):
        return float(np.max(np.abs(np.array(ours[key])[where] / np.array(script[key])[where] - 1)))
    if name == "staircase":
        clipped = np.array(script["thd"]) > 3e-3
        return [("volts", relative("fundamental_v"), 1e-4), ("watts", relative("power_w"), 1e-4), ("THD", relative("thd", clipped), 0.01),
                ("THD+N", relative("thd_plus_noise", clipped), 0.01)]
    if name == "sweep":
        middle = np.array(ours["frequency_hz"]) > 30
        gain = np.array(ours["gain_db"]) - script["gain_db"]
        phase = (np.array(ours["phase_deg"]) - script["phase_deg"] + 180) % 360 - 180
        # Each side places the tone in time its own way, to a part of a sample: a delay is no difference.
        frequency = np.array(ours["frequency_hz"])
        phase -= frequency * (frequency @ phase) / (frequency @ frequency)
        return [("gain, dB", float(np.max(np.abs(gain[middle]))), 0.05), ("phase, degrees", float(np.max(np.abs(phase[middle]))), 0.5)]
    return [(key, abs(ours[key] / script[key] - 1), 2e-3) for key in ("re_ohm", "fs_hz", "qms", "qes", "mms_kg")]


def measure(short=False, repeats=5, runs=3, keep=None):
    """One dict a job. `keep`: a folder that stays, for a look at where the time goes."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="side-by-side-") as name:
        for shop in shops(Path(keep or name), short):
            script, ours = shop.script(repeats), shop.ours(repeats)
            processes = shop.processes(runs)
            rows.append({"job": shop.name, "recording_s": shop.seconds, "apart": apart(shop.name, ours["found"], script["found"]),
                         "script": script["like"], "like": ours["like"], "whole": ours["whole"],
                         "script_process": processes[0], "our_process": processes[1]})
    return rows


def table(rows):
    lines = ["| work in the process, processor time | recording | SciPy | ours, the same | times faster | ours with all checks and doubts | times faster |",
             "|---|---|---|---|---|---|---|"]
    for row in rows:
        script, like, whole = (row[key]["cpu_ms"] for key in ("script", "like", "whole"))
        lines.append(f"| {row['job']} | {row['recording_s']:.0f} s | {script:.1f} ms | {like:.1f} ms | {script / like:.1f} | {whole:.0f} ms | {script / whole:.1f} |")
    lines += ["", "| whole process | SciPy, processor (wall) | `assay run` | times faster (wall) |", "|---|---|---|---|"]
    for row in rows:
        (script, script_wall), (ours, our_wall) = row["script_process"], row["our_process"]
        lines.append(f"| {row['job']} | {script:.2f} s ({script_wall:.2f}) | {ours:.2f} s ({our_wall:.2f}) | {script / ours:.1f} ({script_wall / our_wall:.1f}) |")
    return "\n".join(lines)


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--short", action="store_true", help="a staircase of 24 steps, no driver")
    options.add_argument("--repeats", type=int, default=5)
    options.add_argument("--runs", type=int, default=3, help="of whole processes")
    options.add_argument("--keep", help="empty folder for jobs and recordings, which stay")
    chosen = options.parse_args()
    rows = measure(chosen.short, chosen.repeats, chosen.runs, chosen.keep)
    print(table(rows))
    print("\nHow far both sides are apart:")
    for row in rows:
        print(f"  {row['job']}: " + ", ".join(f"{what} {off:.1e}" for what, off, _ in row["apart"]))


if __name__ == "__main__":
    main()
