"""A line unit: inputs in place of loads, volts and no watts, on recordings made in numpy.

Sources: harmonics of a polynomial and of a clipped sine in closed form (outside/closed_forms.py); gain and crosstalk are
factors that this script applies; noise is white and known in volts. Tolerances: 0.3 % of volts at 1 % (the design's 0.2 %
and half a bit of the fit), 0.3 dB of THD, 0.1 dB of noise and separation (the design), 0.01 dB of gain.
"""

import csv
import json
import re
import sys
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.optimize import brentq

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
GAIN = 10.0
RAIL_V = 12.0
LAW = (2e-3, 4e-4)
report = Report("Line unit")
OUTPUTS = [{"name": name, "channel": channel, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": 0.0}
           for channel, name in ((1, "left-out"), (2, "right-out"))]
INPUTS = [program.probe("probe-a", 1, driven_by=["left-out"]), program.probe("probe-b", 2, driven_by=["right-out"])]
LINE = {"kind": "line"}
CLEAN = {"id": "clean", "measure": "distortion", "inputs": ["probe-a"], "drive_dbfs": -14.0, "controls": "bass +6, treble flat"}
LARGEST = {"id": "largest", "measure": "clipping-power", "inputs": ["probe-a"], "distortion_limits_percent": [1], "from_dbfs": -20.0}
HISS = {"id": "hiss", "measure": "noise", "inputs": ["probe-a"], "reference_v": 2.0}
APART = {"id": "apart", "measure": "separation", "driven": "probe-a", "idle": "probe-b", "drive_dbfs": -12.0}
CLAIM = {"text": "8 V at 1 %", "test": "largest", "input": "probe-a", "quantity": "voltage_at_1_percent_v", "at_least": 8.0}


def bench_text(**more):
    return program.bench_text(**{"outputs": OUTPUTS, "inputs": INPUTS,
                                 "loads": [program.load("bleeder", 10000.0, "probe-b", driven_by=["right-out"])], **more})


def heard(shop, test, law):
    tone, rate = shop.tone(test, 1)
    analog = bench.amplify(np.concatenate([tone, np.zeros(rate // 4)]), rate, law, program.OUTPUT_V * GAIN)
    return bench.Recorder(rate_hz=RATE, ppm=20.0).record(analog, program.PROBE_V)


def volts_at_one_percent():
    clip = brentq(lambda c: closed_forms.thd(closed_forms.hard_clip(c, 20)) - 0.01, 0.5, 0.9999)
    return RAIL_V / clip * np.sqrt(closed_forms.hard_clip_mean_square(clip))


def run():
    with program.Workshop(program.job_text([CLEAN, LARGEST, HISS, APART], [CLAIM], LINE), bench_text()) as shop:
        noise_v = 1e-3
        noise = noise_v * np.sqrt(RATE / 2 / 19980) * np.random.default_rng(4).standard_normal(12 * RATE) / program.PROBE_V
        apart = heard(shop, "apart", laws.straight)
        outcome = shop.run({"clean": heard(shop, "clean", laws.polynomial(*LAW)), "largest": heard(shop, "largest", laws.hard_clip(RAIL_V)),
                            "hiss": noise, "apart": np.stack([apart, 1e-3 * apart], 1)})
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        session = outcome.session

        def value(test, name):
            return session["tests"][test]["inputs"]["probe-a"]["quantities"][name]["value"]

        amplitude = program.OUTPUT_V * GAIN * 10 ** (-14 / 20)
        harmonics = closed_forms.polynomial(*LAW, amplitude, 20)
        report.absolute("thd of the polynomial, dB", 20 * np.log10(value("clean", "thd_percent")), 20 * np.log10(100 * closed_forms.thd(harmonics)), 0.3)
        report.relative("largest volts at 1 %", value("largest", "voltage_at_1_percent_v"), volts_at_one_percent(), 0.3)
        report.absolute("gain", value("largest", "gain_db"), 20 * np.log10(GAIN), 0.01)
        # By the definition: the lowest peak from which half a decibel more drive gives a quarter of a decibel more peak.
        report.relative("onset of clipping", value("largest", "clip_onset_positive_v"), RAIL_V * 10 ** (-0.25 / 20), 1.0)
        report.absolute("signal to noise re 2 V", value("hiss", "signal_to_noise_reference_db"), 20 * np.log10(2.0 / noise_v), 0.1)
        report.absolute("separation", session["tests"]["apart"]["quantities"]["separation_1khz_db"]["value"], 60.0, 0.1)
        report.check(session["tests"]["clean"]["conditions"]["controls"] == "bass +6, treble flat", "controls travel")
        report.check(all("inputs" in test and "loads" not in test for test in session["tests"].values()), "results stand under inputs")
        text = json.dumps(session["tests"])
        report.check('_w"' not in text and '"W"' not in text and "1w" not in text, "no watts in the results")
        report.check(session["claims"][0]["verdict"] == "met", "a claim on an input is judged", str(session["claims"])[:200])
        verified = program.assay("verify", outcome.folder)
        report.check(verified.status == 0, "verify computes the same", verified.err.strip()[:200] + verified.out[-200:])
        shown = program.assay("show", outcome.folder)
        report.check(shown.status == 0 and "probe-a" in shown.out, "show works", shown.out[:300])
        every_command(outcome.folder)
        spoken = [line for line in shown.out.splitlines() if re.search(r"\d W\b|Ω|\bohms?\b|\bwatts?\b|\bpower\b|\bbridge", line)]
        report.check(not spoken, "show speaks of no watts and ohms", "; ".join(spoken)[:600])


def every_command(folder):
    """What else is done with a session: pages, curves, comparison."""
    for kind, made in (("html", "certificate.html"), ("pdf", "certificate.pdf"), ("png", "certificate.png"), ("csv", "curves/largest.probe-a.level.csv")):
        done = program.assay("certify", folder, "--format", kind)
        report.check(done.status == 0 and (folder / made).stat().st_size > 0, f"certify --format {kind}", done.err.strip()[:200])
    with (folder / "curves" / "largest.probe-a.level.csv").open() as file:
        columns = next(csv.reader(file))
    report.check("voltage_v" in columns and "power_w" not in columns, "its curve has volts and no watts", str(columns))
    page = re.sub(r"<(style|script|svg).*?</\1>|<[^>]*>", " ", (folder / "certificate.html").read_text(), flags=re.DOTALL)
    spoken = re.findall(r".{20}(?:\d W\b|\bwatts?\b|\bbridge).{20}", page)
    report.check("Line-level unit" in page and not spoken, "the page speaks of no watts", "; ".join(spoken)[:300])
    for option in ("--input", "--load"):
        done = program.assay("export", folder, "--test", "largest", option, "probe-a", "--format", "text")
        report.check(done.status == 0 and "voltage_v" in done.out and "power_w" not in done.out, f"export {option}", done.err.strip()[:200])
    several = program.assay("export", folder)
    report.check(several.status == 2 and "--input probe-a" in several.err, "export asks by inputs", several.err.strip()[:200])
    same = program.assay("compare", folder, folder, "--within", "5")
    report.check(same.status == 0 and "MATCHED within 5 %" in same.out and "largest output volts" in same.out and not re.search(r"\d W\b", same.out),
                 "compare with itself", same.err.strip()[:200] + same.out[-200:])


def tone_controls():
    """A bass control of first order, flat and up: SciPy's filter, through a card whose response is one; the unit is checked
    again later, when its control has been left elsewhere. Tolerance: 0.01 dB, the design's."""
    flat = {"id": "flat", "measure": "response", "inputs": ["probe-a"], "controls": {"bass": "flat"}}
    tests = [flat, {**flat, "id": "up", "controls": {"bass": "+6"}}]
    job = program.job_text([{**test, "controls": None} for test in tests], [{"text": "flat within 1 dB", "test": "flat", "input": "probe-a",
                                                                            "quantity": "deviation_20hz_20khz_db", "at_most": 1.0}], LINE)
    for test in tests:
        job = job.replace(f'id = "{test["id"]}"', f'id = "{test["id"]}"\ncontrols = {{ bass = "{test["controls"]["bass"]}" }}')
    corner_hz = 250.0

    def recorded(shop, test, rise_db):
        tone, rate = shop.tone(test, 1)
        high = 2 * np.pi * corner_hz
        shelf = signal.bilinear([1, 10 ** (rise_db / 20) * high], [1, high], rate)
        heard = signal.lfilter(*shelf, np.concatenate([tone, np.zeros(rate // 4)])) * program.OUTPUT_V * GAIN / program.PROBE_V
        return heard + 1e-6 * np.random.default_rng(7).standard_normal(len(heard))

    with program.Workshop(job, bench_text()) as shop:
        outcome = shop.run({"flat": recorded(shop, "flat", 0.0), "up": recorded(shop, "up", 6.0)})
        report.check(outcome.status == 0, "tone controls: accepted", outcome.err.strip()[:300])
        found = {test: outcome.findings(test)["inputs"]["probe-a"]["curves"]["response"] for test in ("flat", "up")}
        f = np.array(found["up"]["frequency_hz"])
        band = (f > 20) & (f < 20000)
        lift = np.array(found["up"]["magnitude_db"]) - np.array(found["flat"]["magnitude_db"])
        _, shelf = signal.freqs([1, 10 ** (6 / 20) * 2 * np.pi * corner_hz], [1, 2 * np.pi * corner_hz], worN=2 * np.pi * f)
        # The bilinear transform bends frequencies near half the rate, where this shelf is flat.
        report.absolute("bass up: furthest from SciPy's shelf, dB", float(np.max(np.abs(lift - 20 * np.log10(np.abs(shelf)))[band])), 0.0, 0.01)
        conditions = [outcome.findings(test)["conditions"]["controls"] for test in ("flat", "up")]
        report.check(conditions == ["bass flat", "bass +6"], "positions stand among the conditions", str(conditions))
        report.check(outcome.session["claims"][0]["verdict"] == "met", "the claim is on the flat position", str(outcome.session["claims"])[:200])
        again = shop.folder / "again"
        again.mkdir()
        for rise_db, word in ((0.0, "unchanged"), (6.0, "moved")):
            program.sound_files.write_wav(again / "flat.wav", 96000, recorded(shop, "flat", rise_db)[:, None], "pcm24")
            checked = program.assay("check", outcome.folder, "--recordings", again)
            last = checked.out.strip().splitlines()[-1] if checked.out.strip() else ""
            report.check(checked.status == 0 and (("unchanged:" in last) == (word == "unchanged")), f"check: bass left {rise_db:.0f} dB up", f"exit {checked.status}: {last} {checked.err.strip()[:200]}")


def bad_jobs():
    amplifier, table = {"kind": "amplifier"}, {**LINE}
    cases = (([LARGEST], (), amplifier, "inputs are for a line unit"),
             ([{**CLEAN, "inputs": None, "loads": ["bleeder"]}], (), table, "measured at inputs"),
             ([{**CLEAN, "inputs": ["probe-x"]}], (), table, "no input"),
             ([{**CLEAN, "inputs": None}], (), table, "inputs is missing"),
             ([{**CLEAN, "drive_dbfs": None, "power_w": 1.0}], (), table, "power_w"),
             ([{**HISS, "reference_v": None, "reference_power_w": 1.0}], (), table, "reference_power_w"),
             ([{"id": "w", "measure": "power-bandwidth", "inputs": ["probe-a"]}], (), table, "gives watts"),
             ([LARGEST], [{**CLAIM, "quantity": "power_at_1_percent_w"}], table, "in watts"),
             ([LARGEST], [{**CLAIM, "input": "probe-b"}], table, "has no input"))
    for tests, claims, unit, word in cases:
        with program.Workshop(program.job_text(tests, claims, unit), bench_text()) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
            report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"refused: {word}", done.err.strip()[:250])
    undriven = [program.probe("probe-a", 1), INPUTS[1]]
    with program.Workshop(program.job_text([LARGEST], (), LINE), bench_text(inputs=undriven)) as shop:
        done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "t")
        report.check(done.status == 2 and "driven_by" in done.err, "two outputs, and nothing says which", done.err.strip()[:250])


for part in (run, tone_controls, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
