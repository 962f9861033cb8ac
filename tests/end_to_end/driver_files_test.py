"""Bench, job and curve files of a driver: what is wrong in them is told in one line that names file, line, key and the
mend (exit 2); what cannot be (a mass that fell off, a box that leaks) is named as what probably happened.

Curves come from the outside driver (tests/outside/loudspeakers.py, after Small 1972). In the edits the mark `<<`
stands at the line that must be named; `<<?` where any of several lines will do.
"""

import re
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import curve_files, driver_bench, loudspeakers, program  # noqa: E402
from outside.loudspeakers import Air, Leak  # noqa: E402
from outside.report import Report  # noqa: E402

BENCH = """[sound]
source = "device"
sample_rate_hz = 96000

[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = 0.0

[[input]]
name = "jig-1"
channel = 1
volts_at_full_scale = 2.2
uncertainty_percent = 0.1

[[input]]
name = "jig-2"
channel = 2
volts_at_full_scale = 2.2
uncertainty_percent = 0.1

[impedance_jig]
topology = "series-high"
series_ohm = 22.05
uncertainty_percent = 0.1
generator_side = "jig-1"
driver_side = "jig-2"
lead_ohm = 0.04
input_resistance_ohm = 1e6
"""
JIG = BENCH[BENCH.index("[impedance_jig]"):]

JOB = """[unit]
kind = "driver"
maker = "Nordhall"
model = "Dunlin 6"
serial = "7-114"

[[test]]
id = "free"
measure = "impedance"

[[test]]
id = "mass"
measure = "impedance"
added_mass_g = 12.0

[[test]]
id = "box"
measure = "impedance"
test_box_l = 10.0

[[test]]
id = "parameters"
measure = "driver-parameters"
free_air = "free"
with_mass = "mass"
in_box = "box"
effective_diameter_mm = 131.6
dc_resistance_ohm = 5.6

[[claim]]
text = "fs 41 Hz within 15 %"
test = "parameters"
quantity = "fs_hz"
nominal = 41.0
within_percent = 15.0
"""

CASES = [
    # Bench
    ("no jig", "bench", JIG, "", ["impedance_jig"]),
    ("a jig of no known kind", "bench", '"series-high"', '"series"<<', ["topology", "series-high"]),
    ("no series resistor", "bench", "series_ohm = 22.05\n", "", ["series_ohm"]),
    ("a series resistor of 0 ohm", "bench", "series_ohm = 22.05", "series_ohm = 0<<", ["series_ohm"]),
    ("a negative lead", "bench", "lead_ohm = 0.04", "lead_ohm = -0.04<<", ["lead_ohm"]),
    ("an input resistance of 0 ohm", "bench", "input_resistance_ohm = 1e6", "input_resistance_ohm = 0<<", ["input_resistance_ohm"]),
    ("the generator's side names nothing", "bench", 'generator_side = "jig-1"', 'generator_side = "jig-3"<<', ["generator_side", "jig-3"]),
    ("no driver's side", "bench", 'driver_side = "jig-2"\n', "", ["driver_side"]),
    ("both sides on one input", "bench", 'driver_side = "jig-2"', 'driver_side = "jig-1"<<', ["generator_side", "driver_side"]),
    ("the resistor in kilohm", "bench", "series_ohm = 22.05", 'series_ohm = "22 ohm"<<', ["series_ohm", "number"]),
    ("the key without its unit", "bench", "series_ohm = 22.05", "series = 22.05<<", ["series", "series_ohm"]),
    # Job
    ("two tests of one id", "job", 'id = "mass"', 'id = "free"<<', ["id", "free"]),
    ("free air names nothing", "job", 'free_air = "free"', 'free_air = "fre"<<', ["free_air", "fre", "free"]),
    ("free air names itself", "job", 'free_air = "free"', 'free_air = "parameters"<<', ["free_air"]),
    ("no free air", "job", 'free_air = "free"\n', "", ["free_air"]),
    ("with mass names nothing", "job", 'with_mass = "mass"', 'with_mass = "heavy"<<', ["with_mass", "heavy"]),
    ("with mass names a test without a mass", "job", 'with_mass = "mass"', 'with_mass = "box"<<', ["with_mass", "added_mass_g"]),
    ("in box names a test without a box", "job", 'in_box = "box"', 'in_box = "mass"<<', ["in_box", "test_box_l"]),
    ("a negative mass", "job", "added_mass_g = 12.0", "added_mass_g = -12.0<<", ["added_mass_g"]),
    ("the mass without its unit", "job", "added_mass_g = 12.0", "added_mass = 12.0<<", ["added_mass", "added_mass_g"]),
    ("a box of 0 l", "job", "test_box_l = 10.0", "test_box_l = 0<<", ["test_box_l"]),
    ("diameter and area", "job", "effective_diameter_mm = 131.6", "effective_diameter_mm = 131.6\neffective_area_cm2 = 136<<?", ["effective_diameter_mm", "effective_area_cm2"]),
    ("a diameter in inches", "job", "effective_diameter_mm = 131.6", "effective_diameter_in = 5.2<<", ["effective_diameter_in", "effective_diameter_mm"]),
    ("the meter's resistance as text", "job", "dc_resistance_ohm = 5.6", 'dc_resistance_ohm = "5.6"<<', ["dc_resistance_ohm", "number"]),
    ("a negative resistance", "job", "dc_resistance_ohm = 5.6", "dc_resistance_ohm = -5.6<<", ["dc_resistance_ohm"]),
    ("air of 400 degrees", "job", "dc_resistance_ohm = 5.6", "dc_resistance_ohm = 5.6\ntemperature_c = 400<<", ["temperature_c"]),
    ("a barometer in pascal", "job", "dc_resistance_ohm = 5.6", "dc_resistance_ohm = 5.6\npressure_hpa = 101325<<", ["pressure_hpa"]),
    ("humidity above 100 %", "job", "dc_resistance_ohm = 5.6", "dc_resistance_ohm = 5.6\nhumidity_percent = 140<<", ["humidity_percent"]),
    ("a sweep that goes down", "job", 'id = "free"\nmeasure = "impedance"', 'id = "free"\nmeasure = "impedance"\nstart_hz = 500\nstop_hz = 100<<?', ["_hz"]),
    ("a sweep above half the rate", "job", 'id = "free"\nmeasure = "impedance"', 'id = "free"\nmeasure = "impedance"\nstop_hz = 60000<<', ["stop_hz"]),
    ("a claim on no quantity of it", "job", '"fs_hz"', '"fs"<<', ["quantity", "fs_hz"]),
    ("nominal without its width", "job", "within_percent = 15.0\n", "", ["within_percent"]),
]

report = Report("Files of a driver")


def problems_of(outcome, name, marked, words, status=2):
    line = outcome.err.strip()
    place = re.search(re.escape(name) + r":(\d+)", line)
    problems = []
    if outcome.status != status:
        problems.append(f"exit {outcome.status}")
    if len(outcome.error_lines) != 1:
        problems.append(f"{len(outcome.error_lines)} lines")
    if name and name not in line:
        problems.append(f"does not name {name}")
    if marked and (place is None or int(place.group(1)) != marked[0]):
        problems.append(f"names line {place.group(1) if place else 'none'}, not {marked[0]}")
    return problems + [f"does not say {word}" for word in words if word.lower() not in line.lower()]


def bad_files():
    with tempfile.TemporaryDirectory(prefix="assay-test-") as folder:
        folder = Path(folder)
        files = {"bench": folder / "bench.toml", "job": folder / "job.toml"}

        def tones(into):
            return program.assay("tones", files["job"], "--bench", files["bench"], "--into", folder / into)

        files["bench"].write_text(BENCH)
        files["job"].write_text(JOB)
        outcome = tones("sound")
        report.check(outcome.status == 0, "the sound pair is accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        for test in ("free", "mass", "box"):
            report.check((folder / "sound" / f"{test}.wav").exists(), f"a tone for {test}")
        report.check(not (folder / "sound" / "parameters.wav").exists(), "no tone for what plays nothing")
        for number, (what, file, old, new, words) in enumerate(CASES):
            text = {"bench": BENCH, "job": JOB}[file]
            assert text.count(old) >= 1, (what, old)
            text = text.replace(old, new, 1)
            marked = [i + 1 for i, line in enumerate(text.split("\n")) if "<<" in line and "<<?" not in line]
            text = text.replace("<<?", "").replace("<<", "")
            files["bench"].write_text(text if file == "bench" else BENCH)
            files["job"].write_text(text if file == "job" else JOB)
            outcome = tones(f"bad-{number}")
            # Without a jig either file may be named: the bench lacks it, the job's test wants it.
            name = "" if what == "no jig" else files[file].name
            problems = problems_of(outcome, name, marked, words)
            if (folder / f"bad-{number}").exists() and any((folder / f"bad-{number}").iterdir()):
                problems.append("wrote tones all the same")
            report.check(not problems, what, "; ".join(problems) + (": " if problems else "") + outcome.err.strip().replace(str(folder), "")[:260])


DRIVER = next(d for d in loudspeakers.PARADE if d.name == "Dunlin 6")
GRID = curve_files.grid_hz()
FREE = curve_files.csv(*curve_files.measured(DRIVER, seed=1))


def curves(files, parameters=(), tests=(), mass_g=14.0, box_l=15.0):
    """A job over curve files: `free`, and `mass`, `box` where such a file is given."""
    all_tests = [driver_bench.impedance("free", from_file="free.csv")]
    fields = {"effective_area_cm2": DRIVER.sd_m2 * 1e4, "dc_resistance_ohm": DRIVER.re_ohm}
    if "mass.csv" in files:
        all_tests.append(driver_bench.impedance("mass", from_file="mass.csv", added_mass_g=mass_g))
        fields["with_mass"] = "mass"
    if "box.csv" in files:
        all_tests.append(driver_bench.impedance("box", from_file="box.csv", test_box_l=box_l))
        fields["in_box"] = "box"
    fields.update(dict(parameters))
    all_tests += list(tests) + [driver_bench.parameters(**fields)]
    return curve_files.run(all_tests, files)


def bad_curves():
    rows = FREE.splitlines()
    for what, text, words, status in [
            ("a curve file that is not there", None, ["free.csv"], 2),
            ("an empty one", "", ["free.csv"], 2),
            ("a header alone", rows[0] + "\n", ["free.csv"], 2),
            ("no frequency column", FREE.replace("frequency_hz", "distance_m"), ["free.csv"], 2),
            ("a word for a number", "\n".join(rows[:40] + ["fifty,6,1"] + rows[40:]), ["free.csv:41"], 2),
            ("a column missing in a row", "\n".join(rows[:40] + ["12.3,6"] + rows[40:]), ["free.csv:41"], 2),
            ("not a number", "\n".join(rows[:40] + ["12.3,nan,1"] + rows[40:]), ["free.csv:41"], 2),
            ("a negative frequency", "\n".join(rows[:1] + ["-5,6,1"] + rows[1:]), ["free.csv:2"], 2),
            ("a frequency twice", "\n".join(rows[:41] + [rows[40]] + rows[41:]), ["free.csv:42"], 2),
            ("frequencies in no order", "\n".join(rows[:1] + rows[200:] + rows[1:200]), ["free.csv"], 2),
            ("binary", "\x00\x01\x02RIFF\x00" * 40, ["free.csv"], 2)]:
        outcome = curves({} if text is None else {"free.csv": text})
        line = outcome.err.strip()
        problems = ([f"exit {outcome.status}, not {status}"] if outcome.status != status else []) + (
            [f"{len(outcome.error_lines)} lines"] if len(outcome.error_lines) != 1 else []) + [
            f"does not say {word}" for word in words if word not in line]
        report.check(not problems, what, "; ".join(problems) + (": " if problems else "") + re.sub(r"\S*/assay-curves-\w+/", "", line)[:240])
    # A jig is not needed where nothing is played.
    outcome = curve_files.run([driver_bench.impedance("free", from_file="free.csv")], {"free.csv": FREE}, bench=BENCH.replace(JIG, ""))
    report.check(outcome.status == 0, "a curve from a file needs no jig", f"exit {outcome.status} {outcome.err.strip()[:240]}")


def absent(outcome, quantity):
    return quantity not in driver_bench.quantities(outcome)


def named(what, outcome, words, gone):
    """A finished session whose warnings name the cause in one of the words; the quantities `gone` are not given."""
    if not report.check(outcome.status == 0, what, f"exit {outcome.status} {outcome.err.strip()[:240]}"):
        return
    text = outcome.warnings("parameters")
    report.check(any(word in text for word in words), f"{what}: named", f"wanted one of {words}: {text[:500]}")
    given = [quantity for quantity in gone if not absent(outcome, quantity)]
    report.check(not given, f"{what}: no number that cannot be", f"{ {q: driver_bench.quantities(outcome)[q]['value'] for q in given} }")


def curve(seed, driver=DRIVER, **where):
    return curve_files.csv(*curve_files.measured(driver, where, seed=seed))


def impossible_outcomes():
    mass, box = 0.014, 0.015
    good = curves({"free.csv": FREE, "mass.csv": curve(2, added_kg=mass), "box.csv": curve(3, box_m3=box)})
    if report.check(good.status == 0, "mass and box that agree", f"exit {good.status} {good.err.strip()[:240]}"):
        text = good.warnings("parameters")
        report.check("contradict" not in text and "leak" not in text and "fell" not in text, "  no word of trouble", text[:300])
        for key in ("mms_g", "vas_l", "bl_tm"):
            report.relative(f"  {key}", driver_bench.quantities(good)[key]["value"], DRIVER.truth()[key], 1.0)
    named("the mass fell off: the same curve twice", curves({"free.csv": FREE, "mass.csv": curve(4)}), ["fell off", "fallen off", "came off", "come off"], ["mms_g", "vas_l", "bl_tm"])
    named("the curves exchanged: the mass makes it rise", curves({"free.csv": curve(5, added_kg=mass), "mass.csv": curve(6)}), ["exchange", "swap", "mixed up", "wrong way", "rise", "rose", "higher"], ["mms_g", "vas_l", "bl_tm"])
    named("a box that changes nothing", curves({"free.csv": FREE, "box.csv": curve(7)}), ["leak", "open", "not sealed"], ["mms_g", "vas_l", "bl_tm"])
    leaky = curve(8, box_m3=box, leak=Leak(2.0e4, 120.0))
    outcome = curves({"free.csv": FREE, "mass.csv": curve(9, added_kg=mass), "box.csv": leaky})
    if report.check(outcome.status == 0, "a box that leaks", f"exit {outcome.status} {outcome.err.strip()[:240]}"):
        text = outcome.warnings("parameters") + outcome.warnings("box")
        report.check("leak" in text, "  named", text[:500])
    # Somebody weighed 14 g and wrote 20: the box says otherwise.
    named("mass and box that contradict", curves({"free.csv": FREE, "mass.csv": curve(10, added_kg=mass), "box.csv": curve(11, box_m3=box)}, mass_g=20.0), ["contradict", "disagree", "do not agree"], [])
    named("a mass too small to tell", curves({"free.csv": FREE, "mass.csv": curve(12, added_kg=0.0004)}, mass_g=0.4), ["small", "shift", "heavier", "more mass"], [])
    # Without area, without mass and box: what can be told is told, the rest is absent with its reason.
    outcome = curves({"free.csv": FREE, "mass.csv": curve(13, added_kg=mass)}, {"effective_area_cm2": None})
    named("a mass without the cone's area", outcome, ["area", "diameter"], ["vas_l", "sd_cm2", "efficiency_percent", "sensitivity_1w_db"])
    if outcome.status == 0:
        report.relative("  mass and Bl need no area: mms_g", driver_bench.quantities(outcome).get("mms_g", {}).get("value"), DRIVER.truth()["mms_g"], 1.0)
    outcome = curves({"free.csv": FREE})
    named("free air alone", outcome, ["mass", "box"], ["mms_g", "cms_mm_per_n", "bl_tm", "vas_l", "rms_kg_per_s", "efficiency_percent", "sensitivity_2v83_db"])
    if outcome.status == 0:
        for key, percent in [("fs_hz", 0.1), ("re_ohm", 0.2), ("qms", 0.5), ("qes", 0.5), ("qts", 0.5), ("res_ohm", 0.7)]:
            report.relative(f"  {key}", driver_bench.quantities(outcome).get(key, {}).get("value"), DRIVER.truth()[key], percent)
    # No resonance at all: a seized coil.
    z = DRIVER.re_ohm + DRIVER.coil.z(GRID)
    outcome = curves({"free.csv": curve_files.csv(GRID, z)})
    report.check(outcome.status in (0, 3), "a seized coil", f"exit {outcome.status}")
    text = (outcome.warnings("parameters") if outcome.session else "") + outcome.err.lower()
    report.check(any(word in text for word in ("peak", "resonance")) and (outcome.session is None or absent(outcome, "fs_hz")), "  named, and no fs", text[:300])


def coil_without_a_part():
    """One input late by 5 us makes the coil look shorter than nothing at the top: in the fit a part of it runs to
    nothing. It must stay a number, or neither session nor circuit could hold the model."""
    driver = next(d for d in loudspeakers.PARADE if d.name == "Gannet 10 stage")
    random = np.random.default_rng(14)
    files = {}
    for name, where in (("free.csv", {}), ("mass.csv", {"added_kg": 0.03})):
        h = driver.z(GRID, **where) / (driver.z(GRID, **where) + 22.0) * np.exp(-2j * np.pi * GRID * 5e-6)
        z = 22.0 * h / (1 - h)
        files[name] = curve_files.csv(GRID, z + 1e-4 * np.abs(z) * (random.standard_normal(len(GRID)) + 1j * random.standard_normal(len(GRID))))
    outcome = curves(files, {"effective_area_cm2": 350.0, "dc_resistance_ohm": None}, mass_g=30.0)
    if report.check(outcome.status == 0, "one input late", f"exit {outcome.status} {outcome.err.strip()[:240]}"):
        told = outcome.session["tests"]["parameters"]["conditions"]
        parts = {key: value for key, value in told.items() if key.startswith("model_coil_")}
        needed = {"inductance": 1, "loss-circuit": 3, "double-loss-circuit": 5, "power-law": 2, "bounded-power-law": 3, "semi-inductance": 3}
        report.check(len(parts) == needed.get(told["coil_model"]) and all(0 < value < 1e13 for value in parts.values()), "  the model is whole", f"{told['coil_model']} {parts}")
        # h is turned by 2 pi f 5 us, Z by (Z + R) / R times that: 0.6 % at the peak, and the coil takes up some of it.
        for key, percent in [("fs_hz", 0.3), ("qes", 3.0), ("qts", 3.0)]:
            report.relative(f"  {key}", driver_bench.quantities(outcome)[key]["value"], driver.truth()[key], percent)


def plain_physics():
    """What any two measurements of one driver must share: the barometer, the box, levels."""
    mass, box = 0.014, 0.015
    found = {}
    for hpa in (1013.25, 950.0, 845.6):
        air = Air(pressure_pa=hpa * 100)
        files = {"free.csv": FREE, "mass.csv": curve(2, added_kg=mass)}
        outcome = curves(files, {"pressure_hpa": hpa})
        found[hpa] = driver_bench.quantities(outcome)
        report.relative(f"Vas goes with the barometer, {hpa} hPa", found[hpa]["vas_l"]["value"] / found[1013.25]["vas_l"]["value"], air.stiffness_pa / Air().stiffness_pa, 0.01)
        report.relative("  Cms by mass does not", found[hpa]["cms_mm_per_n"]["value"], found[1013.25]["cms_mm_per_n"]["value"], 1e-6)
        # A test box compares volumes with the air of the day: Vas needs no pressure, Cms does.
        boxed = curve_files.csv(*curve_files.measured(DRIVER, {"box_m3": box}, seed=3, air=air))
        outcome = curves({"free.csv": FREE, "box.csv": boxed}, {"pressure_hpa": hpa})
        report.relative("  Cms by a box, the barometer read", driver_bench.quantities(outcome)["cms_mm_per_n"]["value"], DRIVER.truth()["cms_mm_per_n"], 1.0)
    warm = driver_bench.quantities(curves({"free.csv": FREE, "mass.csv": curve(2, added_kg=mass)}, {"temperature_c": 30.0}))
    # The table of Cramer and CIPM: rho c^2 141 801 Pa at 30 C against 141 911 at 20 C, the level of 1 acoustic watt
    # 112.07 against 112.15 dB; the efficiency goes with rho / c, 5.250 / 5.549.
    base = found[1013.25]
    report.relative("Vas hardly goes with the warmth", warm["vas_l"]["value"] / base["vas_l"]["value"], 141801 / 141911, 0.02)
    report.relative("efficiency goes with rho / c", warm["efficiency_percent"]["value"] / base["efficiency_percent"]["value"], 5.250 / 5.549, 0.05)
    q = {key: entry["value"] for key, entry in base.items()}
    # Relations of Small 1972 among the quantities themselves.
    c = Air().speed_m_per_s
    for what, left, right in [
            ("Qts", q["qts"], q["qms"] * q["qes"] / (q["qms"] + q["qes"])),
            ("Res", q["res_ohm"], q["re_ohm"] * q["qms"] / q["qes"]),
            ("fs from Mms and Cms", q["fs_hz"], 1 / (2 * np.pi * np.sqrt(q["mms_g"] * q["cms_mm_per_n"] * 1e-6))),
            ("Qes from Bl", q["qes"], 2 * np.pi * q["fs_hz"] * q["mms_g"] * 1e-3 * q["re_ohm"] / q["bl_tm"] ** 2),
            ("Qms from Rms", q["qms"], 2 * np.pi * q["fs_hz"] * q["mms_g"] * 1e-3 / q["rms_kg_per_s"]),
            ("efficiency 4 pi^2 fs^3 Vas / (c^3 Qes)", q["efficiency_percent"], 100 * 4 * np.pi**2 / c**3 * q["fs_hz"] ** 3 * q["vas_l"] * 1e-3 / q["qes"])]:
        report.relative(what, left, right, 0.002)
    report.absolute("2.83 V against 1 W into Re, dB", q["sensitivity_2v83_db"] - q["sensitivity_1w_db"], 10 * np.log10(8 / q["re_ohm"]), 0.001)
    report.absolute("level of the efficiency: 112.15 dB for 1 acoustic watt", q["sensitivity_1w_db"], 112.15 + 10 * np.log10(q["efficiency_percent"] / 100), 0.006)
    # In the box the peak lies at fs sqrt(1 + Vas/V) (Small 1972, Closed-Box), and Vas by the mass foretells it.
    outcome = curves({"free.csv": FREE, "box.csv": curve(3, box_m3=box)})
    for ident, where in (("free", {}), ("box", {"box_m3": box})):
        found_hz = outcome.session["tests"][ident]["quantities"]["resonance_hz"]["value"]
        # The maximum of |Z|, coil and all, on a fine grid of the closed form.
        fine = np.geomspace(20, 200, 200001)
        report.relative(f"the peak of {ident}", found_hz, fine[np.argmax(np.abs(DRIVER.z(fine, **where)))], 0.1)
    ratio = outcome.session["tests"]["box"]["quantities"]["resonance_hz"]["value"] / outcome.session["tests"]["free"]["quantities"]["resonance_hz"]["value"]
    # The peak of |Z| is pulled by the coil by up to 0.4 % (three-point errors of lossy coils), free and boxed alike.
    report.relative("fc/fs = sqrt(1 + Vas/V), Vas by the mass", ratio, np.sqrt(1 + q["vas_l"] * 1e-3 / box), 0.5)


for name, part in [("bad files", bad_files), ("bad curves", bad_curves), ("impossible outcomes", impossible_outcomes), ("a coil without a part", coil_without_a_part), ("plain physics", plain_physics)]:
    report.guarded(name, part)
report.finish()
