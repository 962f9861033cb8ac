"""Every measure's session fits the schema that the program gives out, and slips do not.

Outside source: jsonschema (Draft 2020-12).
"""

import copy
import json
import sys
import tempfile
from pathlib import Path

import jsonschema

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("The schema of session.json")
RULES = json.loads(program.assay("schema").out)
CHECKER = jsonschema.Draft202012Validator(RULES)
# As the interface lists them.
MEASURES = {"clipping-power", "distortion", "response", "power-bandwidth", "noise", "separation", "intermodulation", "output-impedance",
            "burst-power", "meter-power", "endurance", "impedance", "driver-parameters", "match"}

BENCH = program.bench_text(
    sound={"source": "simulated", "sample_rate_hz": 48000},
    outputs=[{"name": name, "channel": n, "volts_at_full_scale": 2.0, "maximum_dbfs": -0.5} for n, name in enumerate(("left", "right"), 1)],
    inputs=[program.probe("probe-a", 1), program.probe("probe-b", 2)],
    loads=[program.load("load-a", 4.0, "probe-a", driven_by=["left"]), program.load("load-b", 4.0, "probe-b", driven_by=["right"]),
           {"name": "open", "resistance_ohm": float("inf"), "plus": "probe-a", "driven_by": ["left"]}])
AMPLIFIER = [
    {"id": "power", "measure": "clipping-power", "loads": ["load-a", "load-b"], "from_dbfs": -12.0, "step_db": 1.0, "supply_idle_v": 14.4,
     "supply_loaded_v": 13.9},
    {"id": "clean", "measure": "distortion", "loads": ["load-a"]},
    {"id": "loaded", "measure": "response", "loads": ["load-a"]},
    {"id": "unloaded", "measure": "response", "loads": ["open"]},
    {"id": "inner", "measure": "output-impedance", "loaded": "loaded", "unloaded": "unloaded"},
    {"id": "band", "measure": "power-bandwidth", "loads": ["load-a"], "frequencies_hz": [100.0, 1000.0]},
    {"id": "quiet", "measure": "noise", "loads": ["load-a"]},
    {"id": "apart", "measure": "separation", "driven": "load-a", "idle": "load-b"},
    {"id": "sidebands", "measure": "intermodulation", "loads": ["load-a"]},
    {"id": "difference", "measure": "intermodulation", "method": "difference-frequency", "loads": ["load-a"]},
    {"id": "bursts", "measure": "burst-power", "loads": ["load-a"], "continuous": "power"},
    {"id": "held", "measure": "endurance", "loads": ["load-a"], "minutes": 1.0},
    {"id": "by-hand", "measure": "meter-power", "loads": ["load-a"], "output_v": 10.0, "at": "clip lamp"}]
CLAIMS = [{"text": "20 W", "test": "power", "load": "load-a", "quantity": "power_at_1_percent_w", "at_least": 20.0}]
JIG = """
[sound]
source = "simulated"
sample_rate_hz = 48000
[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.1
maximum_volts = 1.0
[[input]]
name = "jig-1"
channel = 1
volts_at_full_scale = 1.95
[[input]]
name = "jig-2"
channel = 2
volts_at_full_scale = 1.95
[impedance_jig]
topology = "series-high"
series_ohm = 22.05
uncertainty_percent = 0.1
generator_side = "jig-1"
driver_side = "jig-2"
"""
DRIVER = [{"id": "inputs", "measure": "match"},
          {"id": "free-air", "measure": "impedance", "match": "inputs"},
          {"id": "with-mass", "measure": "impedance", "match": "inputs", "added_mass_g": 10.0},
          {"id": "parameters", "measure": "driver-parameters", "free_air": "free-air", "with_mass": "with-mass", "effective_diameter_mm": 130.0}]


def session_of(here, name, bench, job):
    (here / f"{name}-bench.toml").write_text(bench)
    (here / f"{name}-job.toml").write_text(job)
    done = program.assay("run", here / f"{name}-job.toml", "--bench", here / f"{name}-bench.toml", "--into", here / name, "--yes",
                         environment=program.WITHOUT_PAGES)
    report.check(done.status == 0, f"{name}: run", done.err[:300])
    return json.loads((here / name / "session.json").read_text())


def complaints(session):
    return [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:120]}" for e in CHECKER.iter_errors(session)]


def every_measure(here):
    jsonschema.Draft202012Validator.check_schema(RULES)
    sessions = {"amplifier": session_of(here, "amplifier", BENCH, program.job_text(AMPLIFIER, CLAIMS)),
                "driver": session_of(here, "driver", JIG, program.job_text(DRIVER, unit={"kind": "driver"}))}
    seen, without = set(), []
    for name, session in sessions.items():
        report.check(complaints(session) == [], f"{name}: session.json fits the schema", "; ".join(complaints(session)[:3]))
        for test, result in session["tests"].items():
            parts = [result, *result.get("loads", {}).values(), *result.get("inputs", {}).values()]
            seen.add(result["measure"])
            if not any(part["quantities"] or part["curves"] for part in parts):
                without.append(test)
    report.check(seen == MEASURES, "every measure of the interface is among them", f"{len(seen)} measures; {sorted(seen ^ MEASURES)}")
    report.check(without == [], "each with a number or a curve", str(without))
    slips = 0
    for session in sessions.values():
        for test, result in session["tests"].items():
            slips += slips_of(session, test, result)
    report.check(slips >= 60, "slips were tried in every test", str(slips))


def slips_of(session, test, result):
    """An unknown field, and a number as text, in every part of a test."""
    parts = [["tests", test]] + [["tests", test, "loads", load] for load in result.get("loads", {})]
    missed, count = [], 0
    for path in parts:
        for what in ("unknown field", "number as text", "number as text in a curve", "unit left out"):
            spoilt = copy.deepcopy(session)
            part = spoilt
            for key in path:
                part = part[key]
            if what == "unknown field":
                part["accredited"] = True
            elif what == "number as text in a curve":
                if not part["curves"]:
                    continue
                column = next(iter(next(iter(part["curves"].values())).values()))
                column[0] = str(column[0])
            else:
                if not part["quantities"]:
                    continue
                quantity = next(iter(part["quantities"].values()))
                if what == "unit left out":
                    del quantity["unit"]
                else:
                    quantity["value"] = str(quantity["value"])
            count += 1
            if CHECKER.is_valid(spoilt):
                missed.append(f"{what} in {'/'.join(path)}")
    report.check(not missed, f"{result['measure']} ({test}): slips are refused", f"{count} tried {missed}")
    return count


with tempfile.TemporaryDirectory() as name:
    report.guarded("every measure", lambda: every_measure(Path(name)))
report.finish()
