"""How often the stated intervals of `driver-parameters` hold the truth, and how wide they are.

By repetition (frequentist coverage, JCGM 101:2008, 7.9 in spirit): the driver stays what it is; what a person would
read of it and of the bench (series resistor, scales of both inputs, mass, volume, area, air, resistance by meter) is drawn
anew for each trial from the uncertainty that the files state, and so are noise and hum. An interval of k = 2 should
hold the truth in 95.45 % of trials of a normal error; it must in at least 94 %, and be no wider than need be
(outside/tally.py).

    driver_coverage.py [--curves N] [--whole N] [--seed S]
"""

import argparse
import sys
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import curve_files, driver_bench, loudspeakers, program  # noqa: E402
from outside.drawn_jig import CLOCK, JIGS, RATE, STATED, read, read_bench, with_noise  # noqa: E402
from outside.driver_bench import Card  # noqa: E402
from outside.loudspeakers import Coil  # noqa: E402
from outside.report import Report  # noqa: E402
from outside.tally import Tally  # noqa: E402

QUANTITIES = ["fs_hz", "re_ohm", "res_ohm", "qms", "qes", "qts", "le_1khz_mh", "mms_g", "cms_mm_per_n", "rms_kg_per_s",
              "bl_tm", "vas_l", "sd_cm2", "efficiency_percent", "sensitivity_1w_db", "sensitivity_2v83_db"]
AIR = {"temperature_c": 1.0, "pressure_hpa": 3.0, "humidity_percent": 8.0}  # in the units of the fields
CASES = [
    ("mass", loudspeakers.from_data("Sanderling 5", 58.0, 3.3, 4.4, 0.58, 8.6, 84.0, Coil("L+RL", (0.14e-3, 2.0, 0.2e-3)))),
    ("box", loudspeakers.from_data("Pelican 10", 31.0, 5.7, 6.8, 0.42, 62.0, 350.0, Coil("K", (12e-3, 0.69)))),
    ("both", loudspeakers.from_data("Guillemot 8", 42.0, 5.6, 3.2, 0.38, 24.0, 215.0, Coil("L", (0.5e-3,)))),
]


def loaded(way, driver):
    """Test ids with what is done to the cone in them."""
    tests = {"free": {}}
    if way in ("mass", "both"):
        tests["mass"] = {"added_kg": 0.9 * driver.mms_kg}
    if way in ("box", "both"):
        tests["box"] = {"box_m3": 0.5 * driver.truth()["vas_l"] * 1e-3}
    return tests


def drawn_tests(way, driver, random, prefix="", **files):
    """Tests of one trial as a person would write them after reading scales, rulers and meters of stated quality."""
    tests, fields = [], {}
    for ident, where in loaded(way, driver).items():
        more = {"from_file": files[ident]} if files else {"drive_dbfs": -10.0}
        if "added_kg" in where:
            more["added_mass_g"] = read(random, where["added_kg"] * 1e3, STATED["mass"])
            fields["with_mass"] = prefix + ident
        if "box_m3" in where:
            more["test_box_l"] = read(random, where["box_m3"] * 1e3, STATED["box"])
            fields["in_box"] = prefix + ident
        tests.append(driver_bench.impedance(prefix + ident, **more))
    tests.append(driver_bench.parameters(
        prefix + "parameters", free_air=prefix + "free", **fields,
        effective_area_cm2=read(random, driver.sd_m2 * 1e4, STATED["area"]), effective_diameter_uncertainty_percent=STATED["area"] / 2,
        dc_resistance_ohm=read(random, driver.re_ohm, STATED["meter"]), dc_resistance_uncertainty_percent=STATED["meter"],
        temperature_c=float(20 + AIR["temperature_c"] * random.standard_normal()), temperature_uncertainty_c=AIR["temperature_c"],
        pressure_hpa=float(1013.25 + AIR["pressure_hpa"] * random.standard_normal()), pressure_uncertainty_hpa=AIR["pressure_hpa"],
        humidity_percent=float(50 + AIR["humidity_percent"] * random.standard_normal()), humidity_uncertainty_percent=AIR["humidity_percent"],
        mass_uncertainty_percent=STATED["mass"] if way != "box" else None,
        box_uncertainty_percent=STATED["box"] if way != "mass" else None))
    return tests


def truth_of(driver, clock=0.0):
    """clock: by how much the player runs fast. A driver whose resonance lies higher by as much gives the very same samples
    (the coil apart, at 1e-5), so that the truth of the frequency may be moved in place of the clock."""
    truth = driver.truth()
    return {key: truth[key] * (1 + clock if key == "fs_hz" else 1) for key in QUANTITIES}


def judge(tally, report, name, way):
    # Mass and box that contradict each other by three times their doubts are told instead of numbers: 0.27 % do so by
    # chance, where both are there.
    tally.judge(report, name, len(QUANTITIES) * len(CASES), absent_by_chance=0.0027 if way == "both" else 0.0)


def curves_of(number, trials, seed, report, in_one_job=60):
    """Curves in files: no jig, so that the resistor and the scales stay out; scatter is stated in the file."""
    way, driver = CASES[number]
    random, tally, done = np.random.default_rng([seed, number]), Tally(), 0
    while done < trials:
        tests, files, names = [], {}, []
        for trial in range(done, min(done + in_one_job, trials)):
            own = {}
            for ident, where in loaded(way, driver).items():
                own[ident] = f"{ident}{trial}.csv"
                f, z, scatter = curve_files.measured(driver, where, noise_db=-66.0, seed=int(random.integers(1 << 62)), frequency_hz=curve_files.grid_hz(points=240))
                files[own[ident]] = curve_files.magnitude_csv(f, z, scatter)
            tests += drawn_tests(way, driver, random, f"t{trial}-", **own)
            names.append(f"t{trial}-parameters")
        outcome = curve_files.run(tests, files)
        if outcome.status != 0:
            return report.check(False, "the run over curves", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        for name in names:
            tally.add(driver_bench.quantities(outcome, name), truth_of(driver))
        done += len(names)
    judge(tally, report, f"curves, {driver.name}, {way}", way)


def recordings_of(number, trials, seed, report):
    """The whole path: one clean recording of each test, with noise and hum of its own in every trial."""
    way, driver = CASES[number]
    random, tally, jig = np.random.default_rng([seed, 100 + number]), Tally(), JIGS[number]
    with program.Workshop(driver_bench.job_text(drawn_tests(way, driver, random)), driver_bench.bench_text(jig, {"sample_rate_hz": RATE}),
                          environment=program.WITHOUT_PAGES) as shop:
        tones, clean = driver_bench.Tones(), {}
        for ident, where in loaded(way, driver).items():
            clean[ident], _ = driver_bench.record(tones.of(shop, ident), lambda f, where=where: driver.z(f, **where), jig,
                                                  Card(RATE, ppm=120.0, start_s=0.4, tail_s=0.4))
        for _ in range(trials):
            shop.bench.write_text(read_bench(random, jig))
            shop.job.write_text(driver_bench.job_text(drawn_tests(way, driver, random)))
            outcome = shop.run({ident: with_noise(samples, random) for ident, samples in clean.items()}, RATE)
            if outcome.status != 0:
                report.check(False, "a run over recordings", f"exit {outcome.status} {outcome.err.strip()[:300]}")
                continue
            tally.add(driver_bench.quantities(outcome), truth_of(driver, random.uniform(-CLOCK, CLOCK)))
    judge(tally, report, f"recordings, {driver.name}, {way}", way)


def parts(curves, whole, seed):
    """(name, what takes a report), each with a draw of its own."""
    counted = [("curves", curves_of, curves), ("recordings", recordings_of, whole)]
    return [(f"{name}, {way}", partial(count, number, trials, seed)) for name, count, trials in counted if trials for number, (way, _) in enumerate(CASES)]


def main(arguments=None):
    parser = argparse.ArgumentParser(description="Coverage of the stated intervals of driver-parameters.")
    parser.add_argument("--curves", type=int, default=1000)
    parser.add_argument("--whole", type=int, default=100)
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args(arguments)
    report = Report(f"Coverage: {options.curves} trials of curves and {options.whole} of recordings for each case, seed {options.seed}")
    report.in_a_row(parts(options.curves, options.whole, options.seed))
    report.finish()


if __name__ == "__main__":
    main()
