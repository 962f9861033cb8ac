"""A driver measured live in a jig, by hand: match of the inputs, the series resistor against a known one, impedance in
free air and with a mass, parameters. The virtual bench's jig has a driver whose parameters have a closed form
(tests/outside/loudspeakers.py, after Small 1972); the same job from recordings of the jig in NumPy
(tests/outside/driver_bench.py) gives the same numbers within their uncertainty.

The person at the terminal is `at_terminal` of tests/outside/live_bench.py: what it is asked for, it does.
"""

import json
import math
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import driver_bench, loudspeakers, program  # noqa: E402
from outside.live_bench import ASSAY, RATE, LiveBench, at_terminal  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("A driver in the jig, live")
SERIES_OHM, PRINTED_OHM, KNOWN_OHM, MASS_G, GAIN_2 = 21.87, 22.0, 10.0, 12.0, 1.013
DRIVER = next(driver for driver in loudspeakers.PARADE if driver.name == "Dunlin 6")
TESTS = [driver_bench.impedance("free", drive_dbfs=-10.0),
         driver_bench.impedance("mass", drive_dbfs=-10.0, added_mass_g=MASS_G),
         driver_bench.parameters(with_mass="mass", effective_diameter_mm=loudspeakers.diameter_mm(DRIVER))]
SOUND = {"playback_device": "virtual-bench", "record_device": "virtual-bench", "sample_rate_hz": RATE}


class Bench:
    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="assay-driver-"))
        self.job, self.file = self.folder / "job.toml", self.folder / "bench.toml"
        self.job.write_text(driver_bench.job_text(TESTS))
        # As bought: a resistor of 5 %, inputs of 2 %.
        doubt = {"uncertainty_percent": 2.0}
        jig = driver_bench.Jig(series_ohm=PRINTED_OHM)
        self.file.write_text(driver_bench.bench_text(jig, SOUND, doubt, doubt, uncertainty_percent=5.0))

    def jig(self):
        return tomllib.loads(self.file.read_text())["impedance_jig"]


def tell_driver(bench):
    l_h, r2_ohm, l2_h = DRIVER.coil.values
    bench.tell(f"driver {DRIVER.re_ohm} {DRIVER.mms_kg} {DRIVER.cms_m_per_n} {DRIVER.rms_kg_per_s} {DRIVER.bl_tm} {l_h} {r2_ohm} {l2_h}")


def calibrations(bench, shop):
    series = at_terminal(bench, [ASSAY, "calibrate", "series", "--bench", shop.file, "--level", -10, "--yes"], [
        ("known precisely", f"{KNOWN_OHM}", None), ("tolerance", "0.1", None),
        ("both inputs", "y", lambda: bench.tell("one_node")),
        ("known resistor in the driver's place", "y", lambda: bench.tell(f"resistor {KNOWN_OHM}"))])
    report.check(series.status == 0, "calibrate series by hand", f"exit {series.status}: {series.text[-300:]}")
    found = shop.jig()
    report.relative("series resistor", found["series_ohm"], SERIES_OHM, 0.02)
    # 0.1 % as limits of a rectangle (JCGM 100, 4.3.7); the scatter adds little.
    report.relative("its standard uncertainty", found["uncertainty_percent"], 0.1 / math.sqrt(3), 5)
    bench.tell("one_node")
    match = at_terminal(bench, [ASSAY, "calibrate", "match", "--bench", shop.file], [("Connected as told", "y", None)])
    report.check(match.status == 0, "calibrate match by hand", f"exit {match.status}: {match.text[-300:]}")
    report.check("open magnet gap" in series.text and "open magnet gap" in match.text, "cautions come before the tone", series.text[:200])
    tell_driver(bench)


def unattended(bench, shop):
    """Nobody to put the mass on: refused before anything sounds, and the key is named."""
    command = [ASSAY, "run", shop.job, "--bench", shop.file, "--into", shop.folder / "refused", "--pages", "none"]
    alone = bench.run(*command, "--yes")
    report.check(alone.returncode == 2 and "mass-connected" in alone.stderr and not list(shop.folder.glob("refused/captures/*")),
                 "--yes does not put a mass on a cone", alone.stderr.strip()[-240:])
    answers = shop.folder / "answers.toml"
    answers.write_text('proceed = "yes"\nfree-connected = "no"\nmass-connected = "yes"\n')
    stopped = bench.run(*command, "--answers", answers)
    report.check(stopped.returncode == 130 and "the jig is not ready" in stopped.stderr, "a no from the answers file stops", f"exit {stopped.returncode}: {stopped.stderr.strip()[-200:]}")


def offline(shop):
    """The same job and bench from recordings of another jig."""
    text = shop.file.read_text()
    with program.Workshop(shop.job.read_text(), text) as elsewhere:
        for match in shop.folder.glob("*.match.json"):
            shutil.copy(match, elsewhere.folder)
        jig = driver_bench.Jig(series_ohm=SERIES_OHM, gain_ratio=GAIN_2)
        card = driver_bench.Card(rate_hz=RATE, noise_db=-80.0)
        z = {"free": DRIVER.z, "mass": lambda f: DRIVER.z(f, added_kg=MASS_G * 1e-3)}
        outcome, _ = driver_bench.run_driver(elsewhere, driver_bench.Tones(), z, jig, card)
        report.check(outcome.status == 0, "the same job from recordings", f"exit {outcome.status} {outcome.err.strip()[-200:]}")
        return driver_bench.quantities(outcome)


def by_hand(bench, shop):
    into = shop.folder / "session"
    run = at_terminal(bench, [ASSAY, "run", shop.job, "--bench", shop.file, "--into", into, "--pages", "none"], [
        ("may the tones be played", "yes", None), (r"free.*free air.*Done", "y", None),
        (f"mass.*{MASS_G:g} g.*cone.*Done", "y", lambda: bench.tell(f"mass {MASS_G * 1e-3}"))], timeout_s=240)
    report.check(run.status == 0, "a run by hand, with a mass put on when it is asked for", f"exit {run.status}: {run.text[-300:]}")
    tests = json.loads((into / "session.json").read_text())["tests"]
    found = tests["parameters"]["quantities"]
    recorded = offline(shop)
    for name, truth in DRIVER.truth().items():
        if not report.check(name in found and name in recorded, f"{name} is given"):
            continue
        value, doubt = found[name]["value"], found[name]["expanded_uncertainty"]
        # sd_cm2 is what the job says, exactly.
        report.absolute(f"{name} against the closed form, within its uncertainty", value, truth, max(doubt, 1e-9 * abs(truth)))
        both = math.hypot(doubt, recorded[name]["expanded_uncertainty"])
        report.absolute(f"{name} against the same job from recordings", value, recorded[name]["value"], max(both, 1e-9 * abs(truth)))
    for name, percent in {"fs_hz": 0.1, "re_ohm": 0.2, "qms": 0.5, "qes": 0.5, "mms_g": 1.0, "vas_l": 1.0, "bl_tm": 1.0}.items():
        report.relative(f"{name} within the target", found[name]["value"], DRIVER.truth()[name], percent)


shared = Bench()
with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain_2", str(GAIN_2)]) as virtual:
    virtual.tell(f"jig {SERIES_OHM} 0.05")
    tell_driver(virtual)
    for part in (calibrations, unattended, by_hand):
        report.guarded(part.__name__, lambda: part(virtual, shared))
shutil.rmtree(shared.folder, ignore_errors=True)
report.finish()
