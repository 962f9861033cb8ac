"""The plots of the certificate, of sessions whose curves are closed forms: what is drawn, what a pointer and a finger read,
what stands in the labels, and the same curves as CSV.

Outside sources: Chromium (where each text stands, what a pointer reads), gnuplot's own grid, closed forms named below,
the relative luminance of WCAG 2.1 (grey), the csv module (RFC 4180).
"""

import csv
import io
import json
import math
import os
import re
import shutil
import sys
import xml.dom.minidom
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import browser, made_session as made, program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The plots")

LOADS = ("load-a", "load-b")
F = list(np.geomspace(10, 40000, 97))
OCTAVES = [20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 20000.0]
HOSTILE = ("'; set output \"/tmp/x\"; `touch hostile`; $(id) #\\\" <b>&amp;</b>\n'\"", "W" * 10000, "שמאל 4 Ω", "{/Symbol a}@_^%1$s %d ~")


def high_pass(f, corner):
    """First-order high-pass and low-pass: the textbook's transfer function."""
    return 31.6 * (1j * f / corner) / (1 + 1j * f / corner) / (1 + 1j * f / 60000)


def impedance(f, fs=42.0, res=30.0):
    """Re 6, Le 0.6 mH, one resonance (R. H. Small, JAES 20(5), 1972)."""
    detuning = 4 * (f / fs - fs / f)
    return 6 + res / (1 + 1j * detuning) + 2j * math.pi * f * 0.6e-3


def level(scale):
    watts = [0.01 * 1.5 ** k for k in range(22)]
    return {"drive_dbfs": [10 * math.log10(w) - 30 for w in watts], "voltage_v": [math.sqrt(4 * w) for w in watts], "power_w": [scale * w for w in watts],
            "thd_percent": [0.02 + (w / 45) ** 8 for w in watts], "thd_plus_noise_percent": [0.05 + (w / 45) ** 8 for w in watts]}


def response(corner):
    gain = [high_pass(f, corner) for f in F]
    return {"frequency_hz": F, "magnitude_db": [20 * math.log10(abs(g)) for g in gain], "phase_deg": [math.degrees(np.angle(g)) for g in gain],
            "group_delay_ms": [1e3 / (2 * math.pi * corner) / (1 + (f / corner) ** 2) for f in F],
            **{f"harmonic_{n}_percent": [0.1 / n ** 2 * (1 + f / 8000) if n * f < 20000 else None for f in F] for n in (2, 3, 4, 5)}}


def harmonics(scale):
    orders = list(range(2, 11))
    shown = [scale * 0.08 / n ** 2 if n < 8 else None for n in orders]
    return {"order": orders, "frequency_hz": [997.0 * n for n in orders], "level_percent": shown,
            "level_expanded_uncertainty_percent": [None if v is None else 0.1 * v for v in shown], "floor_percent": [0.0006] * len(orders)}


def curves_of_driver(fs):
    z = [impedance(f, fs) for f in F if f <= 20000]
    f = [x for x in F if x <= 20000]
    measured = {"frequency_hz": f, "magnitude_ohm": [abs(v) for v in z], "phase_deg": [math.degrees(np.angle(v)) for v in z],
                "magnitude_expanded_uncertainty_ohm": [0.03 * abs(v) for v in z], "phase_expanded_uncertainty_deg": [2.0] * len(z),
                "scatter_ohm": [0.001] * len(z)}
    # The measured curve lies 1 % above the model and half a degree before it.
    fit = {"frequency_hz": f, "magnitude_ohm": measured["magnitude_ohm"], "phase_deg": measured["phase_deg"],
           "model_magnitude_ohm": [abs(v) / 1.01 for v in z], "model_phase_deg": [p - 0.5 for p in measured["phase_deg"]],
           "residual_percent": [1.3] * len(z)}
    return measured, fit


def power(watts):
    return made.quantity(watts, "W", {"load:load-a:resistance": 0.02 * watts})


def amplifier_tests(loads=LOADS):
    gain = {"gain_1khz_db": made.quantity(30.0, "dB", {"input:probe-a:scale": 0.1}), "lower_limit_3db_hz": made.quantity(12.0, "Hz", {"test:sweep:noise": 0.2})}
    some = [60.0, 63.0, 64.0, 64.0, 64.0, 64.0, 63.0, 62.0, 70.0, 68.0]
    band = {"frequency_hz": OCTAVES, "power_w": some, "power_expanded_uncertainty_w": [3.0] * 10,
            "harmonics_in_band": [max(int(20000 / f) - 1, 0) for f in OCTAVES], "power_at_10_percent_w": [1.2 * w for w in some]}
    apart = {"frequency_hz": OCTAVES, "separation_db": [80.0, 80, 79, 78, 75, 70, 64, 56, None, None],
             "separation_at_least_db": [80.0, 80, 79, 78, 75, 70, 64, 56, 52, 48]}
    source = {"frequency_hz": F, "magnitude_ohm": [0.02 * math.hypot(1, f / 3000) for f in F], "scatter_ohm": [0.001] * len(F)}
    minutes = [0.25 * k for k in range(121)]
    log = {"minutes": minutes, "voltage_v": [14 - 0.05 * m for m in minutes], "power_w": [(14 - 0.05 * m) ** 2 / 4 for m in minutes],
           "thd_percent": [0.05 * 1.02 ** m for m in minutes]}
    a, b = loads
    return {
        "power": made.test("clipping-power", loads={
            a: made.findings({"power_at_1_percent_w": power(46.0), "clip_onset_w": power(40.0)}, {"level": level(1.0)}),
            b: made.findings({"power_at_1_percent_w": power(44.0)}, {"level": level(0.96)})}, conditions={"limit_on": "thd", "frequency_hz": 997.0}),
        "clean": made.test("distortion", loads={load: made.findings({"thd_percent": made.quantity(0.03, "%", {})}, {"harmonics": harmonics(1 + i)})
                                                for i, load in enumerate(loads)}),
        "sweep": made.test("response", loads={load: made.findings(gain, {"response": response(12.0 + 8 * i)}) for i, load in enumerate(loads)}),
        "apart": made.test("separation", made.findings({}, {"separation": apart})),
        "band": made.test("power-bandwidth", loads={a: made.findings({}, {"power": band})}, conditions={"limit_percent": 1.0}),
        "source": made.test("output-impedance", made.findings({}, {"output_impedance": source})),
        "held": made.test("endurance", loads={load: made.findings({}, {"log": log}) for load in loads}),
    }


def driver_tests(fs=42.0):
    measured, fit = curves_of_driver(fs)
    return {"free-air": made.test("impedance", made.findings({"resonance_hz": made.quantity(fs, "Hz", {"test:free-air:noise": 0.01})}, {"impedance": measured})),
            "parameters": made.test("driver-parameters", made.findings({"fs_hz": made.quantity(fs, "Hz", {"test:free-air:noise": 0.01})}, {"fit": fit}),
                                    conditions={"fit_from_hz": 10.0, "fit_to_hz": 5000.0})}


def claim(test, quantity, at_least, load=""):
    return {"load": load, "text": "as advertised", "test": test, "quantity": quantity, "verdict": "undecided",
              "measured": made.quantity(at_least, quantity.split("_")[-1].replace("hz", "Hz").replace("w", "W").replace("db", "dB"), {"x": 1.0}),
              "limit": {"at_least": at_least}, "reason": "-"}


def with_claims(document):
    document["simulated"] = True
    document["claims"] = [claim("power", "power_at_1_percent_w", 22.0, "load-a"), claim("sweep", "lower_limit_3db_hz", 20.0, "load-a"),
                          claim("apart", "separation_1khz_db", 60.0), claim("band", "upper_limit_hz", 15000.0, "load-a")]


class Drawing:
    def __init__(self, file):
        self.text = file.read_text()
        self.frames = [[float(v) for v in one.split()] for one in re.search(r'data-frame="([^"]+)"', self.text)[1].split(";")]
        self.curves = json.loads(re.search(r'data-curves="([^"]+)"', self.text)[1].replace("&quot;", '"').replace("&amp;", "&").replace("&#39;", "'"))
        paths = [re.findall(r"(-?[\d.]+),(-?[\d.]+)", d) for d in re.findall(r"<path[^>]*\sd='([^']*)'", self.text)]
        paths += [re.findall(r"(-?[\d.]+),(-?[\d.]+)", d) for d in re.findall(r"<polygon[^>]*\spoints = '([^']*)'", self.text)]
        self.drawn = np.array([[float(x), float(y)] for path in paths for x, y in path])

    def at(self, x, y, panel=0, second=False):
        f = self.frames[panel]
        along = lambda v, a, b, log: math.log(v / a) / math.log(b / a) if log else (v - a) / (b - a)  # noqa: E731
        part = along(y, f[10], f[11], False) if second else along(y, f[6], f[7], f[9])
        return f[0] + (f[1] - f[0]) * along(x, f[4], f[5], f[8]), f[2] + (f[3] - f[2]) * part

    def worst(self, xs, ys, panel=0, second=False):
        """Pixels from what is given to the nearest corner of what is drawn, for every ninth point inside the sheet."""
        f, worst, count = self.frames[panel], 0.0, 0
        for x, y in list(zip(xs, ys))[::9]:
            if y is None or not (f[9] == 0 or y > 0):
                continue
            px, py = self.at(x, y, panel, second)
            if not (f[0] <= px <= f[1] and f[3] <= py <= f[2]):
                continue
            count += 1
            worst = max(worst, float(np.min(np.max(np.abs(self.drawn - [px, py]), axis=1))))
        return worst, count


def drawn_where_it_should(folder, tests):
    measured, fit = curves_of_driver(42.0)
    r = tests["sweep"]["loads"]["load-a"]["curves"]["response"]
    lv = tests["power"]["loads"]["load-b"]["curves"]["level"]
    log = tests["held"]["loads"]["load-a"]["curves"]["log"]
    band = tests["band"]["loads"]["load-a"]["curves"]["power"]
    apart = tests["apart"]["curves"]["separation"]
    source = tests["source"]["curves"]["output_impedance"]
    for file, what, xs, ys, panel, second in (
            ("power-level", "distortion", lv["power_w"], lv["thd_percent"], 0, False), ("sweep-response", "gain", F, r["magnitude_db"], 0, False),
            ("sweep-response", "phase", F, r["phase_deg"], 0, True), ("sweep-harmonics", "2nd harmonic", F, r["harmonic_2_percent"], 0, False),
            ("sweep-harmonics", "5th harmonic", F, r["harmonic_5_percent"], 0, False), ("apart-separation", "separation", OCTAVES, apart["separation_db"], 0, False),
            ("band-power", "power", OCTAVES[:8], band["power_w"], 0, False), ("source-output-impedance", "ohms", F, source["magnitude_ohm"], 0, False),
            ("held-log", "volts", log["minutes"], log["voltage_v"], 0, False), ("held-log", "watts", log["minutes"], log["power_w"], 1, False),
            ("held-log", "THD", log["minutes"], log["thd_percent"], 2, False),
            ("parameters-impedance", "model", fit["frequency_hz"], fit["model_magnitude_ohm"], 0, False),
            ("parameters-impedance", "model's phase", fit["frequency_hz"], fit["model_phase_deg"], 1, False),
            ("parameters-residual", "1 % more than the model", fit["frequency_hz"], [1.0] * len(fit["frequency_hz"]), 0, False),
            ("parameters-residual", "0.5 degrees before it", fit["frequency_hz"], [0.5] * len(fit["frequency_hz"]), 1, False)):
        worst, count = Drawing(folder / f"plots/{file}.svg").worst(xs, ys, panel, second)
        # Half the width of a line (2.2 pixels).
        report.check(count > 0 and worst < 1.1, f"{file}: {what} is drawn where it is", f"{worst:.2f} pixels, {count} points")
    svg = Drawing(folder / "plots/clean-harmonics.svg")
    tops = harmonics(1.0)
    worst = max(abs(svg.at(2, v)[1] - svg.at(2, v)[1]) + float(np.min(np.abs(svg.drawn[:, 1] - svg.at(2, v)[1]))) for v in tops["level_percent"] if v)
    report.check(worst < 1.1, "clean-harmonics: bars end where the harmonics are", f"{worst:.2f} pixels")


def bands(folder):
    """gnuplot's filled outline passes value plus and less the stated uncertainty."""
    near = min(F, key=lambda f: abs(f - 1000))  # one of the curve's own frequencies
    ohms = abs(impedance(near))
    source = 0.02 * math.hypot(1, near / 3000)
    for file, ends in (("parameters-impedance", (0.97 * ohms, 1.03 * ohms)), ("source-output-impedance", (source - 0.002, source + 0.002))):
        svg = Drawing(folder / f"plots/{file}.svg")
        worst = max(float(np.min(np.max(np.abs(svg.drawn - svg.at(near, v)), axis=1))) for v in ends)
        report.check(worst < 1.1 and "fill-opacity" in svg.text, f"{file}: the band ends at the stated uncertainty", f"{worst:.2f} pixels")
    svg = Drawing(folder / "plots/band-power.svg")
    worst = max(float(np.min(np.max(np.abs(svg.drawn - svg.at(1000.0, w)), axis=1))) for w in (61.0, 67.0))
    report.check(worst < 1.1, "band-power: bars end at 61 and 67 W of 64 ± 3 W", f"{worst:.2f} pixels")


def words_in(svg):
    return [re.sub("<[^>]*>", "", text) for text in re.findall(r"<text[^>]*>(.*?)</text>", svg, re.DOTALL)]


def texts_of(folder, file):
    return words_in((folder / f"plots/{file}.svg").read_text())


def labels(folder):
    for file, wanted in (("sweep-response", ["10", "20", "50", "100", "1k", "10k", "-3 dB", "-1 dB", "claimed 20 Hz", "frequency / Hz", "gain / dB", "phase / °"]),
                         ("power-level", ["claimed 22 W", "1 % limit", "clipping begins", "power into the load / W", "distortion (THD) / %"]),
                         ("apart-separation", ["claimed 60 dB at 1 kHz", "at least"]), ("band-power", ["claimed 15000 Hz", "by the fall of gain", "half the power at 1 kHz"]),
                         ("clean-harmonics", ["harmonic", "below the bench's floor", "2", "10"]), ("parameters-impedance", ["impedance / Ω", "phase / °", "fs 42 Hz"]),
                         ("parameters-residual", ["magnitude / %", "fit to here"]), ("held-log", ["time / min", "output (RMS) / V", "THD / %"])):
        texts = [text.replace("&#39;", "'").strip() for text in texts_of(folder, file)]
        missing = [word for word in wanted if not any(word == text or (len(word) > 5 and word in text) for text in texts)]
        report.check(not missing, f"{file}: ticks, claims and axes as people write them", f"missing {missing} of {texts}" if missing else "")
    marked = [f.name for f in (folder / "plots").glob("*.svg") if "SIMULATED BENCH" not in f.read_text() or "shows no real unit" not in f.read_text()]
    report.check(not marked, "every plot bears the mark of the simulated bench", str(marked))
    # Open circles where the fall of gain judged: 10 and 20 kHz of both limits, filled ones at the eight others.
    band = (folder / "plots/band-power.svg").read_text()
    report.check(band.count("stroke-dasharray") > 0 and "fall of gain" in band, "what the fall of gain judged is drawn apart")


def grey():
    """Relative luminance by WCAG 2.1; each pen has a dash of its own besides."""
    text = (program.SOURCE / "cli/certificate/plots/plot_pens.h").read_text()
    pens = re.findall(r'\{"(#\w{6})", "#\w{6}", "([^"]+)", (\d+)', text)
    linear = lambda c: c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4  # noqa: E731
    bright = sorted(sum(w * linear(int(colour[i:i + 2], 16) / 255) for w, i in ((0.2126, 1), (0.7152, 3), (0.0722, 5))) for colour, _, _ in pens)
    ratios = [(b + 0.05) / (a + 0.05) for a, b in zip(bright, bright[1:])]
    white = [1.05 / (b + 0.05) for b in bright]
    report.check(len(pens) == 4 and len({dash for _, dash, _ in pens}) == 4 and len({shape for _, _, shape in pens}) == 4, "each pen has a dash and a shape of its own")
    report.check(min(ratios) > 1.08 and min(white) > 3.0, "pens differ in grey, and stand out from white by 3:1 (WCAG 1.4.11)",
                 "steps " + ", ".join(f"{r:.2f}" for r in ratios) + "; from white " + ", ".join(f"{w:.1f}" for w in white))


WHERE = """(() => [...document.querySelectorAll('figure svg')].map(svg => { const box = svg.getBoundingClientRect();
  const texts = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim() && !/SIMULATED|no real unit/.test(t.textContent)).map(t => {
    const r = t.getBoundingClientRect(); return [t.textContent.trim(), r.left - box.left, r.top - box.top, r.right - box.left, r.bottom - box.top]; });
  return [box.width, box.height, texts]; }))()"""


def nothing_cut(chromium, page, width, names):
    chromium.open(page, width)
    for name, (wide, high, texts) in zip(names, chromium.value(WHERE)):
        cut = [t[0] for t in texts if t[1] < -0.5 or t[2] < -0.5 or t[3] > wide + 0.5 or t[4] > high + 0.5]
        # A line of text holds air above and below its letters: a quarter of its height.
        hits = []
        for i, a in enumerate(texts):
            for b in texts[i + 1:]:
                dx, dy = min(a[3], b[3]) - max(a[1], b[1]), min(a[4], b[4]) - max(a[2], b[2])
                air = 0.25 * min(a[4] - a[2], b[4] - b[2], a[3] - a[1], b[3] - b[1]) + 0.5
                if dx > air and dy > air:
                    hits.append(f"{a[0]!r} on {b[0]!r}")
        report.check(not cut and not hits and len(texts) > 5, f"{name} at {width} px: no text is cut, none lies on another", "; ".join(cut + hits)[:300] or f"{len(texts)} texts")


def pointer(chromium, page, names):
    """On every plot, at three places, by mouse and by finger: the pointer says what the page's own data have there."""
    chromium.open(page, 1280)
    count = chromium.value("document.querySelectorAll('figure svg[data-curves]').length")
    report.check(count == chromium.value("document.querySelectorAll('figure svg').length") == len(names), "every plot can be read", f"{count} of {len(names)}")
    for finger in (False, True):
        if finger:
            chromium.call("Emulation.setTouchEmulationEnabled", enabled=True)
            chromium.open(page, 390)
        for i, name in enumerate(names):
            node = f"document.querySelectorAll('figure svg[data-curves]')[{i}]"
            chromium.value(f"{node}.scrollIntoView({{block: 'center'}})")
            box = json.loads(chromium.value(f"JSON.stringify({node}.getBoundingClientRect())"))
            frames = [[float(v) for v in one.split()] for one in chromium.value(f"{node}.getAttribute('data-frame')").split(";")]
            data = json.loads(chromium.value(f"{node}.getAttribute('data-curves')"))
            view = chromium.value(f"{node}.viewBox.baseVal.width")
            f = frames[0]
            off = []
            for share in (0.2, 0.5, 0.8):
                at = f[0] + share * (f[1] - f[0])
                x, y = box["left"] + at * box["width"] / view, box["top"] + box["height"] / 2
                if finger:
                    chromium.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
                    chromium.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
                else:
                    chromium.point_at(x, y)
                said = chromium.value(f"{node}.parentNode.querySelector('.readout').textContent")
                for curve in data["curves"]:
                    place = lambda p: f[0] + (f[1] - f[0]) * (math.log((p + curve["shift"]) / f[4]) / math.log(f[5] / f[4]) if f[8] else (p + curve["shift"] - f[4]) / (f[5] - f[4]))  # noqa: E731
                    inside = [p for p in curve["points"] if min(f[4], f[5]) <= p[0] <= max(f[4], f[5])]
                    nearest = min(inside, key=lambda p: abs(place(p[0]) - at))
                    if abs(place(nearest[0]) - at) > 58:
                        continue
                    heard = re.search("\u2068" + re.escape(curve["name"]) + "\u2069[^·]*: (-?[\\d.e-]+) " + re.escape(curve["unit"]), said)
                    # Pixels are whole ones for a finger: a neighbour's point may be as near.
                    near = [p[1] for p in inside if abs(place(p[0]) - at) < abs(place(nearest[0]) - at) + 2.5]
                    if not heard or not any(abs(float(heard[1]) - v) <= 0.006 * abs(v) + 1e-12 for v in near):
                        off.append(f"{curve['name']} at {share}: {said!r}, has {near}")
            report.check(not off, f"{name}: {'a finger' if finger else 'the pointer'} reads each curve", "; ".join(off)[:400])
    chromium.call("Emulation.setTouchEmulationEnabled", enabled=False)


def without_scripts(chromium, page):
    chromium.call("Emulation.setScriptExecutionDisabled", value=True)
    chromium.open(page, 1280)
    report.check(chromium.complaints() == [], "without scripts every plot stands, and nothing complains")
    chromium.call("Emulation.setScriptExecutionDisabled", value=False)


def hostile(frame):
    """Names that gnuplot, a shell, XML or a page would take for their own."""
    for i, name in enumerate(HOSTILE):
        tests = {**amplifier_tests((name, "load-b")), **driver_tests()}

        def rename(document):
            document["simulated"] = True
            document["unit"]["serial"] = name

        folder = frame.session(f"hostile-{i}", tests, rename)
        done = program.assay("certify", folder, "--format", "html")
        files = sorted((folder / "plots").glob("*.svg"))
        texts = [text for file in files for text in texts_of(folder, file.stem)]
        shown = [text for text in texts if (name[:6].replace("'", "&#39;") in text)]
        page = (folder / "certificate.html").read_text()
        report.check(done.status == 0 and len(files) == 10 and len(shown) >= 4, f"a load named {name[:24]!r} is drawn as text", f"exit {done.status}, {len(files)} plots, {len(shown)} labels {done.err[:200]}")
        odd = [t for t in texts if len(t) > 130 or "\n" in t]
        report.check(not odd and not Path("hostile").exists() and not (folder / "hostile").exists() and page.count("<script") == 1,
                     "it is neither run, nor breaks a line, nor fills the sheet", str(odd)[:200])
        for file in files:
            xml.dom.minidom.parseString(file.read_text())
        pair = program.assay("compare", folder, folder, "--plots", folder / "pairs")
        report.check(pair.status == 0 and len(list((folder / "pairs").glob("*.svg"))) >= 3, "nor does it trouble a pair", pair.err[:200])
        table = program.assay("certify", folder, "--format", "csv")
        report.check(table.status == 0 and all(re.fullmatch(r"[\w.-]+\.csv", f.name) for f in (folder / "curves").iterdir()), "nor a table's name", table.err[:200])
    isolated = [text for text in texts_of(frame.folder / "hostile-2", "power-level") if "שמאל" in text]
    report.check(len(isolated) == 1 and re.search("\u2068שמאל 4 Ω\u2069.*46.0 ± 1.8 W", isolated[0]), "right-to-left letters do not turn the numbers behind them", str(isolated))


def tables(folder, tests):
    done = program.assay("certify", folder, "--format", "csv")
    report.check(done.status == 0, "certify --format csv", done.err)
    count, wrong, bare = 0, [], []
    for test, result in tests.items():
        for load, part in [("", result), *result["loads"].items()]:
            for name, curve in part["curves"].items():
                file = folder / "curves" / ".".join(filter(None, (test, load, name, "csv")))
                count += 1
                rows = list(csv.reader(io.StringIO(file.read_bytes().decode(), newline=""))) if file.is_file() else [[]]
                values = [[None if cell == "" else float(cell) for cell in row] for row in rows[1:]]
                if rows[0] != list(curve) or values != [list(row) for row in zip(*curve.values())] or b"\r\n" not in file.read_bytes():
                    wrong.append(file.name)
                bare += [head for head in rows[0] if not re.search(r"_(hz|db|deg|ms|percent|v|w|ohm|dbfs)$|^minutes$|^order$|^harmonics_in_band$", head)]
                arguments = ["export", folder, "--test", test, "--curve", name, *(["--load", load] if load else [])]
                again = program.assay(*arguments).out
                if again.splitlines() != file.read_text().splitlines():
                    wrong.append("export of " + file.name)
    report.check(not wrong and count == len(list((folder / "curves").glob("*.csv"))) == 13, "every curve of every test is a table with its numbers", f"{count} tables {wrong}")
    report.check(not bare, "each head ends in its unit", str(bare))


def pair(frame):
    """Two drivers, 42 and 44 Hz: overlay and difference by the closed form."""
    sides = [frame.session(side, driver_tests(fs), lambda document, s=side: document["unit"].update(serial=s + "-17")) for side, fs in (("left", 42.0), ("right", 44.0))]
    done = program.assay("compare", *sides, "--plots", frame.folder / "pair")
    report.check(done.status == 0 and "plot: " in done.out, "compare --plots draws the pair", done.err or done.out[-120:])
    svg = Drawing(frame.folder / "pair/free-air-pair.svg")
    f = [x for x in F if x <= 20000]
    left, right = (np.array([impedance(x, fs) for x in f]) for fs in (42.0, 44.0))
    for what, values, panel in (("left", abs(left), 0), ("right", abs(right), 0), ("phase", np.degrees(np.angle(right)), 1),
                                ("difference in per cent", 100 * (abs(right) / abs(left) - 1), 2), ("difference in degrees", np.degrees(np.angle(right / left)), 3)):
        worst, count = svg.worst(f, values.tolist(), panel)
        report.check(worst < 1.1 and count > 5, f"pair: {what}", f"{worst:.2f} pixels, {count} points")
    texts = words_in(svg.text)
    report.check(any("left: left-17" in t for t in texts) and any("right: right-17" in t for t in texts) and "SIMULATED" not in svg.text, "pair: the legend tells the two by their serial numbers")
    other = frame.session("amplifier", amplifier_tests())
    none = program.assay("compare", sides[0], other, "--plots", frame.folder / "none")
    report.check(none.status == 2 and len(none.error_lines) == 1 and not list((frame.folder / "none").glob("*.svg")), "two that have nothing in common: told", f"exit {none.status}: {none.err.strip()}")


def run():
    with made.Frame(bench=program.bench_text(loads=[program.load("load-a", 4.0, "probe-a"), program.load("load-b", 4.0, "probe-a")])) as frame:
        tests = {**amplifier_tests(), **driver_tests()}
        folder = frame.session("all", tests, with_claims)
        done = program.assay("certify", folder, "--format", "html")
        names = ["power-level"] + [n for n in ("clean-harmonics", "sweep-response", "sweep-harmonics", "apart-separation", "band-power",
                                               "source-output-impedance", "held-log", "parameters-impedance", "parameters-residual")]
        found = sorted(file.stem for file in (folder / "plots").glob("*.svg"))
        report.check(done.status == 0 and found == sorted(names), "certify draws them all", f"{done.err[:200]} {sorted(set(names) ^ set(found))}")
        report.guarded("drawn", lambda: drawn_where_it_should(folder, tests))
        report.guarded("bands", lambda: bands(folder))
        report.guarded("labels", lambda: labels(folder))
        report.guarded("grey", grey)
        page = folder / "certificate.html"
        chromium = browser.Browser()
        try:
            for width in (1280, 390):
                report.guarded("cut", lambda w=width: nothing_cut(chromium, page, w, names))
            report.guarded("pointer", lambda: pointer(chromium, page, names))
            report.guarded("without scripts", lambda: without_scripts(chromium, page))
        finally:
            chromium.close()
        report.guarded("tables", lambda: tables(folder, tests))
        report.guarded("pair", lambda: pair(frame))
        report.guarded("hostile", lambda: hostile(frame))
        keep = os.environ.get("ASSAY_KEEP_PLOTS")  # a folder, to look at them
        if keep:
            shutil.copytree(frame.folder, keep, dirs_exist_ok=True)


run()
report.finish()
