"""What the wiring check finds before anything loud: scales that have moved since they were found, and a rate that is
changed unasked between program and card.

The virtual bench is a product of known gains, so that every volt has a closed form: the reference input hears
OUTPUT_V times the tone, and a mixer that stands X times higher shows X times as much.
"""

import json
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import ASSAY, GAIN, OHM, RAIL, RATE, Folder, LiveBench  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("trust of a live bench")
TEST = [{"id": "clean", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}]


def bench_text(reference=True):
    """The amplifier at input 1, the card's own output at input 2; both scales stated."""
    source = program.probe("source", 2, role="reference", attenuation=1.0, volts_at_full_scale=program.OUTPUT_V)
    return program.bench_text(
        sound={"playback_device": "virtual-bench", "record_device": "virtual-bench", "sample_rate_hz": RATE},
        outputs=[{"name": "drive", "channel": 1, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": -8.0}],
        inputs=[program.probe("probe-a", 1), *([source] if reference else [])],
        loads=[program.load("load-a", OHM, "probe-a", rated_power_w=50)])


def run(bench, *more, answers=None, reference=True):
    """Exit status, standard error, the test's warnings by code, its volts."""
    with Folder("trust", TEST) as folder:
        folder.bench.write_text(bench_text(reference))
        if answers is not None:
            (folder.path / "answers.toml").write_text(answers)
            more = ("--answers", folder.path / "answers.toml", *more)
        done = bench.run(*folder.command("--pages", "none", *more))
        test = folder.session()["tests"]["clean"]
        loudest = [path.name for path in (folder.into / "captures").glob("*.wav")]
        verified = bench.run(ASSAY, "verify", folder.into).returncode if done.returncode == 0 else None
        codes = {warning["code"]: warning["text"] + " " + warning["advice"] for warning in test["warnings"]}
        volts = test.get("loads", {}).get("load-a", {}).get("quantities", {}).get("voltage_v")
        return done.returncode, done.stderr, codes, volts, loudest, verified


def percent_told(text):
    found = re.search(r", ([0-9.]+) % (more|less)", text)
    return None if found is None else float(found.group(1)) * (1 if found.group(2) == "more" else -1)


def unmoved(bench):
    status, told, codes, volts, _, _ = run(bench, "--yes")
    report.check(status == 0 and "scale-moved" not in codes and "WATCH OUT" not in told and volts is not None, "unmoved: silent",
                 f"exit {status}: {codes} {told[-200:]}")
    line = re.search(r"reference \"source\": ([0-9.]+) mV", told)
    report.relative("what the reference hears at -40 dBFS, mV", float(line.group(1)) if line else None,
                    1000 * program.OUTPUT_V * 0.01 / 2**0.5, 0.1)


def moved(bench, command, factor):
    bench.tell(f"{command} {factor}")
    status, told, codes, volts, _, verified = run(bench, "--yes")
    words = codes.get("scale-moved", "")
    report.check(status == 0 and words and volts is not None and "assay calibrate" in words and "WATCH OUT" in told,
                 f"{command} {factor}: told and kept", f"exit {status}: {words[:160]} {told.strip()[-160:]}")
    report.absolute(f"{command} {factor}: by how much, %", percent_told(words), 100 * (factor - 1), 0.06)
    report.check(verified == 0, f"{command} {factor}: the session still verifies", f"exit {verified}")
    bench.tell(f"{command} 1")


def asked(bench):
    """Ten per cent: without --yes somebody has to agree before the test's own level."""
    bench.tell("record_gain 1.1")
    status, told, _, volts, captures, _ = run(bench, answers='proceed = "yes"\n')
    report.check(status == 3 and "a scale has moved" in told and volts is None and captures == [], "10 %: stops where nobody agrees",
                 f"exit {status}, {captures}: {told.strip()[-160:]}")
    status, _, codes, volts, _, _ = run(bench, answers='proceed = "yes"\nscale-moved = "yes"\n')
    report.check(status == 0 and volts is not None, "10 %: goes on where somebody does", f"exit {status}")
    report.absolute("10 %: by how much, %", percent_told(codes.get("scale-moved", "")), 10.0, 0.06)
    bench.tell("record_gain 1.4")
    status, told, _, volts, captures, _ = run(bench, "--yes")
    report.check(status == 3 and "a scale has moved" in told and volts is None and captures == [], "40 %: refused whoever agrees",
                 f"exit {status}, {captures}: {told.strip()[-160:]}")
    bench.tell("record_gain 1")


def rate_changed(bench):
    """What is recorded ends at 21 kHz, as behind a converter from 44.1 kHz: 70 dB down above 22 kHz by its window."""
    status, _, codes, _, _, _ = run(bench, "--yes", reference=False)
    report.check(status == 0 and "rate-in-doubt" not in codes, "the whole band: silent without a reference too", f"exit {status}: {codes}")
    bench.tell("band 21000")
    status, told, _, volts, captures, _ = run(bench, "--yes")
    report.check(status == 3 and re.search(r"tone of 22.75 kHz does not come through .* rate of 48000 Hz is changed", told) is not None
                 and volts is None and captures == [], "a changed rate is named and nothing louder played", f"exit {status}: {told.strip()[-230:]}")
    status, told, codes, volts, _, verified = run(bench, "--yes", reference=False)
    words = codes.get("rate-in-doubt", "")
    report.check(status == 0 and "either the unit ends its band" in words and "calibrate loopback" in words and volts is not None,
                 "behind the amplifier it is a doubt, and kept", f"exit {status}: {words[:200]}")
    report.check(verified == 0, "and the session verifies", f"exit {verified}")
    bench.tell("band 0")
    bench.tell("rate 44100")
    status, told, _, volts, _, _ = run(bench, "--yes")
    # Sampled at 44.1 kHz, 22752 Hz stands mirrored at 44100 - 22752 = 21348 Hz.
    report.check(status == 3 and re.search(r"comes back as one of 21.35 kHz, mirrored by a rate of 44100 Hz", told) is not None and volts is None,
                 "a poor converter of rates is named by its mirror", f"exit {status}: {told.strip()[-280:]}")
    bench.tell("rate 0")


with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as shared:
    shared.tell("source_on_two")
    report.guarded("unmoved", lambda: unmoved(shared))
    for what, by in (("record_gain", 1.03), ("play_volume", 0.97)):
        report.guarded(what, lambda: moved(shared, what, by))
    report.guarded("asked", lambda: asked(shared))
    report.guarded("rate", lambda: rate_changed(shared))
report.finish()
