"""What a test of two channels says of the pair, and what the unit's input needs: channel balance, polarity, gain against
a reference, input sensitivity.

Sources: the channels are made in numpy with known gains, so balance is 20 lg of their ratio, the volts at the input for
the rated power are sqrt(P R) / gain (straight amplifier) or the closed-form inverse of the law (a cubic one: V1 = g x
(1 + 3/4 a3 x^2), total V from it and the third harmonic a3 x^3 / 4, elementary trigonometry). Polarity is the sign that
was put in, behind a delay and band limits (tests/unit/analysis/polarity_test.cpp has more of them). Tolerances: the design's 0.01 dB for
gains against frequency, 0.2 % of power for what an interpolation gives.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
GAIN = 15.0
REFERENCE_V = 2.5
report = Report("Channels and inputs")
SHORT = {"from_dbfs": -30.0, "step_db": 1.0}
TWO = {"inputs": [program.probe("probe-a", 1), program.probe("probe-b", 2),
                  program.probe("ref", 3, volts_at_full_scale=REFERENCE_V, attenuation=1.0, role="reference")],
       "loads": [program.load("load-a", 4.0, "probe-a"), program.load("load-b", 4.0, "probe-b")]}


def steady(shop, test, gains, law=laws.straight, reference_share=None, delay_s=0.0, **recorder):
    """A recording of the staircase: one channel a gain, and the reference where it is asked for."""
    tone, rate = shop.tone(test)
    columns = []
    for number, gain in enumerate(gains):
        analog = bench.amplify(tone, rate, law, GAIN * program.OUTPUT_V) * (gain / GAIN)
        columns.append(bench.Recorder(**{"rate_hz": RATE, "noise_dbfs": -115.0, "seed": number + 1, **recorder}).record(analog, program.PROBE_V))
    if reference_share is not None:
        own = bench.amplify(tone, rate, laws.straight, reference_share * program.OUTPUT_V)
        columns.append(bench.Recorder(**{"rate_hz": RATE, "noise_dbfs": -115.0, "seed": 9, **recorder}).record(own, REFERENCE_V))
    return np.stack(columns, 1)


def sensitivity():
    common = {"measure": "clipping-power", "loads": ["load-a", "load-b"]}
    tests = [{"id": "plain", **common, **SHORT, "rated_power_w": 20.0},
             {"id": "referred", **common, **SHORT, "reference": "ref", "rated_v": 5.0},
             {"id": "claimed", **common, **SHORT},
             {"id": "too-much", **common, **SHORT, "rated_power_w": 400.0}]
    claims = [{"text": "20 W", "test": "claimed", "load": name, "quantity": "power_at_1_percent_w", "at_least": 20.0} for name in ("load-a", "load-b")]
    with program.Workshop(program.job_text(tests, claims), program.bench_text(**TWO)) as shop:
        # Soft in the third order, a rail far above: 20 W into 4 ohm is 8.944 V RMS, 12.65 V peak.
        a3 = -2.0e-4
        law = laws.chain(laws.polynomial(0.0, a3), laws.hard_clip(18.0))
        gains = (15.0, -14.2)

        def input_for(volts_rms, gain):
            def total(x):
                inside = GAIN * x
                first, third = inside * (1 + 0.75 * a3 * inside**2), a3 * inside**3 / 4
                return np.sqrt((first**2 + third**2) / 2) * abs(gain) / GAIN - volts_rms
            return brentq(total, 0.01, 2.0) / np.sqrt(2)

        plain = steady(shop, "plain", gains, law)
        outcome = shop.run({"plain": plain, "claimed": steady(shop, "claimed", gains, law), "too-much": steady(shop, "too-much", gains, law),
                            "referred": steady(shop, "referred", gains, law, reference_share=0.8, ppm=120.0)})
        report.check(outcome.status == 0, "staircases: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        for load, gain in (("load-a", gains[0]), ("load-b", gains[1])):
            rated = np.sqrt(20.0 * 4.0)
            report.relative(f"input_sensitivity_v of {load}, 20 W", outcome.value("plain", "input_sensitivity_v", load), input_for(rated, gain), 0.1)
            report.relative(f"rated_v, by a reference at 0.8 of the output's volts, {load}", outcome.value("referred", "input_sensitivity_v", load),
                            0.8 * input_for(5.0, gain), 0.1)
            report.relative(f"the claims' power, {load}", outcome.value("claimed", "input_sensitivity_v", load), input_for(rated, gain), 0.1)
            report.absolute(f"gain_db by the output's volts, {load}", outcome.value("plain", "gain_db", load), 20 * np.log10(abs(gain)), 0.02)
            report.absolute(f"gain_db by the reference, {load}", outcome.value("referred", "gain_db", load), 20 * np.log10(abs(gain) / 0.8), 0.02)
            report.check(outcome.value("too-much", "input_sensitivity_v", load) is None and "rated-output-not-reached" in outcome.warnings("too-much"),
                         f"400 W: no number, with its reason, {load}")
        for test in ("plain", "referred"):
            node = outcome.findings(test)
            report.absolute(f"{test}: channel_balance_db", node["quantities"]["channel_balance_db"]["value"], 20 * np.log10(15.0 / 14.2), 0.002)
            report.check(node["conditions"]["loudest_channel"] == "load-a" and node["conditions"]["channel_polarity.load-b"] == "opposite to load-a"
                         and "both ends" in node["conditions"]["bridging"] and "channels-opposite" in outcome.warnings(test),
                         f"{test}: opposite, and what that is for a bridge", str(node["conditions"].get("bridging")))
        # Both probes have independent doubts of 0.5 %: 20 lg(1 + 0.005 sqrt 2), k = 2 (JCGM 100, 5.1.2).
        report.relative("uncertainty of the balance", outcome.findings("plain")["quantities"]["channel_balance_db"]["expanded_uncertainty"],
                        2 * 20 / np.log(10) * 0.005 * np.sqrt(2), 2.0)
        shown = program.assay("show", outcome.folder).out
        report.check("input volts for the rated output" in " ".join(shown.split()) and "channel balance" in shown and "bridging" in shown, "show names them")
        again = program.assay("verify", outcome.folder)
        report.check(again.status == 0, "verify computes them again", again.err.strip()[:200])
        silent = steady(shop, "referred", gains, law, reference_share=0.0)
        outcome = shop.run({"plain": None, "claimed": None, "too-much": None, "referred": silent})
        report.check(outcome.value("referred", "gain_db") is None and "reference-silent" in outcome.warnings("referred")
                     and outcome.value("referred", "power_at_1_percent_w") is not None, "a silent reference: no gain, the power stays")


def refused():
    outputs = [{"name": "left", "channel": 1, "maximum_dbfs": 0.0}, {"name": "right", "channel": 2, "maximum_dbfs": 0.0}]
    loads = [program.load("load-a", 4.0, "probe-a", driven_by=["left"]), program.load("load-b", 4.0, "probe-b", driven_by=["right"])]
    tests = [{"id": "plain", "measure": "clipping-power", "loads": ["load-a", "load-b"], **SHORT, "rated_power_w": 20.0, "to_dbfs": -3.0}]
    with program.Workshop(program.job_text(tests), program.bench_text(**{**TWO, "outputs": outputs, "loads": loads})) as shop:
        outcome = shop.run({"plain": steady(shop, "plain", (15.0, 15.0))})
        report.check(outcome.status == 0 and outcome.value("plain", "input_sensitivity_v") is None and "gain-unknown" in outcome.warnings("plain"),
                     "no volts of the output: no sensitivity", outcome.err[:200])
        report.check("channel_balance_db" not in outcome.findings("plain")["quantities"] and "inputs-unlike" in outcome.warnings("plain"),
                     "outputs of unknown volts: no balance")
    loads = [program.load("load-a", 4.0, "probe-a"), program.load("load-b", 8.0, "probe-b")]
    with program.Workshop(program.job_text(tests), program.bench_text(**{**TWO, "loads": loads})) as shop:
        outcome = shop.run({"plain": steady(shop, "plain", (15.0, 15.0))})
        report.check("channel_balance_db" not in outcome.findings("plain")["quantities"] and "channels-unlike" in outcome.warnings("plain"),
                     "4 and 8 ohm: no balance")
        report.check(outcome.findings("plain")["conditions"]["channel_polarity.load-b"] == "alike with load-a"
                     and "inverted" in outcome.findings("plain")["conditions"]["bridging"], "alike, and what that is for a bridge")
    for more, word in (({"rated_v": 3.0}, "rated_v"), ({"rated_power_w": -1.0}, "rated_power_w")):
        job = program.job_text([{**tests[0], **more}])
        with program.Workshop(job, program.bench_text(**TWO)) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{more}: refused", done.err.strip()[:200])


def one_level():
    with program.Workshop(program.job_text([{"id": "plain", "measure": "distortion", "loads": ["load-a", "load-b"]}]), program.bench_text(**TWO)) as shop:
        outcome = shop.run({"plain": steady(shop, "plain", (15.0, 15.6), ppm=-200.0)})
        report.absolute("distortion: channel_balance_db", outcome.findings("plain")["quantities"]["channel_balance_db"]["value"], 20 * np.log10(15.6 / 15.0), 0.001)
        report.check(outcome.findings("plain")["conditions"]["loudest_channel"] == "load-b", "the loudest is named")


def one_step():
    """A single step tells the balance as well as its noise lets it: white noise of sigma makes an amplitude of N samples
    uncertain by sigma sqrt(2 / N) (least squares, closed form), and both channels have it."""
    inputs = [program.probe(name, channel, uncertainty_percent=1e-5) for channel, name in enumerate(("probe-a", "probe-b"), 1)]
    tests = [{"id": "plain", "measure": "clipping-power", "loads": ["load-a", "load-b"], "from_dbfs": -8.0, "to_dbfs": -6.0, "step_db": 6.0}]
    with program.Workshop(program.job_text(tests), program.bench_text(inputs=inputs, loads=TWO["loads"])) as shop:
        noise_dbfs = -60.0
        outcome = shop.run({"plain": steady(shop, "plain", (15.0, 15.0), noise_dbfs=noise_dbfs)})
        report.check(outcome.status == 0, "one step: accepted", outcome.err.strip()[:200])
        balance = outcome.findings("plain")["quantities"]["channel_balance_db"]
        sigma = 10 ** (noise_dbfs / 20) / np.sqrt(2)
        amplitude = 10 ** (-6 / 20) * 15.0 * program.OUTPUT_V / program.PROBE_V
        samples = (0.3 - 0.06 - 0.005) * RATE
        by_hand = 2 * 20 / np.log(10) * np.sqrt(2) * sigma * np.sqrt(2 / samples) / amplitude
        report.relative("one step: channel_balance_db's expanded uncertainty", balance["expanded_uncertainty"], by_hand, 10.0)


def no_load():
    """A load of no resistance has volts and no watts; a scale that states no doubt is told of, the reference's too."""
    exact = [program.probe("probe-a", 1), program.probe("ref", 2, volts_at_full_scale=REFERENCE_V, attenuation=1.0, role="reference",
                                                         uncertainty_percent=None)]
    loads = [{"name": "open", "resistance_ohm": float("inf"), "plus": "probe-a"}]
    tests = [{"id": "plain", "measure": "distortion", "loads": ["open"], "reference": "ref"}]
    with program.Workshop(program.job_text(tests), program.bench_text(inputs=exact, loads=loads)) as shop:
        outcome = shop.run({"plain": steady(shop, "plain", (15.0,), reference_share=0.5)})
        report.check(outcome.status == 0 and outcome.value("plain", "power_w", "open") is None, "no load: accepted, and no watts", outcome.err.strip()[:300])
        report.relative("no load: voltage_v", outcome.value("plain", "voltage_v", "open"), 0.1 * 15.0 * program.OUTPUT_V / np.sqrt(2), 0.1)
        report.check("load_ohm.open" not in outcome.findings("plain")["conditions"], "no load: no ohms among the conditions")
        report.check('taken-as-exact: input "ref"' in outcome.warnings("plain"), "a reference that states no doubt is told of", outcome.warnings("plain")[:300])
        sheet = (shop.folder / "tones" / "PLAY.txt").read_text()
        report.check("no load" in sheet and "inf ohm" not in sheet, "no load: PLAY.txt", [line for line in sheet.splitlines() if "open" in line][0])


def high_pass(f, corner):
    return (1j * f / corner) / (1 + 1j * f / corner)


def low_pass(f, corner, q=0.7):
    s = 1j * f / corner
    return 1 / (1 + s / q + s * s)


def swept():
    """Transfer functions by channel: full band, with another treble, late by many turns, upside down."""
    full = lambda f: high_pass(f, 12.0) * low_pass(f, 45000)  # noqa: E731
    treble = lambda f: full(f) * (1 + 0.02 * f / (f + 4000))  # noqa: E731
    late = lambda f: full(f) * np.exp(-2j * np.pi * f * 2.617e-3)  # noqa: E731
    tests = [{"id": "pair", "measure": "response", "loads": ["load-a", "load-b"], "reference": "ref"}]
    with program.Workshop(program.job_text(tests), program.bench_text(**TWO)) as shop:
        tone, rate = shop.tone("pair")
        fine = bench.upsample(np.concatenate([tone, np.zeros(rate // 2)]), 4, rate) * program.OUTPUT_V

        def recorded(transfer, volts, seed):
            volts_out = bench.through(fine, 4 * rate, transfer)
            return bench.Recorder(rate_hz=RATE, noise_dbfs=-110.0, seed=seed).record(bench.Analog(4 * rate, volts_out), volts)

        own = recorded(lambda f: 1.0 + 0 * f, REFERENCE_V, 5)
        grid = np.geomspace(20, 20000, 4001)
        for name, first, second, signs, expected in (
                ("a treble that differs", full, treble, (15, -14), ("upright", "inverted", "opposite to load-a")),
                ("late by 2.6 turns at 1 kHz", full, late, (-15, -15), ("inverted", "inverted", "alike with load-a"))):
            outcome = shop.run({"pair": np.stack([recorded(lambda f: signs[0] * first(f), program.PROBE_V, 1),
                                                  recorded(lambda f: signs[1] * second(f), program.PROBE_V, 2), own], 1)})
            conditions = outcome.findings("pair")["conditions"]
            found = tuple(conditions.get(key) for key in ("polarity.load-a", "polarity.load-b", "channel_polarity.load-b"))
            report.check(found == expected, f"{name}: polarity", str(found))
            quantities = outcome.findings("pair")["quantities"]
            ratio = lambda at: abs(20 * np.log10(abs(signs[0] * first(at) / (signs[1] * second(at)))))  # noqa: E731
            report.absolute(f"{name}: channel_balance_1khz_db", quantities["channel_balance_1khz_db"]["value"], ratio(np.array([1000.0]))[0], 0.01)
            report.absolute(f"{name}: channel_balance_20hz_20khz_db", quantities["channel_balance_20hz_20khz_db"]["value"], np.max(ratio(grid)), 0.012)


for part in (sensitivity, refused, one_level, one_step, no_load, swept):
    report.guarded(part.__name__, part)
report.finish()
