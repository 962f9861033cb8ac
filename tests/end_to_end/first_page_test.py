"""The first page fits on one sheet, A4 and Letter, whatever the session: forty tests, nothing at all, texts without end.

Outside sources: poppler's tools say what stands on which page; zbar reads the square code of the page that they draw.
"""

import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import made_session, program  # noqa: E402
from outside.made_session import findings, quantity  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The first page")
ENDS_HERE = "Here the first page ends"


def tool(*arguments):
    return subprocess.run([str(a) for a in arguments], capture_output=True, text=True, timeout=120).stdout


def page_texts(pdf):
    pages = int(re.search(r"Pages:\s+(\d+)", tool("pdfinfo", pdf))[1])
    # In reading order, spaces made one.
    return [" ".join(tool("pdftotext", "-raw", "-f", n, "-l", n, pdf, "-").split()) for n in range(1, pages + 1)]


def level_test(number, measured_w):
    chance = random.Random(number)
    steps = [10 ** (i / 20) for i in range(-20, 35)]
    thd = [0.02 + 0.05 / w + (0 if w < measured_w else 8 * (w / measured_w - 1)) * (1 + 0.1 * chance.random()) for w in steps]
    level = {"drive_dbfs": [20 * i / 55 - 25 for i in range(55)], "voltage_v": [(4 * w) ** 0.5 for w in steps], "power_w": steps,
             "thd_percent": thd, "thd_plus_noise_percent": [1.1 * d for d in thd]}
    loads = {"load-a": findings({"power_at_1_percent_w": quantity(measured_w, "W", {"load:load-a:resistance": 0.02 * measured_w}),
                                 "power_at_10_percent_w": quantity(1.3 * measured_w, "W", {"load:load-a:resistance": 0.02 * measured_w})},
                                {"level": level})}
    return made_session.test("clipping-power", loads=loads,
                             conditions={"frequency_hz": 997.0, "supply_idle_v": 14.4, "supply_loaded_v": 13.9, "channels_driven": 1.0})


def claim(text, test, measured_w, at_least, uncertainty_w):
    verdict = "met" if measured_w - uncertainty_w >= at_least else "not met" if measured_w + uncertainty_w < at_least else "undecided"
    return {"text": text, "test": test, "load": "load-a", "quantity": "power_at_1_percent_w", "verdict": verdict,
            "measured": quantity(measured_w, "W", {"load:load-a:resistance": 0.02 * measured_w}), "limit": {"at_least": at_least}, "reason": ""}


def forty():
    """Forty tests, three of them with a curve to draw; forty claims on the first thirty of them."""
    tests = {f"power-{n:02}": level_test(n, 20.0 + n) for n in range(40)}
    for test in list(tests.values())[3:]:
        test["loads"]["load-a"]["curves"] = {}
    claims = [claim(f"40 W, claim {n}", f"power-{n % 30:02}", 20.0 + n % 30, 40.0, 0.04 * (20 + n % 30)) for n in range(40)]
    return tests, claims


def fits(what, session, wanted=(), papers=("a4", "letter")):
    pages = []
    for paper in papers:
        done = program.assay("certify", session, "--paper", paper, "--format", "pdf")
        pages = page_texts(session / "certificate.pdf") if done.status == 0 else []
        on = [n for n, text in enumerate(pages, 1) if ENDS_HERE in text]
        missing = [words for words in wanted if words not in (pages or [""])[0]]
        report.check(on == [1] and not missing and len(pages) > 1,
                     f"{what}: on one sheet of {paper}", f"its end on page {on} of {len(pages)}; missing: {missing} {done.err[:200]}")
    return pages


def with_forty_tests(frame):
    tests, claims = forty()
    session = frame.session("forty", tests, lambda document: document.update(claims=claims))
    pages = fits("40 tests and 40 claims", session, ["40 claims:", "Not met", "Key figures", "± is how far"])
    counts = [int(n) for n in re.search(r"40 claims: (\d+) met, (\d+) not met, (\d+) undecided", pages[0]).groups()]
    wanted = [sum(c["verdict"] == verdict for c in claims) for verdict in ("met", "not met", "undecided")]
    report.check(counts == wanted and sum(counts) == 40, "the tally is that of the claims", f"{counts}, {wanted}")
    shown = re.findall(r"W, claim (\d+)", pages[0])
    report.check(len(shown) >= 4 and all(claims[int(n)]["verdict"] == "not met" for n in shown), "those that were not met come first", str(shown))
    left, page = re.search(r"And (\d+) more claims, those that went best, on page (\d+)", pages[0]).groups()
    report.check(int(left) + len(shown) == 40, "every claim is shown or counted", f"{len(shown)} shown, {left} left")
    report.check("Further claims" in pages[int(page) - 1], "the page that is named holds the others", f"page {page}")
    further = [int(n) for text in pages[int(page) - 1:] for n in re.findall(r"W, claim (\d+)", text)]
    report.check(sorted(further + [int(n) for n in shown]) == list(range(40)), "and no claim is lost")
    for words, heading in (("what was measured on page", "What was measured"), ("what was not tested on page", "What was not tested"),
                           ("how to check this certificate on page", "How to check this certificate")):
        found = re.search(words + r" (\d+)", pages[0])
        report.check(found is not None and heading in pages[int(found[1]) - 1], f"the first page names the page of: {heading}",
                     found[0] if found else "")
    picture = session / "first"
    tool("pdftoppm", "-r", 200, "-png", "-f", 1, "-l", 1, "-singlefile", session / "certificate.pdf", picture)
    read = tool("zbarimg", "--quiet", "--raw", f"{picture}.png")
    report.check(read.startswith("assay ") and "fingerprint " in read, "the square code stands on the first page", repr(read[:60]))


def with_nothing(frame):
    """Everything optional is missing: names, claims, curves, uncertainties."""
    def strip(document):
        document["unit"] = {"kind": "amplifier", "maker": "", "model": "", "serial": "", "condition": ""}
    tests = {"p": made_session.test("clipping-power", loads={"load-a": findings({"power_at_1_percent_w": quantity(12.3, "W")})})}
    fits("a session with every optional thing missing", frame.session("bare", tests, strip),
         ["Maker and model not stated", "Nothing was claimed", "12.3"])
    fits("a session without any test", frame.session("none", {}, strip), ["Maker and model not stated"], papers=("letter",))


def with_texts_without_end(frame):
    tests, claims = forty()
    tests, claims = {name: tests[name] for name in list(tests)[:2]}, claims[:4]
    for n, entry in enumerate(claims):
        entry.update(text=("W" * 3000, "word " * 600, "漢字" * 900)[n % 3], verdict="undecided", reason="because it is so " * 40)

    def fill(document):
        document["unit"].update(maker="M" * 500, model="W" * 5000, serial="8" * 900, condition="worn " * 300, repairs="漢字" * 300,
                                sellers_note="W" * 2000)
        document["claims"] = claims
        document["simulated"] = True
    fits("texts without end", frame.session("endless", tests, fill), ["Undecided"], papers=("letter",))


def claims_by_number(frame):
    """From no claim to twelve: rulers, then none, then not all of them."""
    tests, claims = forty()
    tests = {name: tests[name] for name in ["power-00", "power-11"]}
    for n, entry in enumerate(claims):
        entry["test"] = ("power-00", "power-11")[n % 2]
    for count in (1, 2, 4, 7):
        session = frame.session(f"claims-{count}", tests, lambda document, n=count: document.update(claims=claims[:n]))
        fits(f"{count} claims", session, ["40 W, claim 0"], papers=("letter",) if count % 2 else ("a4",))


with made_session.Frame() as made, tempfile.TemporaryDirectory() as name:
    for part in (with_forty_tests, with_nothing, with_texts_without_end, claims_by_number):
        report.guarded(part.__name__, lambda part=part: part(made))
report.finish()
