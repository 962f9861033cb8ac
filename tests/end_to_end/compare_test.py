"""assay compare: differences and their uncertainty against the law of propagation done by hand (JCGM 100:2008, 5.1.2 for
causes apart, 5.2.2 with r = 1 for a shared one), verdicts by the guard band, curves against their closed form."""

import json
import math
import os
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2])) / "tests"))
from outside import made_session as made  # noqa: E402
from outside import program, report  # noqa: E402

FREQUENCIES_HZ = [20.0, 50.0, 100.0, 1000.0, 10000.0]


def driver(fs, re, level_db, extra=1.0, phase=0.0, name="x", with_curve=FREQUENCIES_HZ):
    """Scale of the series resistor 0.1 %, noise of the run, and an area with its own doubt (no part of the bench)."""
    q = {
        "fs_hz": made.quantity(fs, "Hz", {f"test:{name}:noise": 0.01 * extra, "jig:series": 0.0}),
        "re_ohm": made.quantity(re, "ohm", {"jig:series": 0.001 * re, "input:probe-a:scale": 0.002 * re,
                                            f"test:{name}:noise": 0.003}),
        "vas_l": made.quantity(70.0 * fs / 32, "L", {"area": 1.4}),
        "sensitivity_1w_db": made.quantity(level_db, "dB", {f"test:{name}:noise": 0.02}),
        "efficiency_percent": made.quantity(0.5, "%", {f"test:{name}:noise": 0.01}),
        "volts_at_resonance_v": made.quantity(0.5 * extra, "V", {}),
    }
    z = {"frequency_hz": list(with_curve), "magnitude_ohm": [re * extra] * len(with_curve), "phase_deg": [phase] * len(with_curve)}
    return {"p": made.test("driver-parameters", made.findings(q, {"impedance": z}), conditions={"temperature_c": 20.0})}


def with_jig(document, series_ohm=22.0):
    document["bench"]["impedance_jig"] = {
        "topology": "series-high", "series_ohm": series_ohm, "series_doubts": [{"source": "jig:series", "relative": 0.001}],
        "lead_ohm": 0.0, "match": "", "generator_side": "probe-a", "driver_side": "probe-a"}


def compare(left, right, *more):
    done = program.assay("compare", left, right, "--json", *more)
    if done.status != 0:
        raise AssertionError(done.err)
    document = json.loads(done.out)
    return document, {q["quantity"]: q for q in document["quantities"]}


def sources(checks, frame):
    left = frame.session("left", driver(32.0, 5.6, 90.0, name="x"), with_jig)
    right = frame.session("right", driver(33.0, 5.7, 90.5, name="x"), with_jig)
    document, q = compare(left, right)
    checks.check(document["matched"] is None, "no verdict unless asked")
    checks.absolute("fs, difference", q["fs_hz"]["difference"]["value"], 1.0, 1e-12)
    checks.relative("fs, two runs of the same id add in squares", q["fs_hz"]["difference"]["expanded_uncertainty"],
                    2 * math.hypot(0.01, 0.01), 1e-9)
    # The resistor and the scale are shared: what is left is their part in the difference of 0.1 ohm.
    shared = math.sqrt((0.001 * 0.1) ** 2 + (0.002 * 0.1) ** 2 + 2 * 0.003 ** 2)
    checks.relative("Re, one bench cancels", q["re_ohm"]["difference"]["expanded_uncertainty"], 2 * shared, 1e-9)
    checks.relative("area is no part of the bench", q["vas_l"]["difference"]["expanded_uncertainty"], 2 * math.hypot(1.4, 1.4), 1e-9)
    # 100 (R/L - 1): the relative part of a shared scale cancels wholly.
    scale_free = 100 / 5.6 * 0.003 * math.hypot(1, 5.7 / 5.6)
    checks.relative("Re, per cent", q["re_ohm"]["percent"]["value"], 100 * (5.7 / 5.6 - 1), 1e-9)
    checks.relative("Re, per cent, uncertainty", q["re_ohm"]["percent"]["expanded_uncertainty"], 2 * scale_free, 1e-9)
    ratio = 10 ** (0.5 / 20)
    checks.relative("decibels in per cent", q["sensitivity_1w_db"]["percent"]["value"], 100 * (ratio - 1), 1e-9)
    checks.relative("decibels in per cent, uncertainty", q["sensitivity_1w_db"]["percent"]["expanded_uncertainty"],
                    2 * 100 * ratio * math.log(10) / 20 * math.hypot(0.02, 0.02), 1e-9)
    checks.check(q["efficiency_percent"]["percent"] is None, "no per cent of per cent")

    other = frame.session("other-jig", driver(33.0, 5.7, 90.5), lambda d: with_jig(d, 22.5))
    _, q = compare(left, other)
    apart = math.sqrt((0.001 * 5.6) ** 2 + (0.001 * 5.7) ** 2 + (0.002 * 0.1) ** 2 + 2 * 0.003 ** 2)
    checks.relative("Re, another resistor adds", q["re_ohm"]["difference"]["expanded_uncertainty"], 2 * apart, 1e-9)

    def recalibrated(document):
        with_jig(document)
        document["bench"]["input"][0]["volts_at_full_scale"] *= 1.001
    again = frame.session("recalibrated", driver(33.0, 5.7, 90.5), recalibrated)
    _, q = compare(left, again)
    apart = math.sqrt((0.001 * 0.1) ** 2 + (0.002 * 5.6) ** 2 + (0.002 * 5.7) ** 2 + 2 * 0.003 ** 2)
    checks.relative("Re, an input calibrated again adds", q["re_ohm"]["difference"]["expanded_uncertainty"], 2 * apart, 1e-9)


def verdicts(checks, frame):
    left = frame.session("left", driver(32.0, 5.6, 90.0), with_jig)
    for right, within, expected in ((driver(32.1, 5.61, 90.05), 10, "met"), (driver(40.0, 5.61, 90.05), 10, "not met"),
                                    (driver(33.6, 5.61, 90.05), 5, "undecided")):
        document, q = compare(left, frame.session("right", right, with_jig), "--within", within)
        checks.check(document["matched"] == expected, f"matched within {within} %: {expected}",
                     f"{document['matched']}; " + ", ".join(f"{name} {v['matched']}" for name, v in q.items()))
        checks.check(q["volts_at_resonance_v"]["matched"] is None, "a level that was set is not judged")
    # 33.6 is exactly 5 % above 32: neither yes nor no is safe.
    checks.check(q["fs_hz"]["matched"] == "undecided", "the figure at the limit is the undecided one")
    text = program.assay("compare", left, frame.session("right", driver(40.0, 5.61, 90.05), with_jig), "--within", 5).out
    checks.check("NOT MATCHED within 5 %" in text and "+25.00 ± 0.10 %" in text, "text says so", text)
    checks.check(max(len(line) for line in text.splitlines()[2:]) <= 112, "no line is too long for a terminal")


def curves(checks, frame):
    left = frame.session("left", driver(32.0, 5.0, 90.0), with_jig)
    right = frame.session("right", driver(32.0, 5.0, 90.0, extra=1.02, phase=1.0), with_jig)
    document, _ = compare(left, right)
    expected = 100 * abs(1.02 * complex(math.cos(math.radians(1)), math.sin(math.radians(1))) - 1)
    curve = document["curves"][0]
    checks.relative("curve, rms", curve["rms"], expected, 1e-6)
    checks.relative("curve, worst", curve["worst"], expected, 1e-6)
    checks.check(curve["points"] == 5 and not curve["interpolated"], "every point is shared")
    # Half of the band only, and between the points.
    right = frame.session("right", driver(32.0, 5.0, 90.0, extra=1.02, with_curve=[30.0, 70.0, 700.0]), with_jig)
    curve = compare(left, right)[0]["curves"][0]
    checks.check((curve["points"], curve["from_hz"], curve["to_hz"], curve["interpolated"]) == (2, 50.0, 100.0, True),
                 "only where both have been", curve)
    checks.relative("curve, interpolated", curve["rms"], 2.0, 1e-6)


def odd_pairs(checks, frame):
    left = frame.session("left", driver(32.0, 5.6, 90.0), with_jig)
    warm = driver(32.0, 5.6, 90.0)
    warm["p"]["conditions"]["temperature_c"] = 27.0
    document, _ = compare(left, frame.session("warm", warm, with_jig))
    checks.check(document["conditions"] == [{"test": "p", "condition": "temperature_c", "left": 20.0, "right": 27.0}],
                 "a condition that differs is told", document["conditions"])
    document, q = compare(left, frame.session("named", {"q": driver(32.0, 5.6, 90.0)["p"]}, with_jig), "--within", 5)
    checks.check(not q and document["matched"] is None and len(document["remarks"]) == 2, "no test in common", document["remarks"])
    done = program.assay("compare", left, frame.folder / "nowhere")
    checks.check(done.status == 2 and len(done.error_lines) == 1, "a session that is not there: exit 2", done.err)
    done = program.assay("compare", left)
    checks.check(done.status == 2, "one session alone: exit 2", done.err)


def amplifier(checks, folder):
    """A real session against itself: nothing differs, and only what belongs to the run is left of the doubt."""
    bench = program.SOURCE / "fixtures" / "demo" / "bench.toml"
    job = folder / "one.toml"
    job.write_text(program.job_text([{"id": "distortion", "measure": "distortion", "loads": [name], "drive_dbfs": -25.0}
                                     for name in re.findall(r'\[\[load\]\]\s*name = "([^"]+)"', bench.read_text())[:1]]))
    session = folder / "real"
    done = program.assay("run", job, "--bench", bench, "--into", session, "--yes", "--quiet")
    checks.check(done.status == 0, "a run on the simulated bench", done.err)
    document, _ = compare(session, session, "--within", 5)
    checks.check(len(document["quantities"]) >= 5, "every quantity is compared", len(document["quantities"]))
    whole = json.loads((session / "session.json").read_text())
    for q in document["quantities"]:
        record = whole["tests"][q["test"]]
        found = (record["loads"][q["load"]] if q["load"] else record)["quantities"][q["quantity"]]
        own = [s["contribution"] for s in found["sources"] if s["id"].startswith("test:")]
        expected = 2 * math.sqrt(2 * sum(c * c for c in own))
        got = q["difference"]["expanded_uncertainty"]
        if q["difference"]["value"] != 0 or abs(got - expected) > 1e-9 * (expected + abs(q["left"]["value"])):
            checks.check(False, f"{q['test']} {q['load']} {q['quantity']}", f"{q['difference']}, expected ± {expected}")


def main():
    checks = report.Report("comparing sessions")
    with made.Frame() as frame:
        for part in (sources, verdicts, curves, odd_pairs):
            checks.guarded(part.__name__, lambda: part(checks, frame))
        checks.guarded("amplifier", lambda: amplifier(checks, frame.folder))
    checks.finish()


if __name__ == "__main__":
    main()
