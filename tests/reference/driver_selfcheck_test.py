"""The outside bench of drivers against closed forms and printed tables, before it judges the program.

Air: table of Cramer's polynomial and CIPM density, and the 4 pi^2 / c^3 form of the efficiency (Small 1972). Driver:
a self-consistent example with masses and boxes, in closed form. Jig and recorder: SciPy's state-space simulation of
the same circuit in time, and sines whose frequency and phase are known.
"""

import sys
from pathlib import Path

import numpy as np
from scipy import signal

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import driver_bench, loudspeakers  # noqa: E402
from outside.loudspeakers import Air, Coil, Driver, Leak  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The outside bench of drivers checked by itself")

# t, humidity, c, rho, as printed from Cramer 1993 and CIPM-2007 at 101 325 Pa and 0.04 % CO2.
for t, humidity, speed, density in [(0, 0, 331.45, 1.2930), (10, 50, 337.78, 1.2444), (15, 50, 340.88, 1.2216),
                                    (20, 0, 343.36, 1.2046), (20, 50, 343.99, 1.1993), (20, 100, 344.61, 1.1941),
                                    (25, 50, 347.13, 1.1773), (30, 50, 350.31, 1.1555)]:
    air = Air(t, 101325.0, humidity)
    report.check(abs(air.speed_m_per_s - speed) < 0.006 and abs(air.density_kg_per_m3 - density) < 6e-5,
                 f"air at {t} C, {humidity} %", f"{air.speed_m_per_s:.3f} m/s, {air.density_kg_per_m3:.5f} kg/m3")
for pressure, percent in [(95000.0, -6.2), (98000.0, -3.3), (104000.0, 2.6), (84560.0, -16.6)]:
    report.absolute(f"rho c^2 goes with the barometer, {pressure / 100:g} hPa, %",
                    100 * (Air(pressure_pa=pressure).stiffness_pa / Air().stiffness_pa - 1), percent, 0.1)

# A self-consistent example; c 343, rho 1.204 (a convention of the trade) for its boxes.
no_coil = Coil("L", (0.0,))
example = Driver("example", 5.61, 56.3e-3, 0.429e-3, 1.6030, 10.42, 346.4e-4, no_coil)


class Convention(Air):
    speed_m_per_s = 343.0
    density_kg_per_m3 = 1.204


t = example.truth()
# The last printed digit of Rms, 3e-5 of it, is what Qms and Res are known to.
for key, value, limit in [("fs_hz", 32.3845, 6e-5), ("qms", 7.1466, 2.8e-4), ("qes", 0.59191, 6e-6), ("res_ohm", 67.734, 2.6e-3)]:
    report.absolute(f"example, {key}", t[key], value, limit)
for grams, fm, qms, qes in [(20, 27.818, 8.320, 0.6891), (40, 24.762, 9.347, 0.7741), (60, 22.532, 10.272, 0.8507), (100, 19.436, 11.908, 0.9862)]:
    m = example.truth(added_kg=grams * 1e-3)
    report.check(abs(m["fs_hz"] - fm) < 6e-4 and abs(m["qms"] - qms) < 5e-4 + 3.2e-5 * qms and abs(m["qes"] - qes) < 6e-5,
                 f"example with {grams} g", f"{m['fs_hz']:.4f} Hz, Qms {m['qms']:.4f}, Qes {m['qes']:.5f}")
for litres, fc, qmc, qec in [(20.0, 69.802, 15.404, 1.2758), (40.0, 54.411, 12.007, 0.9945), (72.9, 45.801, 10.107, 0.8371)]:
    b = example.truth(box_m3=litres * 1e-3, air=Convention())
    report.check(abs(b["fs_hz"] - fc) < 6e-4 and abs(b["qms"] - qmc) < 5e-4 + 3.2e-5 * qmc and abs(b["qes"] - qec) < 6e-5,
                 f"example in {litres:g} l", f"{b['fs_hz']:.4f} Hz, Qmc {b['qms']:.4f}, Qec {b['qes']:.5f}")
    alpha = example.truth(air=Convention())["vas_l"] / litres
    report.relative("  fc/fs = sqrt(1 + Vas/V)", b["fs_hz"] / example.truth()["fs_hz"], np.sqrt(1 + alpha), 1e-6)
c = Air().speed_m_per_s
report.relative("efficiency: 4 pi^2 fs^3 Vas / (c^3 Qes)", t["efficiency_percent"],
                100 * 4 * np.pi**2 / c**3 * t["fs_hz"] ** 3 * t["vas_l"] * 1e-3 / t["qes"], 1e-6)

# Three-point vectors of a pure peak: |Z| at the two flanks is sqrt(r0) Re, and their product is fs^2.
for re, fs, qms, qes, f1, f2, flank, top in [(5.6, 32.4, 7.15, 0.59, 25.2167, 41.6295, 20.2830, 73.4644),
                                             (3.2, 80.0, 3.0, 0.9, 56.9225, 112.4336, 6.6613, 13.8667)]:
    d = loudspeakers.from_data("vector", fs, re, qms, qes, 30.0, 300.0, no_coil)
    z = np.abs(d.z(np.array([f1, fs, f2])))
    report.check(abs(z[0] - flank) < 1e-3 and abs(z[1] - top) < 1e-4 and abs(z[2] - flank) < 1e-3, f"three points, fs {fs:g}", str(np.round(z, 4)))

# Every family: passive (real part of Z above 0 everywhere), and its truth where the mechanics are real.
grid = np.geomspace(5, 20000, 4000)
for d in loudspeakers.PARADE:
    for kind, creep in [("plain", 0), ("log", 0.12), ("exponential", 0.08), ("loss-rising", 0), ("loss-falling", 0)]:
        family = d.with_suspension(kind, creep)
        z = family.z(grid)
        fs = family.truth()["fs_hz"]
        if not (np.all(z.real > 0) and abs(family.mechanical(np.array([fs])).imag[0]) < 1e-9 * 2 * np.pi * fs * d.mms_kg):
            report.check(False, f"{d.name}, {kind}: passive, and real at its resonance")
report.check(True, f"{len(loudspeakers.PARADE)} drivers, 5 suspensions: passive, and real at their resonance")
leaky = example.z(grid, box_m3=0.02, leak=Leak(3000.0, 60.0))
humps = signal.argrelmax(np.abs(leaky[grid < 300]))[0]
report.check(len(humps) == 2, "a leak makes a second hump", f"at {np.round(grid[humps], 1)} Hz")

# The whole chain in time by SciPy: jig, plain coil and cone as a state space, held linearly between samples.
driver = loudspeakers.from_data("timed", 48.0, 5.6, 5.0, 0.45, 20.0, 150.0, Coil("L", (0.4e-3,)))
RATE = 96000
random = np.random.default_rng(11)
noise = np.zeros(2 * RATE)
spectrum = np.fft.rfft(random.standard_normal(RATE)) * ((np.arange(RATE // 2 + 1) > 15) & (np.arange(RATE // 2 + 1) < 3000))
noise[RATE // 4:5 * RATE // 4] = np.fft.irfft(spectrum) * signal.windows.hann(RATE) * 0.1
for jig in [driver_bench.Jig("series-high", 22.0, 0.07, 10e3, 3.0), driver_bench.Jig("sense-low", 10.0, 0.05, 5e3, 1.0)]:
    inner = {"series-high": 1 / jig.input_resistance_ohm, "sense-low": 0.0}[jig.topology]
    # States: current in the coil, velocity, excursion. The voltage over coil and lead follows from the circuit.
    total = jig.generator_ohm + (jig.series_ohm if jig.topology == "series-high" else 1 / (1 / jig.series_ohm + 1 / jig.input_resistance_ohm))
    lead_re = jig.lead_ohm + driver.re_ohm
    share = 1 / (1 + total * inner)
    # node voltage over lead and coil: share * (E - total * i)
    le = driver.coil.values[0]
    a = np.array([[-(share * total + lead_re) / le, -driver.bl_tm / le, 0],
                  [driver.bl_tm / driver.mms_kg, -driver.rms_kg_per_s / driver.mms_kg, -1 / (driver.cms_m_per_n * driver.mms_kg)],
                  [0, 1, 0]])
    b = np.array([[share / le], [0], [0]])
    if jig.topology == "series-high":
        second = (np.array([[-share * total, 0, 0]]), np.array([[share]]))
        current = (np.array([[1 - inner * share * total, 0, 0]]), np.array([[inner * share]]))
    else:
        low = 1 / (1 / jig.series_ohm + 1 / jig.input_resistance_ohm)
        second = (np.array([[low, 0, 0]]), np.array([[0.0]]))
        current = (np.array([[1.0, 0, 0]]), np.array([[0.0]]))
    first = (-jig.generator_ohm * current[0], 1 - jig.generator_ohm * current[1])
    rows = np.concatenate([first[0], second[0]]), np.concatenate([first[1], second[1]])
    time = np.arange(len(noise)) / RATE
    # Four times finer, with straight lines between samples. What passes through the states loses by them the
    # square of a sinc (2e-4 at 3 kHz), which is put back; what passes straight through loses nothing.
    fine = signal.resample(noise, 4 * len(noise))
    _, volts, _ = signal.lsim((a, b, rows[0], np.zeros((2, 1))), fine, np.arange(len(fine)) / (4 * RATE))
    spectrum = np.fft.rfft(volts[::4], axis=0)
    volts = np.fft.irfft(spectrum / np.sinc(np.fft.rfftfreq(len(noise), 4))[:, None] ** 2, len(noise), axis=0)
    volts = (volts + noise[:, None] * rows[1].T) * driver_bench.GENERATOR_V / driver_bench.INPUT_V
    card = driver_bench.Card(RATE, start_s=1.0, tail_s=0.0)
    sound, _ = driver_bench.record(driver_bench.Played(noise, RATE), driver.z, jig, card)
    for channel in (0, 1):
        difference = sound[RATE:RATE + len(noise), channel] - volts[:, channel]
        ratio = np.sqrt(np.mean(difference**2) / np.mean(volts[:, channel] ** 2))
        report.check(ratio < 2e-6, f"{jig.topology} against a simulation in time, channel {channel + 1}", f"differs by {ratio:.1e}")

# The recorder: a sine's frequency, size and phase after another rate and clock.
tone = np.zeros(4 * RATE)
inside = np.arange(RATE // 2, 3 * RATE)
tone[inside] = 0.5 * np.sin(2 * np.pi * 997 * (inside - RATE // 2) / RATE) * signal.windows.tukey(len(inside), 0.1)
played = driver_bench.Played(tone, RATE)
for rate, asked in [(96000, 0.0), (44100, 300.0), (48000, -500.0), (192000, 123.0)]:
    card = driver_bench.Card(rate, asked, start_s=2.0)
    sound, ppm = driver_bench.record(played, lambda f: np.full(len(f), 22.0 + 0j), driver_bench.Jig(generator_ohm=0.0), card)
    # The true clock is a ratio of whole numbers near the asked one, told to whoever judges by it.
    report.check(abs(ppm - asked) < 13 / len(sound) * 1e6, f"{rate} Hz, {asked:+g} ppm", f"got {ppm:+.3f} ppm")
    clock = rate * (1 + ppm * 1e-6)
    where = np.arange(int(3.0 * rate), int(4.0 * rate))
    # frame 0 of the tone lies at start_s, to within half a sample of the recorder
    angle = 2 * np.pi * 997 * ((where - 2.0 * rate) / clock - 0.5)
    basis = np.stack([np.sin(angle), np.cos(angle)], 1)
    fit, *_ = np.linalg.lstsq(basis, sound[where, 0], rcond=None)
    rest = np.sqrt(np.mean((sound[where, 0] - basis @ fit) ** 2))
    size = np.hypot(*fit) / (0.5 * driver_bench.GENERATOR_V / driver_bench.INPUT_V)
    report.check(abs(size - 1) < 1e-6 and rest < 1e-7 and abs(np.arctan2(fit[1], fit[0])) < 2 * np.pi * 997 * 0.51 / rate,
                 "  size, rest and place of a sine", f"{size - 1:+.1e}, {rest:.1e}, {np.arctan2(fit[1], fit[0]):+.1e} rad")
report.finish()
