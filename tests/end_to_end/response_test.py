"""The measure `response` on recordings made by the outside bench (numpy): its curves against the transfer function that
the bench applied, its harmonics against closed forms.

Sources: the filters are textbook transfer functions, applied in numpy by FFT on a fine grid; harmonics of a polynomial
are the closed forms of elementary trigonometry (x + a2 x^2: a2 A / 2; x + a3 x^3: a3 A^2 / 4 re 1 + 3 a3 A^2 / 4), which
is what a stepped tone of that level would show, each passed through the same filter at its own frequency. Tolerances
are the design's: 0.01 dB and 0.1 degrees from 20 Hz to 20 kHz at 60 dB signal to noise, 0.3 dB of a harmonic at -80 dB.
"""

import datetime
import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
GAIN = 15.0  # volts per volt at the unit's input
REFERENCE_V = 2.5
report = Report("Frequency response")


def high_pass(f, corner):
    return (1j * f / corner) / (1 + 1j * f / corner)


def low_pass(f, corner):
    return 1 / (1 + 1j * f / corner)


def second_order(f, corner, q):
    s = 1j * f / corner
    return 1 / (1 + s / q + s * s)


def unit(f):
    """A band-limited amplifier with a presence peak that is 1.2 dB high."""
    s = 1j * f / 3000
    peak = (1 + s * 1.148 / 2 + s * s) / (1 + s / 2 + s * s)
    return high_pass(f, 15.0) * second_order(f, 28000, 0.6) * peak


class Played:
    """One tone played through the unit, on a fine grid."""

    def __init__(self, shop, test, law=None, transfer=unit):
        self.shop = shop
        tone, rate = shop.tone(test)
        tone = np.concatenate([tone, np.zeros(rate // 2)])
        fine = bench.upsample(tone, 4, rate) * program.OUTPUT_V
        shaped = fine if law is None else law(fine)
        self.input = bench.Analog(4 * rate, fine)
        self.output = bench.Analog(4 * rate, bench.through(GAIN * shaped, 4 * rate, transfer, ring_s=2.0))

    def record(self, sign=1.0, reference=False, **settings):
        recorder = bench.Recorder(**{"rate_hz": RATE, "noise_dbfs": -130.0, **settings})
        load = recorder.record(self.output * sign, program.PROBE_V)
        if not reference:
            return load
        return np.stack([load, bench.Recorder(**{**vars(recorder), "seed": 7}).record(self.input, REFERENCE_V)], 1)


def curve(outcome, test):
    columns = outcome.findings(test, "load-a")["curves"]["response"]
    return {name: np.array([np.nan if v is None else v for v in values]) for name, values in columns.items()}


def crossing(transfer, down_db, low_hz, high_hz):
    """Where |transfer| is that far below 1 kHz, by bisection; falls from low_hz to high_hz or rises."""
    level = abs(transfer(1000.0)) * 10 ** (-down_db / 20)
    inside = lambda f: abs(transfer(f)) > level  # noqa: E731
    at_low = inside(low_hz)
    for _ in range(80):
        middle = np.sqrt(low_hz * high_hz)
        low_hz, high_hz = (middle, high_hz) if inside(middle) == at_low else (low_hz, middle)
    return low_hz


def less_delay(f, degrees):
    """Phase less its best-fit delay: a straight line by least squares, whose slope is taken off."""
    unwrapped = np.degrees(np.unwrap(np.radians(degrees)))
    slope = np.polyfit(f, unwrapped, 1)[0]
    left = unwrapped - slope * f
    return left - 180 * np.round(np.interp(1000, f, left) / 180)


def group_delay_s(transfer, f):
    """-d phase / d omega by a small difference."""
    step = 1e-5
    return -np.angle(transfer(f * (1 + step)) / transfer(f * (1 - step))) / (2 * np.pi * 2 * step * f)


def delay_taken_out_s(f, degrees):
    """The delay of the straight line that less_delay takes off."""
    return -np.polyfit(f, np.degrees(np.unwrap(np.radians(degrees))), 1)[0] / 360


def compare(name, c, transfer, phase, to_hz=20000, limit_db=0.01, limit_deg=0.1):
    f = c["frequency_hz"]
    band = (f >= 20) & (f <= to_hz)
    true = transfer(f)
    error_db = c["magnitude_db"] - 20 * np.log10(abs(true) * GAIN)
    report.check(np.max(abs(error_db[band])) <= limit_db, f"{name}: magnitude",
                 f"off by at most {np.max(abs(error_db[band])):.5f} dB of {limit_db}, at {f[band][np.argmax(abs(error_db[band]))]:.0f} Hz; "
                 f"{np.max(abs(error_db)):.4f} dB over the whole curve, {f[0]:.4g} to {f[-1]:.5g} Hz")
    expected = np.degrees(np.angle(true)) if phase == "absolute" else less_delay(f, np.degrees(np.angle(true)))
    error_deg = (c["phase_deg"] - expected + 180) % 360 - 180
    report.check(np.max(abs(error_deg[band])) <= limit_deg, f"{name}: phase",
                 f"off by at most {np.max(abs(error_deg[band])):.4f} degrees of {limit_deg}; {np.max(abs(error_deg)):.4f} over the whole curve")
    delay_s = group_delay_s(transfer, f) - (0 if phase == "absolute" else delay_taken_out_s(f, np.degrees(np.angle(true))))
    # The slope is read over a twelfth of an octave: 0.1 degrees of noise at both its ends are 0.007 of a period.
    error_periods = (1e-3 * c["group_delay_ms"] - delay_s) * f
    report.check(np.all(np.isfinite(error_periods[band])) and np.max(abs(error_periods[band])) <= 0.007, f"{name}: group delay",
                 f"off by at most {np.max(abs(error_periods[band])):.5f} of a period of 0.007; by {1e3 * np.max(abs(error_periods / f)[f > 1000]):.2g} us above 1 kHz")


def linear():
    # The reference input sits on channel 2.
    inputs = [program.probe("probe-a", 1), program.probe("ref", 2, volts_at_full_scale=REFERENCE_V, attenuation=1.0, role="reference")]
    tests = [{"id": "plain", "measure": "response", "loads": ["load-a"]},
             {"id": "referred", "measure": "response", "loads": ["load-a"], "reference": "ref"}]
    with program.Workshop(program.job_text(tests), program.bench_text(inputs=inputs)) as shop:
        on = Played(shop, "plain")
        referred = Played(shop, "referred")
        recorded_dbfs = 20 * np.log10(0.1 * program.OUTPUT_V * GAIN / program.PROBE_V)
        noisy = {"noise_dbfs": recorded_dbfs - 60}  # 60 dB below the tone as it is recorded
        outcome = shop.run({"plain": on.record(**noisy), "referred": referred.record(reference=True, **noisy)})
        report.check(outcome.status == 0, "60 dB S/N: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        compare("one clock, 60 dB S/N, gain from the output's volts", curve(outcome, "plain"), unit, "less delay")
        c = curve(outcome, "referred")
        compare("one clock, 60 dB S/N, against a reference", c, unit, "absolute", limit_db=0.012)
        report.check(outcome.findings("referred")["conditions"]["polarity.load-a"] == "upright", "polarity: upright")
        report.absolute("gain_1khz_db", outcome.value("plain", "gain_1khz_db"), 20 * np.log10(abs(unit(1000.0)) * GAIN), 0.01)
        for down in (3, 1):
            report.relative(f"lower_limit_{down}db_hz", outcome.value("plain", f"lower_limit_{down}db_hz"),
                            crossing(unit, down, 10, 1000), 0.2)
            report.relative(f"upper_limit_{down}db_hz", outcome.value("plain", f"upper_limit_{down}db_hz"),
                            crossing(unit, down, 10000, 40000), 0.2)
        grid = np.geomspace(20, 20000, 20001)
        report.absolute("deviation_20hz_20khz_db", outcome.value("plain", "deviation_20hz_20khz_db"),
                        np.max(abs(20 * np.log10(abs(unit(grid)) / abs(unit(1000.0))))), 0.01)

        clocks = shop.run({"plain": on.record(ppm=230.0, start_s=3.21), "referred": (referred.record(reference=True, sign=-1.0, rate_hz=48000, ppm=-310.0), 48000, "pcm24")})
        report.check(clocks.status == 0, "two clocks: accepted", f"exit {clocks.status} {clocks.err.strip()[:300]}")
        compare("clock +230 ppm", curve(clocks, "plain"), unit, "less delay")
        report.absolute("clock +230 ppm: clock_ppm", clocks.findings("plain")["conditions"]["clock_ppm"], 230, 0.01)
        compare("recorded at 48 kHz, clock -310 ppm, inverted", curve(clocks, "referred"), lambda f: -unit(f), "absolute")
        report.check(clocks.findings("referred")["conditions"]["polarity.load-a"] == "inverted", "polarity: inverted")

        hurt = on.record()
        middle = int((0.7 + 8.0) * RATE)
        for name, samples in (("300 samples lost", bench.lost(hurt, middle, 300)), ("a block of zeros", bench.silenced(hurt, middle, 480)),
                              ("a block twice", bench.repeated(hurt, middle, 480)), ("another signal", bench.music_like(len(hurt), RATE)),
                              ("overload", np.clip(hurt * 8, -1, 1)), ("cut short", hurt[:10 * RATE])):
            refused = shop.run({"plain": samples, "referred": None})
            first = refused.err.strip().splitlines()[0] if refused.err.strip() else ""
            report.check(refused.status == 3 and "plain" in first and "; " in first, f"{name}: refused", f"exit {refused.status} {first[:200]}")


def harmonics():
    level = 10 ** (-20 / 20) * program.OUTPUT_V  # peak volts at the unit's input at -20 dBFS
    a2, a3 = 2 * 1e-4 / level, 4 * 1e-4 / level**2
    law = lambda x: x + a2 * x * x + a3 * x * x * x  # noqa: E731
    transfer = lambda f: high_pass(f, 5.0) * low_pass(f, 60000)  # noqa: E731
    with program.Workshop(program.job_text([{"id": "plain", "measure": "response", "loads": ["load-a"]}])) as shop:
        on = Played(shop, "plain", law, transfer)
        outcome = shop.run({"plain": on.record(noise_dbfs=-110.0)})
        report.check(outcome.status == 0, "harmonics: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        c = curve(outcome, "plain")
        f = c["frequency_hz"]
        for order, ratio in ((2, a2 * level / 2), (3, a3 * level**2 / 4 / (1 + 0.75 * a3 * level**2))):
            band = (f >= 20) & (f * order <= 20000)
            expected = 100 * ratio * abs(transfer(order * f) / transfer(f))
            found = c[f"harmonic_{order}_percent"]
            error = 20 * np.log10(found[band] / expected[band])
            report.check(np.all(np.isfinite(error)) and np.max(abs(error)) <= 0.3,
                         f"harmonic {order} at -80 dB, 20 Hz to where it leaves 20 kHz",
                         f"off by at most {np.max(abs(error)):.4f} dB of 0.3, at {f[band][np.argmax(abs(error))]:.0f} Hz")
            report.check(np.all(np.isnan(found[f * order > 44000])), f"harmonic {order}: no number beyond the band")
        four = c["harmonic_4_percent"]
        # -100 dB: a tenth of those that are there; what is shown of it is noise of the recorder at its highest.
        report.check(np.nanmax(np.append(four, 0)) < 1e-3, "harmonic 4, which is not there", f"highest {np.nanmax(np.append(four, 0)):.2g} %")


def no_volts():
    outputs = [{"name": "drive", "channel": 1, "maximum_dbfs": 0.0}]
    with program.Workshop(program.job_text([{"id": "plain", "measure": "response", "loads": ["load-a"]}]),
                          program.bench_text(outputs=outputs)) as shop:
        outcome = shop.run({"plain": Played(shop, "plain").record()})
        report.check(outcome.status == 0 and outcome.value("plain", "gain_1khz_db") is None and "gain-unknown" in outcome.warnings("plain"),
                     "no volts of the output: no gain, with its reason", outcome.err.strip()[:200])
        c = curve(outcome, "plain")
        report.absolute("the curve is re 1 kHz then", c["magnitude_db"][np.argmin(abs(c["frequency_hz"] - 1000))], 0.0, 1e-6)


def card(f):
    """A cheap sound card, output to input: coupling at 6 Hz, a filter that droops, 0.3 ms on its way."""
    return high_pass(f, 6.0) * second_order(f, 26000, 0.8) * np.exp(-2j * np.pi * f * 3e-4)


def card_text(points, rate_hz=RATE, **more):
    f = np.geomspace(8, 43200, points)
    value = card(f)
    return json.dumps({"schema": "assay-response-1", "input": "probe-a", "rate_hz": rate_hz, "date": "2026-05-04", "frequency_hz": list(f),
                       "magnitude_db": list(20 * np.log10(abs(value)) - 7), "phase_deg": list(np.degrees(np.angle(value))), **more})


def doubts_and_age(shop, samples, text, plain):
    """The loopback's stated doubt, its age, its gain: `text` is its file, `plain` the run without any of them."""
    def run(**more):
        (shop.folder / "card.json").write_text(json.dumps({**text, **more}))
        outcome = shop.run({"plain": samples})
        found = outcome.findings("plain", "load-a")
        return outcome.warnings("plain"), found["quantities"].get("upper_limit_3db_hz"), found["curves"]["response"]
    report.check("loopback-exact" in plain.warnings("plain"), "a loopback without a stated doubt is taken as exact, and that is told")
    count = len(text["frequency_hz"])
    today = datetime.date.today()
    fresh = {"date": today.isoformat(), "standard_uncertainty_db": [0.0] * count}
    _, exact, c = run(**fresh)
    warned, wide, _ = run(**{**fresh, "standard_uncertainty_db": [0.2] * count})
    # Doubt of the magnitude moves the crossing by its slope: the slope is that of the unit's own closed form.
    f = exact["value"]
    slope = 20 * np.log10(abs(unit(np.array([f * 2**-0.02]))[0]) / abs(unit(np.array([f * 2**0.02]))[0])) / 0.04  # dB an octave
    expected = 2 * 0.2 * f * np.log(2) / slope
    added = np.sqrt(wide["expanded_uncertainty"] ** 2 - exact["expanded_uncertainty"] ** 2)
    report.relative("a doubt of 0.2 dB in the loopback widens the upper limit by its slope, Hz", added, expected, 2.0)
    report.check("loopback-" not in warned, "stated and fresh: nothing is said", warned[:200])
    old = (today - datetime.timedelta(days=400)).isoformat()
    warned, aged, c_old = run(**{**fresh, "date": old})
    # All of the correction as rectangular limits (JCGM 100, 4.3.7); the card's closed form re 1 kHz.
    correction = 20 * np.log10(abs(card(np.array([f]))[0] / card(np.array([1000.0]))[0]))
    added = np.sqrt(aged["expanded_uncertainty"] ** 2 - exact["expanded_uncertainty"] ** 2)
    report.relative("a loopback 400 days old: its correction is doubted, Hz", added, 2 * abs(correction) / np.sqrt(3) * f * np.log(2) / slope, 3.0)
    report.check("loopback-old" in warned and "400 days" in warned and c_old["magnitude_db"] == c["magnitude_db"], "it is still divided out, and that is told", warned[:200])
    stated = 20 * np.log10(program.OUTPUT_V / program.INPUT_V)
    warned, same, _ = run(**fresh, gain_db=stated + 0.8)
    report.check("recorder-in-the-curve" not in warned and same["value"] == exact["value"], "a gain as the scales say", warned[:200])
    warned, other, _ = run(**fresh, gain_db=stated - 3.0)
    report.check("recorder-in-the-curve" in warned and "a gain has been changed" in warned and other["value"] != exact["value"], "a gain 3 dB off: not divided, and told",
                 warned[:300])


def loopback():
    """The unit behind the card, and the card's own response by its loopback: what is left is the unit."""
    test = {"id": "plain", "measure": "response", "loads": ["load-a"]}
    for name, change in (("as the samples show it", {}), ("with its high-pass undone", {"high_pass_undone_hz": 6.0})):
        hp = high_pass if change else (lambda f, corner: 1.0 + 0 * f)
        probe = program.probe("probe-a", 1, response="card.json", high_pass_hz=6.0 if change else None)
        with program.Workshop(program.job_text([test]), program.bench_text(inputs=[probe])) as shop:
            text = json.loads(card_text(600, **change))
            f = np.array(text["frequency_hz"])
            text["magnitude_db"] = list(np.array(text["magnitude_db"]) - 20 * np.log10(abs(hp(f, 6.0))))
            text["phase_deg"] = list(np.array(text["phase_deg"]) - np.degrees(np.angle(hp(f, 6.0))))
            (shop.folder / "card.json").write_text(json.dumps(text))
            samples = Played(shop, "plain", transfer=lambda f: unit(f) * card(f)).record(noise_dbfs=-100.0)
            outcome = shop.run({"plain": samples})
            at_1khz = abs(card(np.array([1000.0]))[0])  # the scales say what 1 kHz is
            c = curve(outcome, "plain")
            c["magnitude_db"] = c["magnitude_db"] - 20 * np.log10(at_1khz)
            compare(f"the card divided out, its loopback {name}", c, unit, "less delay")
            report.check("card.json of 2026-05-04" in outcome.findings("plain")["conditions"].get("card_response.load-a", "")
                         and "recorder-in-the-curve" not in outcome.warnings("plain"), "and said so")
            again = program.assay("verify", outcome.folder, timeout=100)
            report.check(again.status == 0, "verify: the loopback is kept with the session", again.err.strip()[:200])
            if change:
                continue
            # Not divided where it does not belong to the recording, and that is told.
            for what, content in (("another rate", card_text(600, rate_hz=192000)), ("a narrow one", json.dumps(
                    {**json.loads(card_text(600)), **{k: json.loads(card_text(600))[k][60:500] for k in ("frequency_hz", "magnitude_db", "phase_deg")}}))):
                (shop.folder / "card.json").write_text(content)
                apart = shop.run({"plain": samples})
                off = np.max(abs(curve(apart, "plain")["magnitude_db"] - c["magnitude_db"]))
                report.check(apart.status == 0 and "recorder-in-the-curve" in apart.warnings("plain") and "card.json" in apart.warnings("plain") and off > 1.0,
                             f"{what}: not divided, and told", f"{off:.2f} dB apart")
            doubts_and_age(shop, samples, text, outcome)
            for what, content in (("no JSON", "{"), ("another file", card_text(600).replace("assay-response-1", "assay-match-1")),
                                  ("lists of unlike length", card_text(600).replace('"magnitude_db": [', '"magnitude_db": [0.0, ')),
                                  ("frequencies that fall", json.dumps({**json.loads(card_text(600)), "frequency_hz": list(np.geomspace(43200, 8, 600))}))):
                (shop.folder / "card.json").write_text(content)
                refused = shop.run({"plain": samples})
                report.check(refused.status == 2 and "card.json" in refused.err and len(refused.error_lines) == 1, f"{what}: refused", refused.err.strip()[:200])


def bad_jobs():
    for fields, word in (({"stop_hz": 47000.0}, "stop_hz"), ({"start_hz": 900.0, "stop_hz": 2000.0}, "start_hz")):
        job = program.job_text([{"id": "plain", "measure": "response", "loads": ["load-a"], **fields}])
        with program.Workshop(job) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"{fields}: refused", done.err.strip()[:200])


for part in (linear, harmonics, no_volts, loopback, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
