"""Variance of what is estimated against the least that any unbiased estimate can have.

    cramer_rao.py [--sines N] [--ratios N] [--curves N] [--seed S]

The least is the Cramér-Rao bound: the inverse of Fisher's matrix J' J / sigma^2 for white normal noise (S. M. Kay,
"Fundamentals of Statistical Signal Processing: Estimation Theory", 1993, 3.9), J by differences of the model written here
in NumPy, carried to what is printed by its gradient (3.8). Every parameter that the model has is unknown in it. For a
lone sine it is held against the closed form of D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974.

Sine and ratio: the estimator by itself, many records to one process (tests/estimates). Driver: the program, over files of
curves, with its own choice of the model; the bound knows the model.
"""

import argparse
import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
from scipy.stats import chi2

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import curve_files, driver_bench, loudspeakers, program  # noqa: E402
from outside.loudspeakers import Coil  # noqa: E402
from outside.report import Report  # noqa: E402

TOOL = os.environ.get("ASSAY_ESTIMATES", str(Path(program.PROGRAM).parent / "tests" / "estimates"))
MOST = 1.1          # variance re the bound: design of the sine fit
CHANCE = 0.01 / 60  # 1 % for all lines together, after Bonferroni


def jacobian(model, values):
    """Central differences; steps small against the values and large against rounding."""
    columns = []
    for i, value in enumerate(values):
        step = 1e-5 * max(abs(value), 1e-3)
        up, down = np.array(values, float), np.array(values, float)
        up[i] += step
        down[i] -= step
        columns.append((np.asarray(model(up)) - np.asarray(model(down))) / (2 * step))
    return np.stack(columns, -1)


def bound(model, values, sigma, printed):
    """Variances of printed(values); complex models count by both parts, each with sigma."""
    j = jacobian(model, values) / np.reshape(sigma, (-1, 1))
    fisher = np.real(np.conj(j).T @ j)
    # Parameters differ by many powers of ten: scaled to a unit diagonal before it is inverted.
    scale = 1 / np.sqrt(np.diag(fisher))
    covariance = np.linalg.inv(fisher * np.outer(scale, scale)) * np.outer(scale, scale)
    gradient = jacobian(printed, values)
    return np.einsum("ij,jk,ik->i", gradient, covariance, gradient)


def judge(report, name, keys, errors, least, most=MOST):
    """One line a quantity. `errors`: (trials, quantities)."""
    print(f"  {name}\n  {'quantity':<34}{'trials':>7}{'variance re bound':>19}{'most':>7}{'bias re sigma':>15}{'sigma at the bound':>20}")
    bad, trials = [], len(errors)
    # Chance moves a variance by so much up or down; an estimate below the bound is a mistake of the bound or of the test.
    high, low = chi2.ppf(1 - CHANCE, trials) / trials, chi2.ppf(CHANCE, trials) / trials
    for key, error, variance in zip(keys, errors.T, least):
        ratio, bias = np.mean(error**2) / variance, np.mean(error) / np.sqrt(variance)
        wrong = None if most is None else not low <= ratio <= most * high
        print(f"  {key:<34}{trials:>7}{ratio:>19.3f}{'' if most is None else f'{most * high:.2f}':>7}{bias:>15.3f}{np.sqrt(variance):>20.4g}{'  <' if wrong else ''}", flush=True)
        if wrong:
            bad.append(f"{key} {ratio:.3f}")
    if most is not None:
        report.check(not bad, f"{name}: variance is near the least there can be", "; ".join(bad))


def estimates(words, records):
    done = subprocess.run([TOOL, *map(str, words)], input=np.ascontiguousarray(records).tobytes(), stdout=subprocess.PIPE, check=True, timeout=900)
    return np.frombuffer(done.stdout)


def sines(trials, seed, report, samples=4000):
    """A sine with three harmonics, not in whole cycles, 60 dB above the noise; harmonics at -40, -50 and -60 dB."""
    random, sigma, cycles = np.random.default_rng([seed, 1]), np.sqrt(0.5) * 1e-3, 0.02083713
    n = np.arange(samples) - (samples - 1) / 2
    peaks, phases = np.array([1.0, 1e-2, 3.2e-3, 1e-3]), np.array([0.3, 1.1, -2.0, 0.7])

    def model(v):
        # dc, slow drift of the amplitude, cycles a sample in parts of 1e-3, then the parts of each harmonic
        wave, base = np.full(samples, v[0]), 2 * np.pi * v[2] * 1e-3 * n
        for k in range(4):
            a, b = v[3 + 2 * k], v[4 + 2 * k]
            wave += (a * np.cos((k + 1) * base) - b * np.sin((k + 1) * base)) * (1 + v[1] * n / samples if k == 0 else 1)
        return wave
    phasors = peaks * np.exp(1j * phases)
    values = np.concatenate([[0.01, 0.0, cycles * 1e3], np.stack([phasors.real, phasors.imag], 1).ravel()])

    def printed(v):
        z = v[3::2] + 1j * v[4::2]
        return np.concatenate([[np.abs(z[0]), v[2] * 1e-3, np.angle(z[0])], 20 * np.log10(np.abs(z[1:] / z[0]))])
    least = bound(model, values, sigma, printed)
    closed = [2 * sigma**2 / samples, 24 * sigma**2 / (4 * np.pi**2 * samples * (samples**2 - 1)), 2 * sigma**2 / samples]
    # Harmonics and broken cycles move the bound of a lone sine by parts of a per cent.
    report.check(bool(np.max(np.abs(least[:3] / closed - 1)) < 0.01), "the bound itself is that of Rife and Boorstyn", f"{least[:3] / closed}")
    clean, truth, errors = model(values), printed(values), []
    for begin in range(0, trials, 500):
        count = min(500, trials - begin)
        records = clean + sigma * random.standard_normal((count, samples))
        found = estimates(["sine", samples, repr(cycles * 1.00002), 4], records).reshape(count, 9)
        errors += [printed(np.concatenate([[0, 0, row[0] * 1e3], row[1:]])) - truth for row in found]
    keys = ["amplitude", "frequency, cycles a sample", "phase at the centre, rad", "2nd harmonic at -40 dB, dB", "3rd harmonic at -50 dB, dB", "4th harmonic at -60 dB, dB"]
    judge(report, "a tone with harmonics, 60 dB above white noise", keys, np.array(errors), least)


def ratios(trials, seed, report, samples=16384):
    """Impedance by two voltages of a multitone; a resistor of 22 ohm above a load. The record is windowed, so that lines
    need no whole cycles and hum does not spread: that costs what a window costs."""
    random, sigma, amplitude, series = np.random.default_rng([seed, 2]), 1e-3, 0.1, 22.0
    lines = 0.01 + 0.0131 * np.arange(1, 13)
    z = np.array([5.6 + 40 / (1 + 1j * (k - 4)) + 0.8j * k for k in range(12)])
    h, phase = z / (z + series), random.uniform(0, 2 * np.pi, 12)
    turn = np.exp(1j * (2 * np.pi * np.outer(np.arange(samples), lines) + phase))
    generator, driver = (amplitude * turn).real.sum(1), (amplitude * h * turn).real.sum(1)
    errors = []
    for begin in range(0, trials, 100):
        count = min(100, trials - begin)
        pairs = np.stack([generator, driver]) + sigma * random.standard_normal((count, 2, samples))
        found = estimates(["ratio", samples, *map(repr, map(float, lines))], pairs).view(complex).reshape(count, 12)
        errors.append(series * found / (1 - found) - z)
    errors = np.concatenate(errors) / np.abs(z)
    # Kay 1993, example 15.13 (a sine's complex amplitude): 2 sigma^2 / N for each part; carried by z = R h / (1 - h).
    least = 2 * sigma**2 / samples / amplitude**2 * (1 + np.abs(h) ** 2) * np.abs(series / (1 - h) ** 2) ** 2 / np.abs(z) ** 2
    # Both parts of a line are trials alike; errors and bound are relative to |z|.
    errors = np.concatenate([errors.real, errors.imag])
    judge(report, "impedance at one line of a multitone, relative; reported only", [f"{abs(value):.1f} ohm" for value in z], errors, least, None)
    # The ratio is a projection with the window's square as weight: N sum w^4 / (sum w^2)^2 is what that costs. Coefficients
    # of the four-term Blackman-Harris window: F. J. Harris, Proc. IEEE 66(1), 1978.
    turned = 2 * np.pi * np.arange(samples) / samples
    window = sum(c * np.cos(k * turned) for k, c in enumerate((0.35875, -0.48829, 0.14128, -0.01168)))
    price = samples * np.sum(window**4) / np.sum(window**2) ** 2
    judge(report, f"impedance at all lines, re the bound times {price:.3f} for the window", ["impedance"], (errors / np.sqrt(least)).reshape(-1, 1), np.array([price]))


DRIVERS = [
    loudspeakers.from_data("Sanderling 5", 58.0, 3.3, 4.4, 0.58, 8.6, 84.0, Coil("L+RL", (0.14e-3, 2.0, 0.2e-3))),
    loudspeakers.from_data("Pelican 10", 31.0, 5.7, 6.8, 0.42, 62.0, 350.0, Coil("K", (12e-3, 0.69))),
]
PRINTED = ["fs_hz", "re_ohm", "res_ohm", "qms", "qes", "qts", "le_1khz_mh", "mms_g", "cms_mm_per_n", "rms_kg_per_s", "bl_tm", "vas_l",
           "efficiency_percent", "sensitivity_1w_db", "sensitivity_2v83_db"]


def curves(number, trials, seed, report, in_one_job=60):
    """Free air and added mass. Mass, area and air are exact: what is left is what scatter of the curves does. The fit goes up
    to 50 fs and at least 5 kHz (README, driver-parameters), where a coil is still what the models say: the bound is that of
    these points, and what the others would have told is printed beside it."""
    driver = DRIVERS[number]
    random, added = np.random.default_rng([seed, 3, number]), 0.9 * driver.mms_kg
    wheres, grid = [{}, {"added_kg": added}], curve_files.grid_hz(points=240)

    def built(v):
        return loudspeakers.Driver(driver.name, v[0], v[1] * 1e-3, v[2] * 1e-3, v[3], v[4], driver.sd_m2, Coil(driver.coil.kind, tuple(v[5:] * scales)))
    scales = np.abs(driver.coil.values)
    values = np.array([driver.re_ohm, driver.mms_kg * 1e3, driver.cms_m_per_n * 1e3, driver.rms_kg_per_s, driver.bl_tm, *np.ones(len(scales))])
    sigma = np.concatenate([curve_files.measured(driver, where, -66.0, frequency_hz=grid)[2] for where in wheres])

    def printed(v):
        truth = built(v).truth()
        return np.array([truth[key] for key in PRINTED])
    used = np.concatenate([grid, grid]) <= max(5000.0, 50 * driver.truth()["fs_hz"])

    def bound_of(kept):
        return bound(lambda v: np.concatenate([built(v).z(grid, **where) for where in wheres])[kept], values, sigma[kept], printed)
    least, whole = bound_of(used), bound_of(slice(None))
    errors, truth, absent = [], printed(values), 0
    for begin in range(0, trials, in_one_job):
        tests, files, names = [], {}, []
        for trial in range(begin, min(begin + in_one_job, trials)):
            for ident, where in zip(("free", "mass"), wheres):
                files[f"{ident}{trial}.csv"] = curve_files.magnitude_csv(*curve_files.measured(driver, where, -66.0, seed=int(random.integers(1 << 62)), frequency_hz=grid))
                tests.append(driver_bench.impedance(f"{ident}{trial}", from_file=f"{ident}{trial}.csv", **({"added_mass_g": added * 1e3} if where else {})))
            names.append(f"p{trial}")
            tests.append(driver_bench.parameters(names[-1], free_air=f"free{trial}", with_mass=f"mass{trial}", effective_area_cm2=driver.sd_m2 * 1e4,
                                                 temperature_c=20.0, pressure_hpa=1013.25, humidity_percent=50.0))
        outcome = curve_files.run(tests, files)
        if outcome.status != 0:
            return report.check(False, "the run over curves", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        for name in names:
            found = driver_bench.quantities(outcome, name)
            if all(key in found for key in PRINTED):
                errors.append([found[key]["value"] for key in PRINTED] - truth)
            else:
                absent += 1
    report.check(absent == 0, f"{driver.name}: no parameter is absent", f"in {absent} of {trials}")
    judge(report, f"parameters of a driver, {driver.name}, coil {driver.coil.kind}, from the points that the fit uses", PRINTED, np.array(errors), least)
    dear = [f"{key} {price:.2f}" for key, price in zip(PRINTED, least / whole) if price > 1.05]
    print(f"  what leaving out the points above multiplies the bound by, where more than 1.05: {', '.join(dear)}")


def parts(tones, impedances, trials, seed):
    """(name, what takes a report), each with a draw of its own."""
    named = [("sines", partial(sines, tones, seed), tones), ("ratios", partial(ratios, impedances, seed), impedances),
             *((f"curves, {driver.name}", partial(curves, number, trials, seed), trials) for number, driver in enumerate(DRIVERS))]
    return [(name, part) for name, part, asked in named if asked]


def main(arguments=None):
    parser = argparse.ArgumentParser(description="Variance against the Cramér-Rao bound.")
    parser.add_argument("--sines", type=int, default=5000)
    parser.add_argument("--ratios", type=int, default=1000)
    parser.add_argument("--curves", type=int, default=600)
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args(arguments)
    report = Report(f"Variance against the Cramér-Rao bound, seed {options.seed}")
    report.in_a_row(parts(options.sines, options.ratios, options.curves, options.seed))
    report.finish()


if __name__ == "__main__":
    main()
