"""Coverage of every quantity of the measures of an amplifier, and what effects do that the model does not have.

Truth: Fourier integrals by quadrature (closed_forms.by_quadrature), analytic filters, sums of known noise and hum, IEC 61672-1
for A. One recording has as many trials as channels: see outside/many_channels.py. A case gives its test, what the amplifier
makes of the tone, and the truth over the channels; the runs draw clock, start, noise, hum, rails, corners anew.
"""

import sys
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench as fine_bench  # noqa: E402
from outside import closed_forms, laws, program  # noqa: E402
from outside.many_channels import OUTPUT_V, Bench, Ear, in_band_v, placed, recorded  # noqa: E402
from outside.tally import Tally  # noqa: E402

RATE, TOP, IDEAL_V = 48000, 20, 30.0
GAIN = IDEAL_V / OUTPUT_V


@dataclass
class Effect:
    """What the model does not have. Each one of these stays small enough that a person would not notice."""
    name: str = "none"
    ear: dict = field(default_factory=dict)
    gain_drift: float = 0.0              # relative, over the recording
    load_warms: float = 0.0              # relative rise of the resistance at full power, slow: power falls with it
    only: tuple = ()                     # names of the cases that it touches; empty: all


NONE = Effect()
EFFECTS = [
    Effect("gain rises by 0.3 %", gain_drift=0.003),
    Effect("load 2 % warmer when loud", load_warms=0.02, only=("clipping-power",)),
    Effect("hum that wanders, 20 mV", ear={"wandering_hum_v": 0.02}),
    Effect("wow of 0.01 %", ear={"wow_percent": 0.01}),
    Effect("recorder's own third, 0.003 %", ear={"own_third": 3e-5}),
    Effect("clicks, 0.1 V, ten a second", ear={"clicks_v": 0.1}),
]


def drifted(volts, rate_hz, effect):
    if effect.gain_drift:
        volts = volts * (1 + effect.gain_drift * np.linspace(-0.5, 0.5, len(volts)))
    return volts


def drawn_ear(random, effect, **more):
    return replace(Ear(RATE, random.uniform(-150, 150), random.uniform(0.2, 1.2), **more), **effect.ear)


class Case:
    """One measure, or a few that belong together."""
    channels, repeats = 10, 1            # recordings of so many channels, for each recording that is asked for
    share = 1.0                          # of the recordings that are asked for, where one takes most of a minute to make
    absent_allowed = ()

    def bench(self, random):
        return Bench(self.channels, random, RATE)

    def bench_text(self, bench):
        return bench.text()

    def found(self, outcome, test, load=None):
        """Quantities of one load, or of the whole test."""
        node = outcome.session["tests"][test]
        return (node.get("loads", {}).get(load, {}) if load else node).get("quantities", {})


class Distortion(Case):
    name, channels = "distortion", 16
    level = -6.0
    # A harmonic may lie too near the noise to be given.
    absent_allowed = tuple(f"harmonic_{n}_percent" for n in range(2, 11))

    def test(self, bench):
        return [{"id": "d", "measure": "distortion", "loads": bench.loads, "drive_dbfs": self.level}]

    def trial(self, shop, bench, random, effect):
        peak = IDEAL_V * 10 ** (self.level / 20)
        shares = np.concatenate([[0, 0], 10 ** random.uniform(-4.5, -2.5, 9) * random.choice([-1, 1], 9)])
        law = np.polynomial.chebyshev.Chebyshev(shares + np.eye(11)[1])
        tone, rate = shop.tone("d")
        volts = peak * law(np.clip(tone * IDEAL_V / peak, -1.05, 1.05)) - peak * law(0.0)
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.5, -2.5), hum_v=10 ** random.uniform(-4, -2.5), hum_hz=random.uniform(49.9, 50.1))
        samples = recorded(bench, placed(drifted(volts, rate, effect), rate, ear), ear, random)
        form = closed_forms.by_quadrature(lambda x: peak * law(x / peak), peak, TOP, 1 << 12)
        truth = {}
        for gain in bench.gain:
            # Hum that wanders is heard as well, and counts: its mean square with a size that swings by 0.3.
            rest = in_band_v(ear.noise_v, RATE) ** 2 + ear.hum_v**2 + ear.wandering_hum_v**2 * (1 + 0.3**2 / 2)
            harmonics = gain**2 * np.sum(form[2:] ** 2) / 2
            whole = gain**2 * form[1] ** 2 / 2 + harmonics + rest
            one = {"voltage_v": np.sqrt(whole), "thd_percent": 100 * closed_forms.thd(form), "thd_total_percent": 100 * np.sqrt(harmonics / whole),
                   "thd_plus_noise_percent": 100 * np.sqrt((harmonics + rest) / whole), "sinad_db": -10 * np.log10((harmonics + rest) / whole)}
            one |= {f"harmonic_{n}_percent": 100 * abs(form[n] / form[1]) for n in range(2, 11)}
            for key, value in one.items():
                truth.setdefault(key, []).append(value)
        truth["power_w"] = np.array(truth["voltage_v"]) ** 2 / bench.ohm
        return {"d": samples}, {"d": truth}, {"d": {"channel_balance_db": 20 * np.log10(max(bench.gain) / min(bench.gain))}}


class Clipping(Case):
    name, channels = "clipping-power", 10
    absent_allowed = ("input_sensitivity_v",)  # 10 W into 2 ohm lie below the faintest step of some

    def test(self, bench):
        return [{"id": "c", "measure": "clipping-power", "loads": bench.loads, "from_dbfs": -14.0, "to_dbfs": -1.5, "rated_power_w": 10.0}]

    def trial(self, shop, bench, random, effect):
        up, down = random.uniform(12.5, 17.5), random.uniform(12.5, 17.5)
        law = laws.uneven_rails(up, down)
        tone, rate = shop.tone("c")
        analog = fine_bench.amplify(tone, rate, law, IDEAL_V)
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.5, -2.5))
        volts = drifted(analog.volts, analog.rate_hz, effect)
        if effect.load_warms:
            slow = np.repeat(np.mean(volts[:len(volts) // 1920 * 1920].reshape(-1, 1920) ** 2, 1), 1920)
            slow = np.concatenate([slow, np.zeros(len(volts) - len(slow))]) / np.max(slow)
            # The source's own 0.3 ohm: a warmer 4 ohm load takes a little more volts.
            volts = volts * (1 + effect.load_warms * slow * 0.07)
        samples = recorded(bench, placed(volts, analog.rate_hz, ear), ear, random)

        def form(level):
            return closed_forms.by_quadrature(law, IDEAL_V * 10 ** (level / 20), TOP, 1 << 14)
        truth, totals = {}, {}
        for percent in (1, 10):
            # Up through the limit for the last time: on these laws distortion only rises.
            level = brentq(lambda level: 100 * closed_forms.thd(form(level)) - percent, -14.0, 3.0, xtol=1e-9)
            rms = closed_forms.rms(form(level))
            truth[f"voltage_at_{percent}_percent_v"] = bench.gain * rms
            truth[f"power_at_{percent}_percent_w"] = (bench.gain * rms) ** 2 / bench.ohm
            totals[f"total_power_at_{percent}_percent_w"] = np.sum((bench.gain * rms) ** 2 / bench.ohm)
            if effect.load_warms:
                truth[f"power_at_{percent}_percent_w"] /= 1 + effect.load_warms
        # The lowest peak from which 0.5 dB more drive gives less than 0.25 dB more peak: on a hard clip a quarter below it.
        truth["clip_onset_positive_v"] = bench.gain * up * 10 ** (-0.25 / 20)
        truth["clip_onset_negative_v"] = bench.gain * down * 10 ** (-0.25 / 20)
        truth["clip_onset_w"] = (bench.gain * min(up, down) * 10 ** (-0.25 / 20)) ** 2 / 2 / bench.ohm
        truth["gain_db"] = 20 * np.log10(bench.gain * GAIN)
        # Of the straight part only: 10 W of some channels lie beyond their rails.
        straight = np.sqrt(2 * 10.0 * bench.ohm) < 0.93 * bench.gain * min(up, down)
        truth["input_sensitivity_v"] = np.where(straight, np.sqrt(10.0 * bench.ohm) / (bench.gain * GAIN), np.nan)
        totals["channel_balance_db"] = 20 * np.log10(max(bench.gain) / min(bench.gain))
        return {"c": samples}, {"c": truth}, {"c": totals}


class Response(Case):
    name, channels = "response", 12

    def test(self, bench):
        # What a sweep's windows cut off goes by the frequency: from 5 Hz it is a tenth of a decibel, from 10 Hz a hundredth.
        self.start_hz = float(bench.random.choice([5.0, 10.0]))
        return [{"id": "r", "measure": "response", "loads": bench.loads, "drive_dbfs": -16.0, "start_hz": self.start_hz}]

    def trial(self, shop, bench, random, effect):
        # A filter of its own for each channel, or what the windows cut off would be one trial.
        units = [(self.start_hz * random.uniform(1.1, 2.8), random.uniform(12500.0, 19000.0)) for _ in range(bench.channels)]
        tone, rate = shop.tone("r")
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.0, -1.7))
        parts, truth = [], {}
        for low, high in units:
            transfer, one = self.unit(low, high)
            parts.append(placed(drifted(fine_bench.through(IDEAL_V * tone, rate, transfer, more_s=0.5), rate, effect), rate, ear))
            for key, value in one.items():
                truth.setdefault(key, []).append(value)
        samples = recorded(bench, parts, ear, random)
        truth = {key: np.array(values) for key, values in truth.items()}
        truth["gain_1khz_db"] += 20 * np.log10(bench.gain * GAIN)
        # A recorder that runs fast by some ppm tells the same of all frequencies: the tone's clock is what counts, and the
        # player's crystal is drawn by moving the truth, within what the program takes for one.
        clocks = 1 + random.uniform(-50e-6, 50e-6, bench.channels)
        truth |= {key: value * clocks for key, value in truth.items() if key.endswith("_hz")}
        band = np.geomspace(20.0, 20000.0, 2001)
        curves = 20 * np.log10(bench.gain[:, None] * np.array([abs(self.unit(*each)[0](band)) for each in units]))
        gains = truth["gain_1khz_db"]
        return {"r": samples}, {"r": truth}, {"r": {"channel_balance_1khz_db": np.ptp(gains), "channel_balance_20hz_20khz_db": np.max(np.ptp(curves, axis=0))}}

    @staticmethod
    def unit(low, high):
        """Of first order at both ends: what it does, and what is true of it."""
        def transfer(f):
            f = np.maximum(np.asarray(f, float), 1e-9)
            return 1 / (1 - 1j * low / f) / (1 + 1j * f / high)

        def db(f):
            return 20 * np.log10(abs(transfer(np.array([f]))[0] / transfer(np.array([1000.0]))[0]))
        truth = {"gain_1khz_db": 20 * np.log10(abs(transfer(1000.0)))}
        for within, key in ((3.0, "3db"), (1.0, "1db")):
            truth[f"lower_limit_{key}_hz"] = brentq(lambda f: db(f) + within, 3.0, 900.0)
            truth[f"upper_limit_{key}_hz"] = brentq(lambda f: db(f) + within, 1100.0, 23000.0)
        truth["deviation_20hz_20khz_db"] = max(abs(db(20.0)), abs(db(20000.0)))
        return transfer, truth


class Noise(Case):
    name, channels = "noise", 12
    absent_allowed = ("hum_v", "mains_hz")

    def test(self, bench):
        return [{"id": "n", "measure": "noise", "loads": bench.loads, "reference_power_w": 20.0}]

    def trial(self, shop, bench, random, effect):
        noise_v, mains = 10 ** random.uniform(-3.3, -2.3), random.choice([50.0, 60.0]) * random.uniform(0.999, 1.001)
        sizes = {n: noise_v * 10 ** random.uniform(-0.7, 0.3) for n in (1, 2, 3, 5)}
        ear = drawn_ear(random, effect, noise_v=noise_v)
        time = np.arange(16 * RATE) / RATE
        hum = sum(np.sqrt(2) * v * np.sin(2 * np.pi * mains * n * time + random.uniform(0, 6.28)) for n, v in sizes.items())
        # (frequency, volts RMS)
        lines = [(n * mains, v) for n, v in sizes.items()]
        ones = np.ones(bench.channels)
        samples = recorded(bench, hum, ear, random, gains=ones)

        def a(f):
            f2 = np.square(f)
            top = 12194.217**2 * f2**2 / ((f2 + 20.598997**2) * np.sqrt((f2 + 107.65265**2) * (f2 + 737.86223**2)) * (f2 + 12194.217**2))
            return top / 0.7943465
        band = np.linspace(20, 20000, 20001)
        white = in_band_v(noise_v, RATE)
        if ear.wandering_hum_v:  # see many_channels.recorded; taken as if it lay at 50 Hz
            lines.append((50.0, ear.wandering_hum_v * np.sqrt(1 + 0.3**2 / 2)))
        flat = np.sqrt(white**2 + sum(v**2 for _, v in lines))
        weighted = np.sqrt(white**2 * np.mean(a(band) ** 2) + sum((v * a(f)) ** 2 for f, v in lines))
        # Rec. ITU-R BS.468-4: flat noise reads 7.301 dB more (see end_to_end/noise_test.py); lines by table 1.
        by_468 = np.sqrt((white * 10 ** (7.301 / 20)) ** 2 + sum((v * 10 ** (np.interp(np.log(f), np.log([31.5, 63, 100, 200, 400]), [-29.9, -23.9, -19.8, -13.8, -7.8]) / 20)) ** 2
                                                                 for f, v in lines))
        truth = {"noise_v": ones * flat, "noise_a_weighted_v": ones * weighted, "noise_itu_468_rms_v": ones * by_468,
                 "hum_v": ones * np.sqrt(sum(v**2 for _, v in lines)),
                 # The recorder's crystal counts in all of its frequencies, within what the program takes for one.
                 "mains_hz": mains * (1 + random.uniform(-50e-6, 50e-6, bench.channels)),
                 "signal_to_noise_1w_db": 20 * np.log10(np.sqrt(bench.ohm) / flat), "signal_to_noise_1w_a_weighted_db": 20 * np.log10(np.sqrt(bench.ohm) / weighted),
                 "signal_to_noise_reference_db": 20 * np.log10(np.sqrt(20 * bench.ohm) / flat),
                 "signal_to_noise_reference_a_weighted_db": 20 * np.log10(np.sqrt(20 * bench.ohm) / weighted)}
        return {"n": samples}, {"n": truth}, {}


class Intermodulation(Case):
    channels, level = 12, -6.0

    def __init__(self, method):
        self.method, self.name = method, "intermodulation, " + method

    def test(self, bench):
        return [{"id": "i", "measure": "intermodulation", "method": self.method, "loads": bench.loads, "drive_dbfs": self.level}]

    def trial(self, shop, bench, random, effect):
        peak = IDEAL_V * 10 ** (self.level / 20)
        a2, a3 = 10 ** random.uniform(-3.5, -2) / peak, -(10 ** random.uniform(-3.5, -2)) / peak**2
        tone, rate = shop.tone("i")
        analog = fine_bench.amplify(tone, rate, laws.polynomial(a2, a3), IDEAL_V)
        ear = drawn_ear(random, effect, noise_v=10 ** random.uniform(-3.3, -2.5), hum_v=1e-3, hum_hz=random.uniform(49.9, 50.1))
        samples = recorded(bench, placed(drifted(analog.volts, analog.rate_hz, effect), analog.rate_hz, ear), ear, random)
        share = 0.8 if self.method == "modulation" else 0.5
        a, b = share * peak, (1 - share) * peak
        u1, u2 = a * (1 + 0.75 * a3 * a * a + 1.5 * a3 * b * b), b * (1 + 0.75 * a3 * b * b + 1.5 * a3 * a * a)
        # Elementary trigonometry, as in end_to_end/intermodulation_test.py.
        if self.method == "modulation":
            stem, second, third = "modulation_distortion", 200 * a2 * a * b / u2, 150 * abs(a3) * a * a * b / u2
        else:
            stem, second, third = "difference_frequency_distortion", 100 * a2 * a * b / (u1 + u2), 75 * abs(a3) * (a * a * b + b * b * a) / (u1 + u2)
        ones = np.ones(bench.channels)
        truth = {f"{stem}_2_percent": ones * second, f"{stem}_3_percent": ones * third, f"{stem}_percent": ones * np.hypot(second, third)}
        return {"i": samples}, {"i": truth}, {}


CASES = [Distortion(), Clipping(), Response(), Noise(), Intermodulation("modulation"), Intermodulation("difference-frequency")]


def tally_of(case, recordings, random, effect, report):
    tally = Tally()
    for _ in range(recordings * case.repeats):
        bench = case.bench(random)
        with program.Workshop(program.job_text(case.test(bench)), case.bench_text(bench), environment=program.WITHOUT_PAGES) as shop:
            samples, truths, wholes = case.trial(shop, bench, random, effect)
            outcome = shop.run(samples, RATE)
            if outcome.status != 0 and effect is NONE:
                report.check(False, f"{case.name}: a recording is accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
            if not outcome.has_session():
                continue
            for test, truth in truths.items():
                truth = truth(outcome) if callable(truth) else truth
                for i, load in enumerate(bench.loads):
                    tally.add(case.found(outcome, test, load), {key: float(values[i]) for key, values in truth.items()})
            for test, truth in wholes.items():
                # What the program itself chose (which rows, which lines) may be part of what the truth is of.
                truth = truth(outcome) if callable(truth) else truth
                tally.add(case.found(outcome, test), truth)
    return tally


def parts_of_coverage(recordings, seed, cases=CASES):
    """(name, what takes a report), each with a draw of its own."""
    def part(number, case, report):
        asked = max(1, round(recordings * case.share))
        tally = tally_of(case, asked, np.random.default_rng([seed, number]), NONE, report)
        tally.judge(report, f"{case.name}, {asked * case.repeats} recordings of {case.channels} channels", 60, case.absent_allowed)
    return [(case.name, partial(part, number, case)) for number, case in enumerate(cases)]


def coverage(report, recordings, seed, cases=CASES):
    for _, part in parts_of_coverage(recordings, seed, cases):
        part(report)
