"""The certificate as a buyer gets it: in a browser, on paper, as a picture; without the programs that make these; and
what stands in session.json against its schema.

Outside sources: Chromium, poppler's tools, HTML Tidy, zbar (reads the square code), Pillow, jsonschema, hashlib.
"""

import hashlib
import json
import math
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import jsonschema
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import browser, program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The certificate")

BENCH = """
[sound]
source = "simulated"
sample_rate_hz = 96000
[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = -0.5
[[input]]
name = "probe-a"
channel = 1
volts_at_full_scale = 1.95
attenuation = 16.0
uncertainty_percent = 1.0
clean_up_to_dbfs = -0.5
[[load]]
name = "load-a"
resistance_ohm = 4.03
uncertainty_percent = 1.0
plus = "probe-a"
"""
JOB = """
[unit]
kind = "amplifier"
maker = "Quellbach"
model = "QB 225"
serial = "0417"
condition = "used"
repairs = "fan replaced"
sellers_note = "sold with <b>cable</b>"
photographs = ["pictures/front view.png"]
[[test]]
id = "power"
measure = "clipping-power"
loads = ["load-a"]
from_dbfs = -20
step_db = 0.5
supply_idle_v = 14.4
supply_loaded_v = 13.9
[[test]]
id = "clean"
measure = "distortion"
loads = ["load-a"]
[[test]]
id = "by-hand"
measure = "meter-power"
loads = ["load-a"]
output_v = 12.0
[[test]]
id = "sweep"
measure = "response"
loads = ["load-a"]
[[claim]]
text = "22 W into 4 ohm"
test = "power"
load = "load-a"
quantity = "power_at_1_percent_w"
at_least = 22.0
[[claim]]
text = "200 W into 4 ohm (small advertisement)"
test = "power"
load = "load-a"
quantity = "power_at_1_percent_w"
at_least = 200.0
[[claim]]
text = "22 W on 12 V"
test = "power"
load = "load-a"
quantity = "power_at_1_percent_w"
at_least = 22.0
at_supply_volts = 12.0
"""


def tool(*arguments):
    done = subprocess.run([str(a) for a in arguments], capture_output=True, text=True, timeout=120)
    return done.stdout


def make(here):
    (here / "bench.toml").write_text(BENCH)
    (here / "job.toml").write_text(JOB)
    (here / "pictures").mkdir()
    Image.radial_gradient("L").convert("RGB").resize((320, 240)).save(here / "pictures/front view.png")
    done = program.assay("run", here / "job.toml", "--bench", here / "bench.toml", "--into", here / "s")
    report.check(done.status == 0 and done.err == "", "assay run writes the session without a word on stderr", done.err[:300])
    for name in ("certificate.html", "certificate.pdf", "certificate.png", "contents.json", "plots/power-level.svg"):
        report.check((here / "s" / name).is_file(), f"assay run writes {name}")


def paper(here):
    session = json.loads((here / "s/session.json").read_text())
    for paper_name, size in (("letter", "612 x 792"), ("a4", "595.276 x 841.89")):
        done = program.assay("certify", here / "s", "--paper", paper_name)
        info = tool("pdfinfo", here / "s/certificate.pdf")
        report.check(done.status == 0 and size in info, f"PDF on {paper_name}", re.search(r"Page size.*", info)[0])
    pages = int(re.search(r"Pages:\s+(\d+)", info)[1])
    text = tool("pdftotext", "-layout", here / "s/certificate.pdf", "-")
    marks = re.findall(r"page (\d+) of (\d+)", text)
    report.check(marks == [(str(n), str(pages)) for n in range(1, pages + 1)], "each page says page n of m", f"{pages} pages")
    report.check(text.count(f"Test certificate {session['number']}") >= pages, "each page bears the number")
    marked = [len(re.findall("BENCH", tool("pdftotext", "-raw", "-f", n, "-l", n, here / "s/certificate.pdf", "-"))) for n in range(1, pages + 1)]
    report.check(all(marked), "each page is marked as simulated", str(marked))
    first = tool("pdftotext", "-layout", "-f", "1", "-l", "1", here / "s/certificate.pdf", "-")
    for words in ("Quellbach QB 225", "0417", "fan replaced", "Met", "Not met", "Undecided", "22 W into 4 ohm", "200 W into 4 ohm",
                  "concerns this unit only"):
        report.check(words in " ".join(first.split()), f"the first page says: {words}")
    report.check("End of test certificate" in text, "the end is marked")
    fonts = [line.split() for line in tool("pdffonts", here / "s/certificate.pdf").splitlines()[2:]]
    report.check(len(fonts) > 0 and all(line[-5] == "yes" for line in fonts), "all fonts are embedded", f"{len(fonts)} fonts")
    report.check(all("Liberation" in line[0] for line in fonts), "no font came in by chance", str([line[0] for line in fonts]))
    picture = Image.open(here / "s/certificate.png").convert("L")
    histogram = picture.histogram()
    dark = sum(histogram[:128]) / (picture.width * picture.height)
    report.check(picture.width > 900 and 0.01 < dark < 0.5, "the picture shows something", f"{picture.size}, {100 * dark:.1f} % dark")


def square_code(here):
    contents = (here / "s/contents.json").read_bytes()
    number = json.loads(contents)["number"]
    alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    bits = int.from_bytes(hashlib.blake2b(contents, digest_size=32).digest()[:15], "big")
    symbols = "".join(alphabet[bits >> (115 - 5 * i) & 31] for i in range(24))
    fingerprint = "-".join(symbols[i:i + 4] for i in range(0, 24, 4))
    page = (here / "s/certificate.html").read_text()
    report.check(fingerprint in page, "the page bears the fingerprint that hashlib gives", fingerprint)
    pages = here / "pages"
    pages.mkdir()
    tool("pdftoppm", "-r", "200", "-png", here / "s/certificate.pdf", pages / "p")
    read = "".join(tool("zbarimg", "--quiet", "--raw", path) for path in sorted(pages.glob("*.png")))
    report.check(read.strip() == f"assay {number}\nfingerprint {fingerprint}", "a telephone reads the square code", repr(read))


def in_a_browser(here):
    page = here / "s/certificate.html"
    chromium = browser.Browser()
    try:
        for width in (390, 1280):
            chromium.open(page, width)
            wide = chromium.value("document.documentElement.scrollWidth")
            report.check(wide <= width, f"no sideways scrolling at {width} px", f"{wide} px")
            out = chromium.value("[...document.querySelectorAll('body *')].filter(e => !e.closest('.across') && !e.closest('svg') && "
                                 f"!e.closest('.wide') && e.getBoundingClientRect().right > {width} + 0.5).map(e => e.tagName + '.' + e.className).join(' ')")
            report.check(out == "", f"nothing is cut off at {width} px", out)
            report.check(chromium.complaints() == [], f"no complaint on the console at {width} px", str(chromium.complaints())[:200])
            foreign = [url for url in chromium.requests() if not url.startswith(("file:", "data:"))]
            report.check(foreign == [], "no request leaves the page", str(foreign))
        chromium.value("document.querySelector('svg[data-curves]').scrollIntoView({block: 'center'})")
        box = json.loads(chromium.value("JSON.stringify(document.querySelector('svg[data-curves]').getBoundingClientRect())"))
        curve = json.loads((here / "s/session.json").read_text())["tests"]["power"]["loads"]["load-a"]["curves"]["level"]
        frame = [float(v) for v in chromium.value("document.querySelector('svg[data-curves]').getAttribute('data-frame')").split()]
        view = chromium.value("document.querySelector('svg[data-curves]').viewBox.baseVal.width")
        # gnuplot's own drawing of the frame: the vertical grid line of 10 W lies where 10 W is said to lie.
        svg = (here / "s/plots/power-level.svg").read_text()
        at_10 = frame[0] + (frame[1] - frame[0]) * math.log(10 / frame[4]) / math.log(frame[5] / frame[4])
        grid = [float(x) for x in re.findall(r'class="gridline"\s+d=\'M([\d.]+),[\d.]+ L\1,', svg)]
        report.check(any(abs(x - at_10) < 0.05 for x in grid), "the drawing's own grid agrees with the frame that is read", f"{at_10:.2f} in {grid}")
        for watts in (1.0, 10.0, 30.0):
            best = min(range(len(curve["power_w"])), key=lambda i: abs(math.log(max(curve["power_w"][i], 1e-9) / watts)))
            x = frame[0] + (frame[1] - frame[0]) * math.log(curve["power_w"][best] / frame[4]) / math.log(frame[5] / frame[4])
            chromium.point_at(box["left"] + x * box["width"] / view, box["top"] + box["height"] / 2)
            said = chromium.value("document.querySelector('.readout').textContent")
            wanted = [float(f"{curve['power_w'][best]:.3g}"), float(f"{curve['thd_percent'][best]:.3g}")]
            numbers = [float(v) for v in re.findall(r"-?[\d.]+(?:e-?\d+)?", said.replace("load-a", ""))]
            report.check(len(numbers) == 2 and all(abs(a / b - 1) < 2e-3 for a, b in zip(numbers, wanted)),
                         f"the pointer reads the curve at {watts} W", f"{said!r}, session.json {wanted}")
        chromium.call("Emulation.setScriptExecutionDisabled", value=True)
        chromium.open(page, 390)
        report.check("22 W into 4 ohm" in page.read_text() and chromium.complaints() == [], "without scripts the page stands")
    finally:
        chromium.close()


def valid_html(here):
    done = subprocess.run(["tidy", "-quiet", "-errors", "-utf8", "--show-warnings", "yes", here / "s/certificate.html"],
                          capture_output=True, text=True)
    # Tidy knows no SVG inside HTML; its remarks on those elements are none.
    serious = [line for line in done.stderr.splitlines() if "Error:" in line or "duplicate" in line.lower() or "missing" in line.lower()]
    serious = [line for line in serious if not re.search(r"<(svg|path|circle|rect|g|text|tspan|title|desc)>", line)]
    report.check(serious == [], "HTML Tidy finds no error, no doubled id", "; ".join(serious[:5]))
    ids = re.findall(r'\sid=["\']([^"\']+)', (here / "s/certificate.html").read_text())
    report.check(len(ids) == len(set(ids)), "no id stands twice", str(len(ids)))


def photographs(here):
    page = (here / "s/certificate.html").read_text()
    picture = (here / "pictures/front view.png").read_bytes()
    report.check(hashlib.blake2b(picture, digest_size=32).hexdigest() in page, "the page bears the photograph's hash")
    report.check(len(re.findall(r'src="data:image/png;base64,[A-Za-z0-9+/=]+"', page)) == 1, "the photograph is in the page itself")
    report.check((here / "s/photographs/front_view.png").read_bytes() == picture, "the session keeps the photograph")
    report.check("sold with &lt;b&gt;cable" in page, "the seller's note is text and no markup")
    for slip, text in (("no picture", "hello"), ("missing", None), ("too large", b"\x89PNG\r\n\x1a\n" + bytes(9 << 20))):
        name = here / "pictures/slip.png"
        name.unlink(missing_ok=True)
        if text is not None:
            name.write_bytes(text if isinstance(text, bytes) else text.encode())
        (here / "slip.toml").write_text(JOB.replace("front view.png", "slip.png"))
        done = program.assay("run", here / "slip.toml", "--bench", here / "bench.toml", "--into", here / f"slip {slip}")
        report.check(done.status == 2 and len(done.error_lines) == 1 and "photographs" in done.err and "slip.png" in done.err,
                     f"a photograph: {slip}", done.err.strip())


def missing_programs(here):
    lean = here / "lean"
    lean.mkdir()
    with_path = {**os.environ, "PATH": str(lean)}
    done = subprocess.run([program.PROGRAM, "certify", here / "s"], capture_output=True, text=True, env=with_path)
    report.check(done.returncode == 2 and "gnuplot-nox" in done.stderr, "without gnuplot its package is named", done.stderr.splitlines()[0])
    report.check("weasyprint" in done.stderr, "and so is WeasyPrint's")
    report.check("Not met" in (here / "s/certificate.html").read_text(), "the page is there all the same")
    done = subprocess.run([program.PROGRAM, "run", here / "job.toml", "--bench", here / "bench.toml", "--into", here / "lean session"],
                          capture_output=True, text=True, env=with_path)
    report.check(done.returncode == 0 and "note: " in done.stdout and "weasyprint" in done.stdout and done.stderr == "",
                 "assay run measures without them, and says so")
    report.check(program.assay("certify", here / "s").status == 0, "with them all is made again")


def frequency_plot(here):
    """The drawn gain (gnuplot's own path) goes through what session.json says, by the frame that the page states."""
    svg = (here / "s/plots/sweep-response.svg").read_text()
    curve = json.loads((here / "s/session.json").read_text())["tests"]["sweep"]["loads"]["load-a"]["curves"]["response"]
    frame = [float(v) for v in re.search(r'data-frame="([^"]+)"', svg)[1].split()]
    paths = [[tuple(map(float, p)) for p in re.findall(r"(-?[\d.]+),(-?[\d.]+)", d)] for d in re.findall(r"<path[^>]*\sd='([^']*)'", svg)]
    drawn = [tuple(p) for path in paths for p in path]
    worst = 0.0
    for hz in (20, 100, 1000, 10000, 20000):
        i = min(range(len(curve["frequency_hz"])), key=lambda k: abs(math.log(curve["frequency_hz"][k] / hz)))
        x = frame[0] + (frame[1] - frame[0]) * math.log(curve["frequency_hz"][i] / frame[4]) / math.log(frame[5] / frame[4])
        y = frame[2] + (frame[3] - frame[2]) * (curve["magnitude_db"][i] - frame[6]) / (frame[7] - frame[6])
        worst = max(worst, min(max(abs(a - x), abs(b - y)) for a, b in drawn))
    # Half the width of the line (2.4), which also covers points that gnuplot leaves out where the curve is straight.
    report.check(worst < 1.2, "the response is drawn where session.json has it", f"{worst:.2f} pixels")
    page = (here / "s/certificate.html").read_text()
    report.check("Gain against frequency" in page and "-3 dB" in svg and "-1 dB" in svg and "SIMULATED BENCH" in svg,
                 "with its limits, its caption and the mark of the simulated bench")


def curves(here):
    done = program.assay("certify", here / "s", "--format", "csv")
    file = here / "s/curves/power.load-a.level.csv"
    report.check(done.status == 0 and file.is_file(), "certify --format csv writes the curves", done.err)
    rows = [line.split(",") for line in file.read_text().splitlines()]
    curve = json.loads((here / "s/session.json").read_text())["tests"]["power"]["loads"]["load-a"]["curves"]["level"]
    report.check(rows[0] == list(curve) and [[float(v) for v in row] for row in rows[1:]] == [list(row) for row in zip(*curve.values())],
                 "every number of the table is that of session.json", f"{len(rows) - 1} rows")


def schema(here):
    rules = json.loads(program.assay("schema").out)
    checker = jsonschema.Draft202012Validator(rules)
    jsonschema.Draft202012Validator.check_schema(rules)
    session = json.loads((here / "s/session.json").read_text())
    errors = list(checker.iter_errors(session))
    report.check(not errors, "session.json fits its schema", "; ".join(e.message for e in errors[:3]))
    broken = {
        "a value as text": lambda s: s["tests"]["power"]["loads"]["load-a"]["quantities"]["power_at_1_percent_w"].update(value="46"),
        "no unit": lambda s: s["tests"]["power"]["loads"]["load-a"]["quantities"]["power_at_1_percent_w"].pop("unit"),
        "another verdict": lambda s: s["claims"][0].update(verdict="perhaps"),
        "an unknown key": lambda s: s.update(accredited=True),
        "another schema": lambda s: s.update(schema="assay-session-2"),
        "a test id that is a path": lambda s: s["tests"].update({"../x": s["tests"]["power"]}),
        "a capture outside": lambda s: s["tests"]["power"]["takes"][0]["capture"].update(path="captures/../x.wav"),
    }
    for what, spoil in broken.items():
        copy = json.loads(json.dumps(session))
        spoil(copy)
        report.check(any(checker.iter_errors(copy)), f"the schema refuses: {what}")
    report.check({m for m in re.findall(r'measure": "([a-z-]+)"', json.dumps(session))} == {"clipping-power", "distortion", "meter-power", "response"},
                 "the session held four measures")


with tempfile.TemporaryDirectory() as name:
    place = Path(name)
    report.guarded("make", lambda: make(place))
    for part in (paper, square_code, in_a_browser, valid_html, frequency_plot, photographs, missing_programs, curves, schema):
        report.guarded(part.__name__, lambda part=part: part(place))
report.finish()
