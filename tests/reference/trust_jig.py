"""Coverage of what the impedance jig tells by itself (impedance, match) and of powers read by meter.

Truth: the impedance that the outside jig was given and its extremes; the tone's own lines through the jig's divider; the ratio
of the two inputs; volts squared over ohms. What a person would read of resistors and scales is drawn anew for each trial.
"""

from functools import partial

import numpy as np
from driver_coverage import CASES
from scipy.optimize import minimize_scalar

from outside import driver_bench, program
from outside.drawn_jig import CLOCK, JIGS, RATE, read_bench, with_noise
from outside.driver_bench import Card, Jig
from outside.tally import Tally

LEVEL_DBFS = -10.0
POINTS_HZ = (20.0, 200.0, 2000.0, 15000.0)  # of the curve: the nearest line to each


def volts_in_octave(tone, rate_hz, driver, jig, centre_hz):
    """RMS across the driver of the lines within half an octave of a frequency: twenty seconds hold whole cycles of each line."""
    seconds = 20
    part = tone[-int((seconds + 3) * rate_hz):][:int(seconds * rate_hz)]
    line = np.fft.rfft(part) * np.sqrt(2) / len(part) * driver_bench.GENERATOR_V
    f = np.fft.rfftfreq(len(part), 1 / rate_hz)
    inside = (f >= centre_hz / np.sqrt(2)) & (f <= centre_hz * np.sqrt(2))
    above, below = jig.voltages(driver.z(f[inside]))
    return float(np.sqrt(np.sum(abs(line[inside] * (below if jig.topology == "series-high" else above - below)) ** 2)))


def extreme(z, low, high, sign):
    grid = np.geomspace(low, high, 4000)
    at = grid[np.argmin(sign * abs(z(grid)))]
    return minimize_scalar(lambda f: sign * abs(z(np.array([f]))[0]), bounds=(at / 1.01, at * 1.01), method="bounded", options={"xatol": 1e-9 * at}).x


def impedance(number, trials, seed, report):
    _, driver = CASES[number]
    random, tally, jig = np.random.default_rng([seed, 200 + number]), Tally(), JIGS[number]
    with program.Workshop(driver_bench.job_text([driver_bench.impedance("free", drive_dbfs=LEVEL_DBFS)]), read_bench(random, jig),
                          environment=program.WITHOUT_PAGES) as shop:
        played = driver_bench.Tones().of(shop, "free")
        clean, _ = driver_bench.record(played, driver.z, jig, Card(RATE, ppm=120.0, start_s=0.4, tail_s=0.4))
        top = extreme(driver.z, 10.0, 300.0, -1)
        low = extreme(driver.z, top, 5000.0, 1)
        z = {name: abs(driver.z(np.array([f]))[0]) for name, f in (("maximum_ohm", top), ("minimum_ohm", low), ("impedance_1khz_ohm", 1000.0))}
        for _ in range(trials):
            shop.bench.write_text(read_bench(random, jig))
            outcome = shop.run({"free": with_noise(clean, random)}, RATE)
            if outcome.status != 0:
                report.check(False, "a run over recordings", f"exit {outcome.status} {outcome.err.strip()[:300]}")
                continue
            # As in driver_coverage.py: the player's clock is drawn by moving the truth of frequencies.
            clock = random.uniform(-CLOCK, CLOCK)
            truth = {**z, "resonance_hz": top * (1 + clock), "minimum_hz": low * (1 + clock), "volts_at_resonance_v": volts_in_octave(played.tone, played.rate_hz, driver, jig, top)}
            node = outcome.session["tests"]["free"]
            found, curve = dict(node["quantities"]), node["curves"]["impedance"]
            for f in POINTS_HZ:
                i = int(np.argmin(abs(np.log(np.array(curve["frequency_hz"]) / f))))
                exact = driver.z(np.array([curve["frequency_hz"][i]]))[0]
                for key, value, column, doubt in ((f"curve at {f:g} Hz, ohm", abs(exact), "magnitude_ohm", "magnitude_expanded_uncertainty_ohm"),
                                                  (f"curve at {f:g} Hz, degrees", np.degrees(np.angle(exact)), "phase_deg", "phase_expanded_uncertainty_deg")):
                    truth[key] = value
                    found[key] = {"value": curve[column][i], "expanded_uncertainty": curve[doubt][i]}
            tally.add(found, truth)
    tally.judge(report, f"impedance, {driver.name}, {jig.topology}", 60)


def match(trials, seed, report):
    random, tally = np.random.default_rng([seed, 300]), Tally()
    tests = [{"id": "m", "measure": "match", "drive_dbfs": LEVEL_DBFS}]
    with program.Workshop(driver_bench.job_text(tests), driver_bench.bench_text(Jig(), {"sample_rate_hz": RATE}), environment=program.WITHOUT_PAGES) as shop:
        played = driver_bench.Tones().of(shop, "m")
        gain, delay_s = 1.013, 2.5e-6
        jig = Jig("series-high", 1e-9, 0.0, generator_ohm=0.3, gain_ratio=gain, delay_s=delay_s)
        clean, _ = driver_bench.record(played, None, jig, Card(RATE, ppm=120.0, start_s=0.4, tail_s=0.4))
        truth = {"ratio_1khz_db": 20 * np.log10(gain), "ratio_10khz_db": 20 * np.log10(gain), "phase_10khz_deg": -360 * 10000 * delay_s}
        for _ in range(trials):
            outcome = shop.run({"m": with_noise(clean, random)}, RATE)
            tally.add(outcome.session["tests"]["m"]["quantities"], truth)
    tally.judge(report, "match", 60)


def meter_power(trials, seed, report):
    """Meter and resistor as the file states them: limits of a leaflet, evenly likely within."""
    random, tally, ohm = np.random.default_rng([seed, 400]), Tally(), 4.0
    volts = random.uniform(3.0, 25.0, trials)
    meter = {"name": "meter", "accuracy_percent": 0.8, "digits": 3, "resolution_v": 0.01}
    # Every meter misreads by its own share for good: one a trial, as every load is another.
    shown = volts * (1 + random.uniform(-0.008, 0.008, trials)) + random.uniform(-0.03, 0.03, trials)
    loads = [program.load(f"l{i}", float(ohm * (1 + 0.005 * random.standard_normal())), "probe-a", uncertainty_percent=0.5) for i in range(trials)]
    tests = [{"id": f"t{i}", "measure": "meter-power", "loads": [f"l{i}"], "output_v": float(v)} for i, v in enumerate(shown)]
    with program.Workshop(program.job_text(tests), program.bench_text(loads=loads, meters=[meter]), environment=program.WITHOUT_PAGES) as shop:
        outcome = shop.run({})
        for i in range(trials):
            tally.add(outcome.session["tests"][f"t{i}"]["loads"][f"l{i}"]["quantities"], {"power_w": volts[i] ** 2 / ohm})
    tally.judge(report, "meter-power", 60)


def parts(recordings, seed):
    """(name, what takes a report), each with a draw of its own."""
    return [*((f"impedance, driver {number + 1}", partial(impedance, number, 4 * recordings, seed)) for number in (0, 1)),
            ("match", partial(match, 4 * recordings, seed)), ("meter-power", partial(meter_power, 300, seed))]
