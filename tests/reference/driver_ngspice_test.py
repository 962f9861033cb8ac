"""A driver's circuit in ngspice, with the jig around it, driven by the program's own tone files.

Outside reference: ngspice solves coil, mechanics and jig in time (netlists beside this file); what the program finds
in the two voltages is held against the values of the elements. The trapezoidal rule lengthens frequencies by
(pi f step)^2 / 3 (any text on it): with half a sample at 48 kHz 4e-6 at 100 Hz, which is nothing, and 0.04 % of the
coil at 1 kHz, 0.15 % at 2 kHz, where the tone ends.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
from scipy.fft import irfft, rfft
from scipy.interpolate import CubicSpline

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import driver_bench, loudspeakers, program  # noqa: E402
from outside.driver_bench import Jig  # noqa: E402
from outside.loudspeakers import Air, Coil  # noqa: E402
from outside.report import Report  # noqa: E402

NETLISTS = Path(__file__).resolve().parent / "ngspice"
RATE = 48000
report = Report("ngspice: a driver in its jig")


def write_rows(path, time, tone):
    with open(path, "w") as file:
        file.writelines(f"{a:.9f} {b:.9g}\n" for a, b in zip(time.tolist(), tone.tolist()))


def solve(driver, jig, tone, folder, added_kg=0.0, box_m3=None):
    """(generator side, driver side) in volts on the tone's grid."""
    folder.mkdir()
    time = np.arange(len(tone)) / RATE
    write_rows(folder / "tone.txt", time, tone)
    high = jig.topology == "series-high"
    le, r2, l2 = driver.coil.values
    box = "rbox m3 0 1e-9" if box_m3 is None else f"cbox m3 0 {box_m3 / (Air().stiffness_pa * driver.sd_m2**2):.12g}\nrbox m3 0 1e12"
    values = {"FOOT": "0" if high else "low", "RE": driver.re_ohm, "LE": le, "L2": l2, "R2": r2, "BL": driver.bl_tm,
              "MASS": driver.mms_kg + added_kg, "LOSS": driver.rms_kg_per_s, "COMPLIANCE": driver.cms_m_per_n, "BOX": box,
              "VOLTS": driver_bench.GENERATOR_V, "GENERATOR": jig.generator_ohm, "SERIES": jig.series_ohm,
              "INPUT": jig.input_resistance_ohm, "LEAD": jig.lead_ohm, "STEP": 1 / RATE, "END": time[-2],
              "LARGEST_STEP": 0.5 / RATE}
    for name in ("driver.inc", "driver_high.cir" if high else "driver_low.cir"):
        text = (NETLISTS / name).read_text()
        for key, value in values.items():
            text = text.replace(f"@{key}@", value if isinstance(value, str) else f"{value:.12g}")
        (folder / name.replace("driver_high", "run").replace("driver_low", "run")).write_text(text)
    done = subprocess.run(["ngspice", "-b", "run.cir"], cwd=folder, capture_output=True, text=True, timeout=600)
    if not (folder / "out.raw").exists():
        raise AssertionError(f"ngspice gave nothing: {done.stdout[-800:]} {done.stderr[-800:]}")
    data = (folder / "out.raw").read_bytes()
    (folder / "out.raw").unlink()
    (folder / "tone.txt").unlink()
    mark = b"Binary:\n"
    rows = np.frombuffer(data, offset=data.index(mark) + len(mark)).reshape(-1, 3)
    # The steps are even, two a sample, but do not fall on the grid. Between its rows the source is straight: images
    # about the rate, which a converter's filter takes out before it samples.
    fine = np.arange(2 * len(tone)) / (2 * RATE)
    inside = fine <= rows[-1, 0]
    volts = np.zeros((len(tone), 2))
    for side in (0, 1):
        sound = np.zeros(len(fine))
        sound[inside] = CubicSpline(rows[:, 0], rows[:, 1 + side])(fine[inside])
        spectrum = rfft(sound)[:len(tone) // 2 + 1]
        spectrum[int(0.45 * len(tone)):] = 0
        volts[:, side] = irfft(spectrum, len(tone)) / 2
    return volts


def recover(driver, jig, added_g=None, box_l=None):
    tests = [driver_bench.impedance("free", stop_hz=2000.0)]
    where = {"free": {}}
    fields = {}
    if added_g:
        tests.append(driver_bench.impedance("mass", stop_hz=2000.0, added_mass_g=added_g))
        where["mass"] = {"added_kg": added_g * 1e-3}
        fields["with_mass"] = "mass"
    if box_l:
        tests.append(driver_bench.impedance("box", stop_hz=2000.0, test_box_l=box_l))
        where["box"] = {"box_m3": box_l * 1e-3}
        fields["in_box"] = "box"
    tests.append(driver_bench.parameters(effective_area_cm2=driver.sd_m2 * 1e4, **fields))
    bench = driver_bench.bench_text(jig, {"sample_rate_hz": RATE})
    with program.Workshop(driver_bench.job_text(tests), bench, environment=program.WITHOUT_PAGES) as shop:
        recordings = {}
        for test, changed in where.items():
            tone, rate = shop.tone(test)
            assert rate == RATE
            volts = solve(driver, jig, tone, shop.folder / f"solve-{test}", **changed)
            if test == "free":
                print(f"  {len(tone) / RATE:.1f} s of tone")
            recordings[test] = np.concatenate([np.zeros((RATE // 2, 2)), volts / driver_bench.INPUT_V, np.zeros((RATE, 2))])
        outcome = shop.run(recordings, RATE, "float")
        if not report.check(outcome.status == 0, f"{driver.name}, {jig.topology}", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
            return
        for test, changed in where.items():
            curve = outcome.session["tests"][test]["curves"]["impedance"]
            f = np.array(curve["frequency_hz"])
            z = np.array(curve["magnitude_ohm"]) * np.exp(1j * np.radians(curve["phase_deg"]))
            error = np.abs(z / driver.z(f, **changed) - 1)
            # Up to 300 Hz the step costs the coil 3e-5; the flank of the sharp peak moves by 2 Q 1e-6.
            report.check(np.max(error[f < 300]) < 8e-5, f"  the curve of {test} up to 300 Hz", f"{np.sum(f < 300)} points, worst {100 * np.max(error[f < 300]):.4f} %, to 2 kHz {100 * np.max(error):.3f} %")
            # The rule takes jw for 2j tan(w step/2)/step, exactly: with that the whole curve agrees.
            step = 0.5 / RATE
            error = np.abs(z / driver.z(np.tan(np.pi * f * step) / (np.pi * step), **changed) - 1)
            report.check(np.max(error) < 3e-5, "    as the trapezoidal rule sees the elements, up to 2 kHz", f"worst {np.max(error):.1e}")
        found, truth = driver_bench.quantities(outcome), driver.truth()
        # No noise: what is left is the simulator's step and its own tolerance, and the fit.
        for key, percent in [("fs_hz", 0.02), ("re_ohm", 0.1), ("qms", 0.1), ("qes", 0.2), ("qts", 0.2), ("res_ohm", 0.1),
                             ("mms_g", 0.3), ("cms_mm_per_n", 0.3), ("rms_kg_per_s", 0.4), ("bl_tm", 0.3), ("vas_l", 0.3),
                             ("efficiency_percent", 0.5), ("le_1khz_mh", 0.3)]:
            report.relative(f"  {key}", found[key]["value"] if key in found else None, truth[key], percent)


def main():
    light = loudspeakers.from_data("Sanderling 5", 58.0, 3.3, 4.4, 0.58, 8.6, 84.0, Coil("L+RL", (0.14e-3, 2.0, 0.2e-3)))
    heavy = loudspeakers.from_data("Pelican 10", 31.0, 5.7, 6.8, 0.42, 62.0, 350.0, Coil("L+RL", (0.5e-3, 5.0, 0.9e-3)))
    report.guarded("with a mass", lambda: recover(heavy, Jig("series-high", 33.0, 0.05, 10e3, 0.3), added_g=50.0))
    report.guarded("in a box", lambda: recover(light, Jig("sense-low", 10.0, 0.04, 20e3, 0.1), box_l=6.0))
    report.finish()


if __name__ == "__main__":
    main()
