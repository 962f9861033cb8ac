"""The measure `noise` on recordings made in numpy.

Sources: flat noise between 20 Hz and 20 kHz reads -2.048 dB with A and +7.301 dB with the network of ITU-R 468, re
unweighted: numerical quadrature of the published curves (repeated here by numpy with poles in their rounded published
form). Hum is a sum of sines of known volts. Tolerance: the design's 0.1 dB.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM = 4.0
report = Report("Noise")


def a_curve(f):
    """IEC 61672-1 with the published poles."""
    f2 = np.square(f)
    gain = lambda x: 12194.217**2 * x**2 / ((x + 20.598997**2) * np.sqrt((x + 107.65265**2) * (x + 737.86223**2)) * (x + 12194.217**2))  # noqa: E731
    return gain(f2) / gain(1e6)


def white(volts_rms_in_band, seconds, seed, rate=RATE):
    """Gaussian, white to half the rate, so many volts between 20 Hz and 20 kHz."""
    sigma = volts_rms_in_band * np.sqrt(rate / 2 / (20000 - 20))
    return sigma * np.random.default_rng(seed).standard_normal(int(seconds * rate))


def job(more=(), **fields):
    test = {"id": "hiss", "measure": "noise", "loads": ["load-a"], **fields}
    return program.job_text([*more, test])


FLOOR = {"id": "floor", "measure": "noise", "loads": ["load-a"]}


def units(volts):
    return volts / program.PROBE_V


def decibels(name, measured, expected, limit=0.1):
    if measured is None:
        return report.check(False, name, "absent")
    error = 20 * np.log10(measured / expected)
    return report.check(abs(error) <= limit, name, f"measured {measured:.6g}, expected {expected:.6g}, off by {error:+.4f} dB of {limit}")


def flat():
    with program.Workshop(job(reference_power_w=25.0)) as shop:
        volts = 1e-3
        outcome = shop.run({"hiss": units(white(volts, 14, 5)) + 0.01})  # a little DC, which is no noise
        report.check(outcome.status == 0, "accepted without a start mark", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        decibels("noise_v", outcome.value("hiss", "noise_v"), volts)
        decibels("noise_a_weighted_v: -2.048 dB", outcome.value("hiss", "noise_a_weighted_v"), volts * 10 ** (-2.048 / 20))
        decibels("noise_itu_468_rms_v: +7.301 dB", outcome.value("hiss", "noise_itu_468_rms_v"), volts * 10 ** (7.301 / 20))
        report.absolute("signal_to_noise_1w_db", outcome.value("hiss", "signal_to_noise_1w_db"), 20 * np.log10(np.sqrt(OHM) / volts), 0.1)
        report.absolute("signal_to_noise_reference_db", outcome.value("hiss", "signal_to_noise_reference_db"),
                        20 * np.log10(np.sqrt(25 * OHM) / volts), 0.1)
        report.absolute("signal_to_noise_1w_a_weighted_db", outcome.value("hiss", "signal_to_noise_1w_a_weighted_db"),
                        20 * np.log10(np.sqrt(OHM) / volts) + 2.048, 0.1)
        report.absolute("signal_to_noise_reference_a_weighted_db", outcome.value("hiss", "signal_to_noise_reference_a_weighted_db"),
                        20 * np.log10(np.sqrt(25 * OHM) / volts) + 2.048, 0.1)
        report.check(outcome.value("hiss", "hum_v") is None and outcome.value("hiss", "mains_hz") is None, "no hum: no number of it")
        other = shop.run({"hiss": (units(white(volts, 10, 6, 44100)), 44100, "pcm24")})
        decibels("44.1 kHz, just ten seconds: noise_v", other.value("hiss", "noise_v"), volts)
        decibels("44.1 kHz: noise_a_weighted_v", other.value("hiss", "noise_a_weighted_v"), volts * 10 ** (-2.048 / 20))
        band = np.linspace(20, 20000, 200001)
        report.absolute("the closed value of A, again by quadrature", 10 * np.log10(np.mean(a_curve(band) ** 2)), -2.048, 0.001)


def coloured():
    """Noise that falls with frequency, evaluated by one transform of the whole in numpy."""
    with program.Workshop(job()) as shop:
        n = 20 * RATE
        f = np.fft.rfftfreq(n, 1 / RATE)
        spectrum = np.fft.rfft(np.random.default_rng(9).standard_normal(n)) / np.sqrt(1 + (f / 200) ** 2)
        volts = 1e-3 * np.fft.irfft(spectrum, n)
        outcome = shop.run({"hiss": units(volts)})
        density = 2 * np.abs(np.fft.rfft(volts)) ** 2 / n**2
        band = (f >= 20) & (f <= 20000)
        decibels("falling noise: noise_v", outcome.value("hiss", "noise_v"), np.sqrt(np.sum(density[band])))
        decibels("falling noise: noise_a_weighted_v", outcome.value("hiss", "noise_a_weighted_v"), np.sqrt(np.sum(density[band] * a_curve(f[band]) ** 2)))


def hum():
    for mains in (50.03, 59.97):
        with program.Workshop(job()) as shop:
            t = np.arange(14 * RATE) / RATE
            parts = {1: 2e-3, 2: 3e-3, 3: 0.8e-3, 5: 0.4e-3}
            volts = white(0.5e-3, 14, 3)
            for order, rms in parts.items():
                volts = volts + rms * np.sqrt(2) * np.sin(2 * np.pi * mains * order * t + order)
            outcome = shop.run({"hiss": units(volts)})
            expected = np.sqrt(sum(rms**2 for rms in parts.values()))
            decibels(f"{mains} Hz: hum_v", outcome.value("hiss", "hum_v"), expected)
            report.absolute(f"{mains} Hz: mains_hz", outcome.value("hiss", "mains_hz"), mains, 0.05)
            decibels(f"{mains} Hz: noise_v, hum in it", outcome.value("hiss", "noise_v"), np.sqrt(expected**2 + 0.5e-3**2))
            report.check("hum: hum is" in outcome.warnings("hiss"), f"{mains} Hz: told of in a warning")
            lines = outcome.findings("hiss", "load-a")["curves"]["lines"]
            report.check([round(f / mains) for f in lines["frequency_hz"]] == list(parts), f"{mains} Hz: its lines are a curve", str(lines["frequency_hz"]))
            for order, volts_of_line in zip(parts, lines["voltage_v"]):
                decibels(f"{mains} Hz: line {order}", volts_of_line, parts[order])
    with program.Workshop(job()) as shop:
        t = np.arange(12 * RATE) / RATE
        outcome = shop.run({"hiss": units(white(0.5e-3, 12, 3) + 1e-3 * np.sin(2 * np.pi * 3217.4 * t))})
        report.check("whistle" in outcome.warnings("hiss") and "3217" in outcome.warnings("hiss"), "a whistle is named", outcome.warnings("hiss")[:160])


def floors():
    with program.Workshop(job(more=[FLOOR], floor="floor")) as shop:
        unit, own = 1e-3, 0.9e-3
        outcome = shop.run({"hiss": units(white(np.hypot(unit, own), 20, 5)), "floor": units(white(own, 20, 6))})
        decibels("the bench's own noise taken off in power", outcome.value("hiss", "noise_v"), unit)
        decibels("and off the weighted one", outcome.value("hiss", "noise_a_weighted_v"), unit * 10 ** (-2.048 / 20))
        near = shop.run({"hiss": units(white(1.3e-3, 20, 5)), "floor": units(white(1e-3, 20, 6))})
        report.check(near.status == 0 and near.value("hiss", "noise_v") is None and near.value("hiss", "signal_to_noise_1w_db") is None
                     and "below-floor" in near.warnings("hiss"), "2.3 dB above the floor: refused", near.warnings("hiss")[:160])
        missing = shop.run({"hiss": units(white(1.3e-3, 20, 5)), "floor": None})
        report.check(missing.status == 3 and "floor" in missing.err, "no recording of the floor: exit 3", missing.err.strip()[:200])


def hostile():
    with program.Workshop(job()) as shop:
        good = units(white(1e-3, 14, 5))
        loud = np.array(good)
        loud[5 * RATE:5 * RATE + 50] = 1.0
        for name, samples, word in (("nothing but zeros", np.zeros(12 * RATE), "zeros"), ("one value all the time", np.full(12 * RATE, 3 / 2**15), "stands still"), ("six seconds", good[:6 * RATE], "cut short"),
                                    ("a full-scale knock", loud, "overload"), ("gated", np.where(np.arange(len(good)) % RATE < RATE // 2, good, 0), "zeros")):
            outcome = shop.run({"hiss": samples})
            report.check(outcome.status == 3 and word in outcome.err and len(outcome.error_lines) == 1, f"{name}: refused",
                         f"exit {outcome.status} {outcome.err.strip()[:160]}")
        knock = np.array(good)
        knock[5 * RATE:5 * RATE + 4000] += units(0.05) * np.hanning(4000)
        report.check("unsteady" in shop.run({"hiss": knock}).warnings("hiss"), "a knock on the lead is told of")
    for more, fields, word in (((), {"floor": "no-such"}, "floor"), ((), {"drive_dbfs": -20.0}, "drive_dbfs"), ((), {"floor": "hiss"}, "floor")):
        with program.Workshop(job(more=more, **fields)) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{fields}: refused", done.err.strip()[:200])


def quasi_peak_and_whine():
    """A steady tone of 5 kHz reads 11.7 dB above its RMS (BS.468-4, table 1); bursts of 5 ms ten times a second 77 % of the
    steady tone, 72 to 82 (its table of repeated bursts). A whine between 800 and 1600 Hz: its phase is the integral of its
    frequency, its volts the amplitude over the root of two."""
    tests = [{"id": name, "measure": "noise", "loads": ["load-a"]} for name in ("tone", "bursts", "whine", "clicks")]
    with program.Workshop(program.job_text(tests)) as shop:
        t = np.arange(11 * RATE) / RATE
        amplitude = 0.01
        tone = amplitude * np.sin(2 * np.pi * 5000 * t)
        faint = white(2e-5, 11, 8)
        moving = 1e-3 * np.sin(2 * np.pi * (1200 * t + 400 * 8 / (2 * np.pi) * (1 - np.cos(2 * np.pi * t / 8))))
        clicks = np.where((t % 4.0) < 0.002, tone, 0) * (t > 2)
        outcome = shop.run({"tone": units(tone + faint), "bursts": units(np.where((t % 0.1) < 0.005, tone, 0) + faint),
                            "whine": units(moving + white(1e-3, 11, 9)), "clicks": units(clicks + white(1e-4, 11, 7))})
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:200]}")
        steady = outcome.value("tone", "noise_itu_468_quasi_peak_v")
        decibels("quasi-peak of a steady 5 kHz", steady, amplitude / np.sqrt(2) * 10 ** (11.7 / 20))
        share = 100 * outcome.value("bursts", "noise_itu_468_quasi_peak_v") / steady
        report.check(72 <= share <= 82, "5 ms bursts, ten a second", f"{share:.1f} % of the steady tone, 72 to 82 permitted")
        decibels("whine_v", outcome.value("whine", "whine_v"), 1e-3 / np.sqrt(2), 0.6)
        report.absolute("whine_lowest_hz", outcome.value("whine", "whine_lowest_hz"), 800, 16)
        report.absolute("whine_highest_hz", outcome.value("whine", "whine_highest_hz"), 1600, 16)
        report.check("a whine of" in outcome.warnings("whine") and outcome.value("tone", "whine_v") is None, "and told; a tone that stands is none")
        report.check("clicks: " in outcome.warnings("clicks") and "clicks: " not in outcome.warnings("whine"), "clicks are told")
        shown = program.assay("show", outcome.folder).out
        report.check("ITU-R 468 quasi-peak" in shown and "whine that moves" in shown, "show names them")


for part in (flat, coloured, hum, floors, hostile, quasi_peak_and_whine):
    report.guarded(part.__name__, part)
report.finish()
