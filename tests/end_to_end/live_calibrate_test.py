"""assay calibrate over JACK. The virtual bench's gains are known, so every scale has a closed form: Ohm's law, the
voltage divider, a sine's peak and RMS. Comments and order of the bench file stay."""

import json
import math
import shutil
import sys
import tempfile
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import ASSAY, RATE, LiveBench  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("live calibrations")
COMMENT = "# a note that must stay\n"
LEVEL = -20.0


class Bench:
    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="assay-calibrate-"))
        self.file = self.folder / "bench.toml"
        text = program.bench_text(
            sound={"playback_device": "virtual-bench", "record_device": "virtual-bench", "sample_rate_hz": RATE},
            outputs=[{"name": "drive", "channel": 1, "maximum_dbfs": -8.0}],
            inputs=[program.probe("probe-a", 1, uncertainty_percent=0.4), program.probe("probe-b", 2, volts_at_full_scale=3.3)],
            loads=[program.load("load-a", 8.0, "probe-a")],
            meters=[{"name": "meter", "accuracy_percent": 0.5, "digits": 2, "resolution_v": 0.001, "ac_max_hz": 400, "true_rms": True}])
        text += program.table("[impedance_jig]", {"series_ohm": 22.0, "uncertainty_percent": 0.1,
                                                  "generator_side": "probe-a", "driver_side": "probe-b"})
        self.file.write_text(COMMENT + text)

    def calibrate(self, bench, what, *more, **answers):
        file = self.folder / "answers.toml"
        file.write_text("".join(f"{key.replace('_', '-') if key.startswith(('on_', 'load_')) else key} = {json.dumps(value)}\n"
                                for key, value in answers.items()))
        run = bench.run(ASSAY, "calibrate", what, "--bench", self.file, "--answers", file, *more)
        report.check(run.returncode == 0, f"calibrate {what}", f"exit {run.returncode}: {run.stderr.strip()[-240:]} {run.stdout.strip()[-200:]}")
        return run

    def read(self):
        text = self.file.read_text()
        report.check(text.startswith(COMMENT), "comments stay")
        return tomllib.loads(text)


def part(data, kind, name):
    return next(entry for entry in data[kind] if entry["name"] == name)


def meters_and_dividers(file):
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", "2", "--rail", "20"]) as bench:
        bench.tell("one_on_two")
        file.calibrate(bench, "output", meter_volts=0.15)
        got = part(file.read(), "output", "drive")
        report.relative("output scale", got["volts_at_full_scale"], 0.15 * math.sqrt(2) / 10 ** (LEVEL / 20), 0.01)
        told = file.calibrate(bench, "input", "--input", "probe-a", meter_volts=3.5)
        report.check("83 Hz at -20.0 dBFS" in told.stderr and "Ctrl-C" in told.stderr, "what sounds is told, how loud and until when", told.stderr[-300:])
        got = part(file.read(), "input", "probe-a")
        scale = 3.5 * math.sqrt(2) / (2 * 10 ** (LEVEL / 20)) / program.ATTENUATION
        report.relative("input scale", got["volts_at_full_scale"], scale, 0.01)
        report.check(got.get("meter") == "meter" and "uncertainty_percent" not in got and "calibrated_on" in got, "its doubt is that of the only meter, its day is kept", str(got))
        file.calibrate(bench, "divider", "--name", "probe-b", reference="probe-a", connected="yes")
        got = part(file.read(), "input", "probe-b")
        report.relative("divider", got["attenuation"], scale * program.ATTENUATION / 3.3, 0.01)
        # Two rectangular limits of the meter (JCGM 100, 4.3.7), independent: 0.5 %, and two digits of 1 mV at 3.5 V.
        meter = math.hypot(0.5, 100 * 0.002 / 3.5) / math.sqrt(3)
        report.relative("its doubt is that of the reference", got["uncertainty_percent"], meter, 5)
        wrong = bench.run(ASSAY, "calibrate", "input", "--bench", file.file, "--input", "probe-a", "--meter", "meter", "--frequency", 997,
                          "--answers", file.folder / "answers.toml")
        report.check(wrong.returncode == 2 and "400" in wrong.stderr, "a meter is not asked beyond its range", wrong.stderr.strip()[-200:])
        before = file.file.read_text()
        bench.tell("mute")
        bench.tell("zeros")
        file.folder.joinpath("answers.toml").write_text("meter_volts = 1\n")
        silent = bench.run(ASSAY, "calibrate", "input", "--bench", file.file, "--input", "probe-a", "--answers", file.folder / "answers.toml")
        report.check(silent.returncode == 3 and file.file.read_text() == before, "without a tone nothing is written", silent.stderr.strip()[-200:])


def loopback(file):
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", "1", "--rail", "0.2"]) as bench:
        run = file.calibrate(bench, "loopback", "--name", "probe-a", connected="yes")
        got = part(file.read(), "input", "probe-a")
        # A hard ceiling at 0.2 is -13.98 dBFS of peak; steps of 3 dB from -60 dBFS: the last clean one is -15 dBFS.
        report.absolute("clean up to", got.get("clean_up_to_dbfs"), -15.0, 0.11)
        report.check("overload" not in run.stdout and "round trip" in run.stdout, "the map is printed", run.stdout[-200:])
        # The virtual bench is a delay: its closed form is 0 dB everywhere.
        card = json.loads((file.folder / got["response"]).read_text())
        worst = max(abs(db) for f, db in zip(card["frequency_hz"], card["magnitude_db"]) if 15 < f < 20000)
        doubts = [db for f, db in zip(card["frequency_hz"], card["standard_uncertainty_db"]) if 15 < f < 20000]
        report.check(0 < max(doubts) < 0.02, "its doubt is stated", f"up to {max(doubts):.5f} dB")
        report.absolute("and the gain from output to input, dB", card["gain_db"], 0.0, 0.001)
        report.check(worst < 0.02 and card["input"] == "probe-a" and card["rate_hz"] == RATE and card["date"], "its response is flat", f"worst {worst:.4f} dB")


def loopback_at_a_run(file):
    """The loopback is divided out of a live response while the devices are those of then, and not afterwards."""
    job = file.folder / "job.toml"
    job.write_text(program.job_text([{"id": "band", "measure": "response", "loads": ["load-a"], "drive_dbfs": -30}]))
    got = part(file.read(), "input", "probe-a")
    card_file = file.folder / got["response"]
    card = json.loads(card_file.read_text())
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", "1", "--rail", "20"]) as bench:
        for k, (name, divided) in enumerate((("as it is", True), ("JACK: another card", False))):
            if not divided:
                card_file.write_text(json.dumps({**card, "record_device": name}))
            # The output's scale is not the virtual bench's: what the loopback says of the gain is left out.
            card.pop("gain_db", None)
            if divided:
                card_file.write_text(json.dumps(card))
            session = file.folder / f"session-{k}"
            run = bench.run(ASSAY, "run", job, "--bench", file.file, "--into", session, "--yes", "--pages", "none")
            report.check(run.returncode == 0, "a response live", f"exit {run.returncode}: {run.stderr.strip()[-200:]}")
            test = json.loads((session / "session.json").read_text())["tests"]["band"]
            told = json.dumps(test["loads"]["load-a"]["warnings"])
            report.check(("card_response.load-a" in test["conditions"]) == divided and ("another card" in told) != divided, f"record device {name}: divided out {divided}", told[:300])
            verified = bench.run(ASSAY, "verify", session)
            report.check(verified.returncode == 0, "verified", verified.stderr.strip()[-200:])


def load_in_jig(file):
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", "1", "--gain_2", "1.02", "--at", "3.5:gain_2 0.204"]) as bench:
        bench.tell("one_on_two")
        # Scales of the two inputs differ; on one node that falls out. The load's share is 0.2: 22 * 0.2 / 0.8 ohm.
        file.calibrate(bench, "load", on_one_node="yes", load_in_jig="yes")
        got = part(file.read(), "load", "load-a")
        report.relative("load against the precise resistor", got["resistance_ohm"], 5.5, 0.05)
        report.relative("its doubt is that of the resistor", got["uncertainty_percent"], 0.1, 10)


def match(file):
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", "1", "--gain_2", "1.02"]) as bench:
        bench.tell("one_on_two")
        run = file.calibrate(bench, "match", "--json", connected="yes")
        data = file.read()
        a, b = (part(data, "input", name) for name in ("probe-a", "probe-b"))
        expected = 1.02 * b["volts_at_full_scale"] * b["attenuation"] / (a["volts_at_full_scale"] * a["attenuation"])
        report.relative("ratio of the inputs", json.loads(run.stdout)["ratio_1khz"], expected, 0.01)
        report.check((file.folder / data["impedance_jig"]["match"]).exists(), "the match file is there and named")


shared = Bench()
for step in (meters_and_dividers, loopback, loopback_at_a_run, load_in_jig, match):
    report.guarded(step.__name__, lambda: step(shared))
shutil.rmtree(shared.folder, ignore_errors=True)
report.finish()
