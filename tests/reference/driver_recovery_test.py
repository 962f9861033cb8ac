"""Known drivers through the whole path: tone file, jig in numpy, recording, program; and across families of models.

Outside reference: tests/outside (its impedances stand on Small 1972, its own checks in driver_selfcheck_test.py).
Limits: fs 0.1 %, Re 0.2 %, Qms and Qes 0.5 %, Mms, Vas and Bl 1 %, noise 70 dB below the signal in each input, hum
50 dB below it. Across families (a driver of one kind of coil and creep, fitted with whatever the program has): fs
0.3 %, Qes and Qts 3 %, and the stated uncertainty covers the error.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import curve_files, driver_bench, loudspeakers, program  # noqa: E402
from outside.driver_bench import Card, Jig  # noqa: E402
from outside.loudspeakers import Coil, PARADE  # noqa: E402
from outside.report import Report  # noqa: E402

LIMITS = {"fs_hz": 0.1, "re_ohm": 0.2, "qms": 0.5, "qes": 0.5, "mms_g": 1.0, "vas_l": 1.0, "bl_tm": 1.0}
# What follows from those by the relations of Small 1972, each limit the sum of its parts: Qts like its Q's, Res like
# Bl^2 / Rms; efficiency goes with fs^3 Vas / Qes; a level's limit is that of the efficiency in dB.
FOLLOWING = {"qts": 0.5, "res_ohm": 1.0, "rms_kg_per_s": 1.5, "cms_mm_per_n": 1.0, "efficiency_percent": 1.8}
LEVELS = {"sensitivity_1w_db": 0.08, "sensitivity_2v83_db": 0.08}

report = Report("Known drivers recovered")


def parts(driver, way):
    """(tests, fields of the parameters) of a driver measured with a mass, in a box, or both."""
    mass_g = float(np.round(0.8 * driver.mms_kg * 1e3, 1))
    box_l = float(f"{0.5 * driver.truth()['vas_l']:.2g}")
    z = {"free": lambda f: driver.z(f)}
    tests, fields = [driver_bench.impedance("free", drive_dbfs=-10.0)], {}
    if way in ("mass", "both"):
        tests.append(driver_bench.impedance("mass", drive_dbfs=-10.0, added_mass_g=mass_g))
        fields["with_mass"] = "mass"
        z["mass"] = lambda f: driver.z(f, added_kg=mass_g * 1e-3)
    if way in ("box", "both"):
        tests.append(driver_bench.impedance("box", drive_dbfs=-10.0, test_box_l=box_l))
        fields["in_box"] = "box"
        z["box"] = lambda f: driver.z(f, box_m3=box_l * 1e-3)
    return tests, fields, z


def table_line(name, errors):
    return f"  {name:<24}" + "".join(f"{errors.get(key, float('nan')):>9.3f}" for key in LIMITS)


def judge(name, found, truth, limits):
    errors = {}
    for key, limit in limits.items():
        if key not in found:
            report.check(False, f"{name}: {key}", "absent")
            continue
        errors[key] = 100 * (found[key]["value"] / truth[key] - 1)
        if abs(errors[key]) > limit:
            report.check(False, f"{name}: {key}", f"{found[key]['value']:.6g}, truth {truth[key]:.6g}, {errors[key]:+.3f} % of {limit} %")
    return errors


def whole_path():
    tones = driver_bench.Tones()
    ways = ["mass", "box", "both"]
    worst = {key: 0.0 for key in LIMITS}
    print(f"  errors in %{'':<13}" + "".join(f"{key:>9}" for key in LIMITS))
    for number, driver in enumerate(PARADE):
        way = ways[number % 3]
        low = number % 2 == 1
        # The recorder: 16 bits at 48 kHz and 24 bits at 44.1 kHz in turn, each with a clock of its own.
        card = Card(rate_hz=48000 if low else 44100, ppm=[-430.0, 37.0, 490.0, 0.0][number % 4], start_s=0.4 + 1.7 * (number % 5),
                    kind="pcm16" if low else "pcm24", noise_db=-70.0, hum_db=-50.0, hum_hz=49.97 if number % 3 else 50.02,
                    coupling_hz=1.5, dc=(0.004, -0.01), seed=100 + number)
        if number % 3 == 2:
            jig = Jig("sense-low", 10.0, 0.06, 10e3, 0.1)
        else:
            jig = Jig("series-high", 33.0, 0.04, 20e3, 0.5)
        tests, fields, z = parts(driver, way)
        if number % 2:
            fields["dc_resistance_ohm"] = driver.re_ohm
        tests.append(driver_bench.parameters(effective_area_cm2=driver.sd_m2 * 1e4, **fields))
        with program.Workshop(driver_bench.job_text(tests), driver_bench.bench_text(jig, {"sample_rate_hz": 48000}),
                              environment=program.WITHOUT_PAGES) as shop:
            outcome, ppm = driver_bench.run_driver(shop, tones, z, jig, card)
            if not report.check(outcome.status == 0, f"{driver.name}, {way}", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
                continue
            found, truth = driver_bench.quantities(outcome), driver.truth()
            errors = judge(driver.name, found, truth, {**LIMITS, **FOLLOWING})
            for key, limit in LEVELS.items():
                if key not in found or abs(found[key]["value"] - truth[key]) > limit:
                    report.check(False, f"{driver.name}: {key}", f"{found.get(key)}, truth {truth[key]:.3f}")
            print(table_line(f"{driver.name}, {way}", errors), flush=True)
            for key in LIMITS:
                worst[key] = max(worst[key], abs(errors.get(key, np.inf)))
            told = outcome.session["tests"]["free"]["conditions"]
            report.absolute("  its clock, ppm", told["clock_ppm"], ppm, 0.2)
    print(table_line("the worst of each", worst))
    for key, limit in LIMITS.items():
        report.check(worst[key] <= limit, f"{key} within {limit} %", f"worst {worst[key]:.4f} %")


# Coils and suspensions of one 8-inch driver and one 15-inch one.
COILS = {"L": Coil("L", (0.5e-3,)), "L+RL": Coil("L+RL", (0.3e-3, 4.0, 0.7e-3)), "K": Coil("K", (9e-3, 0.70)),
         "K strong": Coil("K", (20e-3, 0.66)), "L|K": Coil("L|K", (14e-3, 0.028, 0.65))}
SUSPENSIONS = [("plain", 0.0), ("log", 0.06), ("log", 0.15), ("exponential", 0.05), ("loss-rising", 0.0), ("loss-falling", 0.0)]


def across_families():
    bases = [next(d for d in PARADE if d.name == name) for name in ("Heron 8", "Albatross 15", "Tern 4 stiff")]
    tests, files, truths = [], {}, {}
    for base in bases:
        for coil_name, coil in COILS.items():
            # A smaller coil for a smaller driver.
            size = base.re_ohm / 6.0 * {"Tern 4 stiff": 0.4}.get(base.name, 1.0)
            scaled = {"L": lambda v: (v[0] * size,), "L+RL": lambda v: tuple(x * size for x in v),
                      "K": lambda v: (v[0] * size, v[1]), "L|K": lambda v: (v[0] * size, v[1] * size, v[2])}[coil.kind](coil.values)
            for suspension, creep in SUSPENSIONS:
                driver = base.with_coil(Coil(coil.kind, scaled)).with_suspension(suspension, creep)
                name = f"{base.name} {coil_name} {suspension} {creep or ''}".strip()
                ident = f"p{len(truths)}"
                mass_g = float(np.round(0.8 * driver.mms_kg * 1e3, 1))
                for which, where in (("free", {}), ("mass", {"added_kg": mass_g * 1e-3})):
                    file = f"{ident}-{which}.csv"
                    files[file] = curve_files.csv(*curve_files.measured(driver, where, seed=len(files)))
                    more = {"added_mass_g": mass_g} if which == "mass" else {}
                    tests.append(driver_bench.impedance(f"{ident}-{which}", from_file=file, **more))
                tests.append(driver_bench.parameters(ident, free_air=f"{ident}-free", with_mass=f"{ident}-mass",
                                                     effective_area_cm2=driver.sd_m2 * 1e4, dc_resistance_ohm=driver.re_ohm))
                truths[ident] = (name, driver.truth())
    limits = {"fs_hz": 0.3, "qes": 3.0, "qts": 3.0}
    shown = ["fs_hz", "qms", "qes", "qts", "mms_g", "bl_tm", "vas_l"]
    print(f"  across families: error in %, in brackets as part of the stated expanded uncertainty\n  {'':<38}"
          + "".join(f"{key:>16}" for key in shown))
    outcome = curve_files.run(tests, files)
    if not report.check(outcome.status == 0, "exit status", f"{outcome.status} {outcome.err.strip()[:300]}"):
        return
    covered, count = {key: 0 for key in shown}, 0
    for ident, (name, truth) in truths.items():
        found = driver_bench.quantities(outcome, ident)
        line, count = f"  {name:<38}", count + 1
        for key in shown:
            if key not in found:
                report.check(False, f"{name}: {key}", "absent")
                continue
            error = found[key]["value"] - truth[key]
            part = abs(error) / found[key]["expanded_uncertainty"]
            covered[key] += part <= 1
            percent = 100 * error / truth[key]
            line += f"{percent:>+9.3f} ({part:.2f})"
            # k = 2; beyond 5 standard uncertainties no chance of 90 cases reaches.
            if part > 2.5:
                report.check(False, f"{name}: {key}", f"off by {part:.1f} times the stated expanded uncertainty")
            if abs(percent) > limits.get(key, np.inf):
                report.check(False, f"{name}: {key}", f"off by {percent:+.3f} % of {limits[key]} %")
        told = outcome.session["tests"][ident]["conditions"].get("coil_model", "")
        print(f"{line}  {str(told)[:40]}", flush=True)
    for key in shown:
        # k = 2 leaves one in twenty outside; the count of those that are in must not speak against that (binomial,
        # 1 %). Cases share their base drivers, so this is a plausible limit, not an exact one.
        from scipy.stats import binom
        least = int(binom.ppf(0.01, count, 0.95))
        report.check(covered[key] >= least, f"{key}: stated uncertainty covers the error", f"{covered[key]} of {count}, at least {least}")


report.guarded("whole path", whole_path)
report.guarded("across families", across_families)
report.finish()
