"""Coverage of what takes two recordings, a row of frequencies or a long time: separation, source impedance, bursts, bandwidth,
endurance, powers by meter. Cases in the form of trust_amplifier.py, whose effects go over them as well.

Truth: circuit laws (a divider of source and load), analytic filters, Fourier integrals by quadrature.
"""

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.optimize import brentq
from trust_amplifier import GAIN, IDEAL_V, RATE, Case, drawn_ear, drifted

from outside import bench as fine_bench
from outside import closed_forms, laws, program
from outside.many_channels import OUTPUT_V, RESISTOR_PERCENT, SCALE_PERCENT, Bench, in_band_v, placed, recorded


class Separation(Case):
    """One pair a recording. The mains' hum in the idle channel lies at three of the frequencies, and is up to as loud as what
    comes over."""
    name, channels, repeats = "separation", 2, 10
    frequencies = [50.0, 70.0, 100.0, 300.0, 1000.0, 3000.0, 10000.0]
    absent_allowed = tuple(f"separation at {f:g} Hz" for f in (50.0, 100.0, 300.0))

    def test(self, bench):
        return [{"id": "s", "measure": "separation", "driven": "l0", "idle": "l1", "drive_dbfs": -9.0, "frequencies_hz": self.frequencies}]

    def bench_text(self, bench):
        outputs = [{"name": name, "channel": channel, "volts_at_full_scale": OUTPUT_V, "maximum_dbfs": 0.0} for channel, name in ((1, "left"), (2, "right"))]
        return bench.text(driven=["left", "right"], outputs=outputs)

    def found(self, outcome, test, load=None):
        node = outcome.session["tests"][test]
        curve = node["curves"]["separation"]
        points = zip(curve["frequency_hz"], curve["separation_db"], curve["expanded_uncertainty_db"])
        return {**node["quantities"], **{f"separation at {f:g} Hz": {"value": db, "expanded_uncertainty": u} for f, db, u in points if db is not None}}

    def trial(self, shop, bench, random, effect):
        shared, stray_hz = 10 ** random.uniform(-4.3, -2.7), 10 ** random.uniform(6.5, 8.0)

        def crosstalk(f):
            return shared + 1j * np.asarray(f, float) / stray_hz
        tone, rate = shop.tone("s")
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-4.5, -3.5))
        volts = drifted(IDEAL_V * tone, rate, effect)
        mains = random.uniform(49.95, 50.05)
        size = np.sqrt(2) * IDEAL_V / 4 * abs(crosstalk(50.0)) * 10 ** random.uniform(-1.5, 0.0)
        hum = ((1, 1.0), (2, 0.6), (3, 0.4), (6, 0.2))
        # An output stage may keep hum and tone from simply adding: the program doubts 2.5 % of the hum for that, so this is drawn as
        # every stated doubt is. Of the tone's own frequency only, where it looks like crosstalk.
        unlike = {50.0 * n: 0.025 * size * share / (IDEAL_V * 10 ** (-9.0 / 20)) * complex(*random.standard_normal(2)) for n, share in hum}

        def comes_over(f):
            return crosstalk(f) + sum(extra * (abs(f - at) < 5.0) for at, extra in unlike.items())
        # Of one length, or they would be given clocks that differ by a few millionths.
        driven, over = placed(np.pad(volts, (0, rate // 2)), rate, ear), placed(fine_bench.through(volts, rate, comes_over, more_s=0.5), rate, ear)
        time = np.arange(len(driven)) / ear.rate_hz
        for n, share in hum:
            over = over + size * share * np.sin(2 * np.pi * mains * n * time + random.uniform(0, 6.28))
        samples = recorded(bench, [driven, over], ear, random, gains=np.array([bench.gain[0], 1.0]))
        truth = {f"separation at {f:g} Hz": float(20 * np.log10(bench.gain[0] / abs(crosstalk(f)))) for f in self.frequencies}
        truth["separation_1khz_db"] = truth["separation at 1000 Hz"]
        return {"s": samples}, {}, {"s": truth}


class SourceImpedance(Case):
    """One output a pair of recordings. With a reference the impedance is complex, without one it is a resistance."""
    channels, repeats = 1, 10
    # What lies below three times its doubt is told as "below".
    absent_allowed = ("output_impedance_1khz_ohm", "damping_factor_1khz")

    def __init__(self, reference):
        self.reference = reference
        self.name = "output-impedance, " + ("with a reference" if reference else "without")

    def test(self, bench):
        more = {"reference": "in"} if self.reference else {}
        response = {"measure": "response", "drive_dbfs": -16.0, **more}
        return [{"id": "l", "loads": ["l0"], **response}, {"id": "u", "loads": ["o0"], **response},
                {"id": "z", "measure": "output-impedance", "loaded": "l", "unloaded": "u"}]

    def bench_text(self, bench):
        inputs = [program.probe("p0", 1, volts_at_full_scale=float(bench.read_scale[0] / program.ATTENUATION), uncertainty_percent=SCALE_PERCENT)]
        if self.reference:
            inputs.append(program.probe("in", 2, role="reference", volts_at_full_scale=3.0, attenuation=1.0, uncertainty_percent=SCALE_PERCENT))
        loads = [program.load("l0", float(bench.read_ohm[0]), "p0", uncertainty_percent=RESISTOR_PERCENT),
                 {"name": "o0", "resistance_ohm": float("inf"), "plus": "p0"}]
        return program.bench_text(loads=loads, inputs=inputs, sound={"sample_rate_hz": RATE})

    def trial(self, shop, bench, random, effect):
        ohm, henry = 10 ** random.uniform(-1.5, 0.0), random.uniform(0, 20e-6) if self.reference else 0.0
        noise_v = 10 ** random.uniform(-3.5, -2.5)
        samples = {}
        for test in ("l", "u"):
            tone, rate = shop.tone(test)
            ear = drawn_ear(random, effect, noise_v=noise_v)

            def gain(f):
                return bench.ohm[0] / (bench.ohm[0] + ohm + 2j * np.pi * f * henry) if test == "l" else np.ones(len(f))
            heard = recorded(bench, placed(drifted(fine_bench.through(IDEAL_V * tone, rate, gain, more_s=0.5), rate, effect), rate, ear), ear, random)
            if self.reference:
                volts = placed(OUTPUT_V * np.pad(tone, (0, rate // 2)), rate, ear)
                begin = len(volts) - len(heard)
                heard = np.column_stack([heard, volts[begin:] / 3.0 + 1e-5 * random.standard_normal(len(heard))])
            samples[test] = heard
        size = abs(ohm + 2j * np.pi * 1000 * henry)
        return samples, {}, {"z": {"output_impedance_1khz_ohm": size, "damping_factor_1khz": bench.ohm[0] / size}}


def at_one_percent(law, limit=0.01):
    """Fourier amplitudes at the level where THD passes the limit."""
    def form(level):
        return closed_forms.by_quadrature(law, IDEAL_V * 10 ** (level / 20), 20, 1 << 14)
    return form(brentq(lambda level: closed_forms.thd(form(level)) - limit, -14.0, 3.0, xtol=1e-9))


class Bursts(Case):
    """The rails sag: within a burst they are higher than with a tone that goes on."""
    name, channels, share = "burst-power", 10, 0.5

    def test(self, bench):
        return [{"id": "c", "measure": "clipping-power", "loads": bench.loads, "from_dbfs": -14.0, "to_dbfs": -1.5},
                {"id": "b", "measure": "burst-power", "loads": bench.loads, "to_dbfs": -1.5, "continuous": "c"}]

    def trial(self, shop, bench, random, effect):
        samples, rms = {}, {}
        noise_v = 10 ** random.uniform(-3.5, -2.5)
        # Rails of its own for each channel: where between two steps the limit falls is what the headroom's error hangs on, and
        # channels that share it would be one trial.
        rails, higher = random.uniform(12.5, 16.0, bench.channels), {"c": np.ones(bench.channels), "b": random.uniform(1.0, 1.2, bench.channels)}
        for test in ("c", "b"):
            tone, rate = shop.tone(test)
            ear, parts, rms[test] = drawn_ear(random, effect, noise_v=noise_v), [], []
            for i, rail in enumerate(rails * higher[test]):
                # What the steps leave open is doubted by shape, so the shape is drawn: rails alike, uneven ones, knees.
                law = (laws.hard_clip(rail), laws.uneven_rails(rail, rail * random.uniform(0.97, 1.0)), laws.soft_clip(rail, 10 ** random.uniform(1.0, 1.8)))[i % 3]
                analog = fine_bench.amplify(tone, rate, law, IDEAL_V)
                parts.append(placed(drifted(analog.volts, analog.rate_hz, effect), analog.rate_hz, ear))
                rms[test].append(closed_forms.rms(at_one_percent(law)))
            samples[test] = recorded(bench, parts, ear, random)
        continuous, burst = np.array(rms["c"]), np.array(rms["b"])
        truth = {"burst_power_w": (bench.gain * burst) ** 2 / bench.ohm, "headroom_db": 20 * np.log10(burst / continuous)}
        return samples, {"b": truth}, {}


def frequency_of(tone, rate, block_s=0.002, shortest_s=0.008):
    """At each frame: by counting zeros block by block where a block holds some, else by the time between two of them. What lies
    between two stretches of one frequency is cut where the tone is faintest, or the trial itself would make the level jump."""
    known, block = np.array(Bandwidth.frequencies), int(block_s * rate)

    def nearest(f):
        return known[np.argmin(abs(np.log(f[:, None] / known)), 1)]
    whole = len(tone) // block * block
    counts = np.sum(np.diff(np.signbit(tone[:whole]).reshape(-1, block).astype(np.int8), axis=1) != 0, axis=1)
    by_count = np.concatenate([np.repeat(nearest(np.maximum(counts, 1) / (2 * block_s)), block), np.full(len(tone) - whole, known[0])])
    edges = np.concatenate([[0], np.flatnonzero(np.diff(np.signbit(tone))) + 1, [len(tone)]])
    by_gap = np.repeat(nearest(rate / (2 * np.diff(edges))), np.diff(edges))
    found = np.where(by_count > 500.0, by_count, by_gap)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(found)) + 1, [len(tone)]])
    loud = uniform_filter1d(np.abs(tone), block // 4)
    end, last = 0, None
    for begin, stop in zip(edges, edges[1:]):
        if stop - begin < shortest_s * rate:
            continue
        if last is not None:
            cut = end + np.argmin(loud[end:begin + 1])
            found[end:cut], found[cut:begin] = last, found[begin]
        end, last = stop, found[begin]
    return found


class Bandwidth(Case):
    """A hard clip, then a filter such as coupling and output have, or a sharper limit at either end: a core's, a slew rate's."""
    name, channels, share = "power-bandwidth", 8, 0.5
    frequencies = [20.0, 30.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 7000.0, 10000.0, 14000.0, 20000.0]
    # A core or a slew rate may limit there below the faintest steps.
    absent_allowed = tuple(f"power at {f} Hz" for f in (20, 30, 14000, 20000))

    def bench(self, random):
        # A high-pass filter tilts a clipped wave to twice its rails.
        return Bench(self.channels, random, RATE, full_scale_v=45.0)

    def test(self, bench):
        return [{"id": "b", "measure": "power-bandwidth", "loads": bench.loads, "to_dbfs": -3.0}]

    def found(self, outcome, test, load=None):
        node = outcome.session["tests"][test]["loads"][load]
        curve = node["curves"]["power"]
        points = zip(curve["frequency_hz"], curve["power_w"], curve["power_expanded_uncertainty_w"])
        return {**node["quantities"], **{f"power at {f:g} Hz": {"value": w, "expanded_uncertainty": u} for f, w, u in points if w is not None}}

    def trial(self, shop, bench, random, effect):
        tone, rate = shop.tone("b")
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.5, -2.5))
        # A law and a filter of its own for each channel: the doubt of a limit is that of a shape, and channels that share one
        # would be one trial.
        units = [Unit(random) for _ in range(bench.channels)]
        parts = [placed(drifted(unit.played(tone, rate), unit.fine_hz, effect), unit.fine_hz, ear) for unit in units]
        samples = recorded(bench, parts, ear, random)
        watts = np.array([[unit.watts(f) for f in self.frequencies] for unit in units]).T
        limits = np.array([unit.limits() for unit in units]).T
        truth = {"lower_limit_hz": limits[0], "upper_limit_hz": limits[1]}
        truth |= {f"power at {f:g} Hz": bench.gain**2 * w / bench.ohm for f, w in zip(self.frequencies, watts)}
        return {"b": samples}, {"b": truth}, {}


class Unit:
    """What bounds the power of one channel: rails; a filter or a transformer's core downwards, a filter or a slew rate upwards."""
    def __init__(self, random):
        self.law, self.low, self.high = laws.hard_clip(random.uniform(13.0, 16.0)), random.uniform(22.0, 80.0), random.uniform(7500.0, 17000.0)
        self.order, self.slews, self.core = random.integers(1, 3), random.random() < 0.5, random.random() < 0.5
        self.at_1khz = self.level_at(1000.0)

    def transfer(self, f):
        """Of first order, or Butterworth's of second; without its part at an end where something else makes the limit."""
        below = 1j * self.low / np.maximum(np.asarray(f, float), 1e-9) * (not self.core)
        above = 1j * np.asarray(f, float) / self.high * (not self.slews)
        return 1 / ((1 - below) * (1 + above)) if self.order == 1 else 1 / ((1 - np.sqrt(2) * below + below**2) * (1 + np.sqrt(2) * above + above**2))

    def ceiling(self, f):
        """Share of the rails that a peak can reach: a slew rate's falls with the frequency beyond a corner; a core's with its
        inverse, since the flux that saturates it is the integral of the voltage (Faraday)."""
        share = np.ones_like(np.asarray(f, float))
        if self.slews:
            share = np.minimum(share, self.high / np.sqrt(2) / f)
        if self.core:
            share = np.minimum(share, f / (self.low * np.sqrt(2)))
        return share

    def played(self, tone, rate):
        # A rail that is lower by a share is the same as a louder tone into the same rail, made smaller afterwards.
        share = self.ceiling(frequency_of(tone, rate))
        analog = fine_bench.amplify(tone / share, rate, self.law, IDEAL_V)
        self.fine_hz = int(analog.rate_hz)
        return fine_bench.through(analog.volts * np.repeat(share, len(analog.volts) // len(tone)), self.fine_hz, self.transfer, more_s=0.5)

    def form(self, level, f):
        plain = closed_forms.by_quadrature(self.law, IDEAL_V * 10 ** (level / 20), 61, 1 << 13)
        orders = np.arange(1, 62)
        shaped = np.concatenate([[0.0], plain[1:] * abs(self.transfer(orders * f))])
        shaped[1:][orders * f > 20000.0] = 0.0
        return shaped

    def level_at(self, f):
        return brentq(lambda level: closed_forms.thd(self.form(level, f)) - 0.01, -14.0, 3.0, xtol=1e-9)

    def watts(self, f):
        # Where the third harmonic lies beyond the band, the fall of gain that goes with the limit at 1 kHz tells it.
        level = self.at_1khz if 3 * f > 20000.0 else self.level_at(f)
        return self.ceiling(f) ** 2 * np.sum(self.form(level, f)[1:] ** 2) / 2

    def limits(self):
        half = self.watts(1000.0) / 2
        # Up to the step of the definition at a third of the band the curve is one, beyond it another.
        return brentq(lambda f: self.watts(f) - half, 12.0, 900.0), brentq(lambda f: self.watts(f) - half, 6700.0, 20000.0)


class Endurance(Case):
    """A minute. A third of the channels falls a little, a third falls through the limit of 1 dB, a third cuts out."""
    name, channels = "endurance", 9

    def test(self, bench):
        return [{"id": "e", "measure": "endurance", "loads": bench.loads, "minutes": 1.0, "drive_dbfs": -9.0}]

    def trial(self, shop, bench, random, effect):
        tone, rate = shop.tone("e")
        time = np.arange(len(tone)) / rate - np.argmax(abs(tone) > 1e-4) / rate
        falls, ends, parts = [], [], []
        for i in range(bench.channels):
            most_db, slow_s = (random.uniform(0.1, 0.9) if i % 3 != 1 else random.uniform(1.3, 2.5)), random.uniform(20.0, 100.0)
            falls.append(lambda t, most_db=most_db, slow_s=slow_s: most_db * -np.expm1(-np.maximum(t, 0) / slow_s) / -np.expm1(-60.0 / slow_s))
            ends.append(60.0 if i % 3 != 2 else random.uniform(20.0, 55.0))
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.0, -2.0))
        for fall, end in zip(falls, ends):
            parts.append(placed(drifted(IDEAL_V * tone * 10 ** (-fall(time) / 20) * (time < end), rate, effect), rate, ear))
        samples = recorded(bench, parts, ear, random)
        peak, clocks = IDEAL_V * 10 ** (-9.0 / 20), random.uniform(-50e-6, 50e-6, bench.channels)

        def truth(outcome):
            found = {key: [] for key in ("run_minutes", "output_fall_db", "mean_power_w", "load_energy_wh")}
            for i, load in enumerate(bench.loads):
                # The fall counts from the middle one of the first three rows of the log.
                rows = outcome.session["tests"]["e"]["loads"][load]["curves"]["log"]["minutes"]
                first = 60 * sorted(rows[:3])[1]
                end = brentq(lambda t, i=i, first=first: falls[i](t) - falls[i](first) - 1.0, 0.0, 60.0) if i % 3 == 1 else ends[i]
                fine = np.linspace(0.0, end, 4001)
                watts = np.mean((bench.gain[i] * peak) ** 2 / 2 * 10 ** (-falls[i](fine) / 10)) / bench.ohm[i]
                # A minute that was filled is what was asked for, and no measurement; nor is the limit itself.
                # The player's crystal counts in its minutes, within what the program takes for one.
                found["run_minutes"].append(np.nan if i % 3 == 0 else end / 60 * (1 + clocks[i]))
                found["output_fall_db"].append(np.nan if i % 3 == 1 else falls[i](end) - falls[i](first))
                found["mean_power_w"].append(watts)
                found["load_energy_wh"].append(watts * end / 3600)
            return found
        return {"e": samples}, {"e": truth}, {}


CASES = [Separation(), SourceImpedance(False), SourceImpedance(True), Bursts(), Bandwidth(), Endurance()]
