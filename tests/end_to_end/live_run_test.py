"""A live run over JACK against the virtual bench: power of a hard clip by closed form, Ctrl-C,
SIGTERM, resuming. Nothing here needs a sound card.

Faults have a script of their own (live_faults_test.py). Closed form: tests/outside/closed_forms.py (Fourier integrals of a clipped sine). The virtual bench clips sample by
sample, so harmonics above half the rate fold back between the harmonics; their power stays in the total.
"""

import json
import re
import signal
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import closed_forms, program  # noqa: E402
from outside.live_bench import ASSAY, GAIN, OHM, RAIL, RATE, Folder, LiveBench, bench_text, power_test  # noqa: E402
from outside.report import Report  # noqa: E402

FREQUENCY = 997
report = Report("live runs on the virtual bench")


def expected_volts(limit):
    """RMS at the load where the THD of the ideally clipped sine, counted up to 20 kHz, reaches the limit."""
    top = int(20000 / FREQUENCY)
    levels = np.linspace(0.0, 6.0, 601)
    at = closed_forms.last_upward_crossing(
        lambda level: closed_forms.thd(closed_forms.hard_clip(10 ** (-level / 20), top)), limit, levels)
    c = 10 ** (-at / 20)
    peak = RAIL * program.PROBE_V / c
    return peak * np.sqrt(closed_forms.hard_clip_mean_square(c))


def devices_and_refusals(bench):
    listed = bench.run(ASSAY, "devices", "--json")
    names = [entry["name"] for entry in json.loads(listed.stdout)]
    report.check(listed.returncode == 0 and bench.name in names, "assay devices lists the virtual bench", str(names))
    entry = next(entry for entry in json.loads(listed.stdout) if entry["name"] == bench.name)
    report.check(entry["inputs"] == 2 and entry["outputs"] == 2 and entry["rates_hz"] == [RATE], "its channels and its rate", str(entry))
    with Folder("refusal", [power_test()]) as folder:
        asked = bench.run(*folder.command())
        report.check(asked.returncode == 2 and "--yes" in asked.stderr and not folder.into.exists(),
                     "without terminal and --yes nothing is played", asked.stderr.strip()[-160:])
        folder.bench.write_text(bench_text().replace('record_device = "virtual-bench"', 'record_device = "virtual-bensh"'))
        wrong = bench.run(*folder.command("--yes"))
        report.check(wrong.returncode == 2 and 'did you mean "virtual-bench"' in wrong.stderr, "a slip in a device's name is answered",
                     wrong.stderr.strip()[-160:])
        folder.bench.write_text(bench_text().replace(f"sample_rate_hz = {RATE}", "sample_rate_hz = 44100"))
        wrong = bench.run(*folder.command("--yes"))
        report.check(wrong.returncode in (2, 3) and "48000" in wrong.stderr, "a rate that the device does not run at is refused",
                     wrong.stderr.strip()[-200:])
        folder.bench.write_text(bench_text())
    with Folder("wiring", [power_test()]) as folder:
        shown = bench.run(*folder.command("--show-wiring"))
        report.check(shown.returncode == 0 and "probe-a" in shown.stdout and not folder.into.exists(),
                     "--show-wiring draws and plays nothing", shown.stderr)


def power(bench):
    bench.tell(f"gain {GAIN}")
    bench.tell(f"rail {RAIL}")
    with Folder("power", [power_test(distortion_limits_percent=[1, 10])]) as folder:
        began = time.monotonic()
        run = bench.run(*folder.command("--yes", "--pages", "none"))
        report.check(run.returncode == 0, "a live run ends well", f"exit {run.returncode}: {run.stderr.strip()[-200:]}")
        load = folder.session()["tests"]["power"]["loads"]["load-a"]["quantities"]
        for percent in (1, 10):
            volts = expected_volts(percent / 100)
            report.relative(f"power at {percent} % THD against the closed form", load[f"power_at_{percent}_percent_w"]["value"],
                            volts**2 / OHM, 0.5)
        onset = RAIL * program.PROBE_V * 10 ** (-0.25 / 20)  # +0.5 dB of drive gives +0.25 dB of peak
        report.relative("clip onset against the closed form", load["clip_onset_positive_v"]["value"], onset, 1.0)
        report.relative("gain", 10 ** (load["gain_db"]["value"] / 20), GAIN * program.PROBE_V / program.OUTPUT_V, 0.2)
        runs = folder.session()["tests"]["power"]["takes"]
        report.check(len(runs) > 3, "several short runs", f"{len(runs)} runs in {time.monotonic() - began:.0f} s")
        loudest = max(max(take["tone"]["segments"]["level_dbfs"]) for take in runs)
        hottest = 20 * np.log10(RAIL / GAIN) + 5.0
        report.check(loudest < hottest, "no level far above the limit was played", f"{loudest:.2f} dBFS")
        again = bench.run(*folder.command("--yes", "--resume"))
        report.check(again.returncode == 2 and "nothing is left" in again.stderr, "a finished session has nothing to resume")


def stopped(bench, run, by, until):
    """Sends the signal while the tone sounds; the port is silent soon, and the exit says that a hand stopped it."""
    mark = time.monotonic()
    while bench.last_sound_s() < mark and time.monotonic() < until:
        time.sleep(0.01)
    sent = time.monotonic()
    run.send_signal(by)
    run.wait(timeout=20)
    silent_ms = 1000 * (bench.last_sound_s() - sent)
    # One block of the server waits in its output besides what the program fades.
    allowed_ms = 50 + 1000 * bench.period / RATE
    report.check(run.returncode == 130, f"{by.name} exits 130", f"exit {run.returncode}: {run.stderr.read().strip()[-120:]}")
    report.check(silent_ms < allowed_ms, f"silence after {by.name}", f"{silent_ms:.0f} ms, allowed {allowed_ms:.0f} ms")


def terminated(bench):
    """A machine that shuts down sends SIGTERM: as quiet as Ctrl-C, and what was captured is kept."""
    with Folder("terminated", [{"id": "only", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}]) as folder:
        run = bench.start(*folder.command("--yes", "--pages", "none"))
        until = time.monotonic() + 60
        while not (folder.into / "captures/only.wav.part").exists() and time.monotonic() < until and run.poll() is None:
            time.sleep(0.01)
        stopped(bench, run, signal.SIGTERM, until)
        kept = folder.into / "captures/only.wav"
        report.check(kept.exists() and not list(folder.into.glob("captures/*.part")), "what was captured before SIGTERM is kept")


def by_hand(bench):
    """Ctrl-C in the middle: silence at the port, exit 130; --resume keeps the test that was done."""
    tests = [{"id": "first", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30},
             {"id": "second", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -25}]
    with Folder("by-hand", tests) as folder:
        run = bench.start(*folder.command("--yes", "--pages", "none"))
        progress = folder.into / "progress/1/session.json"
        until = time.monotonic() + 60
        while not progress.exists() and time.monotonic() < until and run.poll() is None:
            time.sleep(0.02)
        part = folder.into / "captures/second.wav.part"
        while not part.exists() and time.monotonic() < until and run.poll() is None:
            time.sleep(0.01)
        stopped(bench, run, signal.SIGINT, until)
        report.check((folder.into / "captures/second.wav").exists(), "what was captured is kept")
        number = json.loads(progress.read_text())["number"] if "number" in json.loads(progress.read_text()) else None
        resumed = bench.run(*folder.command("--yes", "--resume", "--pages", "none"))
        summary = resumed.stderr.partition("What will be played:")[2].partition("Ctrl-C")[0]
        report.check("\n  second" in summary and "\n  first" not in summary, "its summary is of what is missing only", summary)
        report.check(resumed.returncode == 0 and '"first" is done already' in resumed.stderr, "--resume measures what is missing",
                     f"exit {resumed.returncode}: {resumed.stderr.strip()[-160:]}")
        session = folder.session()
        report.check(set(session["tests"]) == {"first", "second"} and not (folder.into / "progress").exists(), "the session is whole")
        report.check(session.get("number") == number, "and the same one")


def others(bench):
    """Two of the other measures through the same path: noise of the virtual bench and its gain, by closed form."""
    tests = [{"id": "noise", "measure": "noise", "loads": ["load-a"]},
             {"id": "response", "measure": "response", "loads": ["load-a"], "drive_dbfs": -30}]
    with Folder("others", tests) as folder:
        run = bench.run(*folder.command("--yes", "--pages", "none"))
        report.check(run.returncode == 0, "noise and response live", f"exit {run.returncode}: {run.stderr.strip()[-200:]}")
        report.check(re.search(r"noise +noise +silence, at most 12 s", run.stderr) and re.search(r"response +response +up to -30.0 dBFS", run.stderr),
                     "the summary tells silence from a level", run.stderr[:1600][-300:])
        found = {test: part["loads"]["load-a"]["quantities"] for test, part in folder.session()["tests"].items()}
        # Uniform within 3e-6: its square is a third of that of the peak; white up to 24 kHz. Its own spread over 12 s
        # of 20 kHz is 0.11 %, the converter's last bit adds 0.02 %.
        expected = 3e-6 / np.sqrt(3) * np.sqrt((20000 - 20) / 24000) * program.PROBE_V
        report.relative("noise of the virtual bench", found["noise"]["noise_v"]["value"], expected, 0.5)
        gain_db = 20 * np.log10(GAIN * program.PROBE_V / program.OUTPUT_V)
        report.absolute("gain at 1 kHz", found["response"]["gain_1khz_db"]["value"], gain_db, 0.001)


ANSWERS = """proceed = "yes"
load-a-plus_to_ground_v = "0,01"
load-a-minus_to_ground_v = "0 V"
load-a-plus_to_minus_v = "12 mV"
steady-14_4v-supply_idle_v = "14,38 V"
steady-12v-supply_idle_v = 11.97
loaded-supply_loaded_v = 13.9
loaded-case_temperature_c = "104 F"
"""


def readings(bench):
    """Meter readings from a file of answers, terminals before connecting, two supplies; verified, and checked live."""
    tests = [{"id": "steady", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30, "supply_voltages_v": [14.4, 12.0]},
             {"id": "loaded", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30, "supply_idle_v": 14.4,
              "ask": ["supply_loaded_v", "dc_offset_mv", "case_temperature_c"]}]
    claim = {"text": "0.1 W", "test": "steady", "quantity": "power_w", "at_least": 0.01, "at_supply_volts": 12}
    with Folder("readings", tests) as folder:
        folder.job.write_text(program.job_text(tests, [claim], {"minimum_bridged_load_ohm": 4.0}))
        answers = folder.path / "answers.toml"
        answers.write_text(ANSWERS.replace('"0 V"', '"7.1 V"').replace('"0,01"', '"7,11"'))
        live = bench.run(*folder.command("--answers", answers, "--pages", "none"))
        report.check(live.returncode == 3 and "is not ground" in live.stderr, "a live minus terminal is not connected to one probe", live.stderr.strip()[-200:])
        folder.into = folder.path / "second"
        unasked = bench.run(*folder.command("--yes", "--pages", "none"))
        report.check(unasked.returncode == 2 and "set the supply" in unasked.stderr, "nobody there to set the supply", unasked.stderr.strip()[-200:])
        answers.write_text(ANSWERS)
        run = bench.run(*folder.command("--answers", answers, "--pages", "none"))
        report.check(run.returncode == 0 and "READ THE METERS" in run.stderr, "a run that asks", f"exit {run.returncode}: {run.stderr.strip()[-300:]}")
        session = folder.session()
        conditions = {test: found["conditions"] for test, found in session["tests"].items()}
        got = [conditions["steady-14_4v"].get("supply_idle_v"), conditions["steady-12v"].get("supply_idle_v"),
               conditions["loaded"].get("supply_loaded_v"), conditions["loaded"].get("case_temperature_c"), conditions["loaded"].get("dc_offset_mv")]
        report.check(got == [14.38, 11.97, 13.9, 40.0, 12.0], "the readings are the tests' conditions", str(got))
        report.check(session["claims"][0]["verdict"] == "met" and session["claims"][0]["test"] == "steady-12v", "a claim finds its supply", str(session["claims"][0]))
        verified = bench.run(ASSAY, "verify", folder.into)
        report.check(verified.returncode == 0, "verified", verified.stdout.strip()[-300:] + verified.stderr.strip()[-200:])
        checked = bench.run(ASSAY, "check", folder.into, "--answers", answers, "--json")
        report.check(checked.returncode == 0 and json.loads(checked.stdout)["unchanged"], "checked live: unchanged",
                     f"exit {checked.returncode}: {checked.stdout.strip()[-900:]} {checked.stderr.strip()[-300:]}")
        bench.tell("rail 0.11")  # the tone's peak is 0.126
        checked = bench.run(ASSAY, "check", folder.into, "--answers", answers)
        bench.tell(f"rail {RAIL}")
        report.check(checked.returncode == 0 and "MOVED" in checked.stdout, "checked live: a lower rail is seen",
                     f"exit {checked.returncode}: {checked.stdout.strip()[-200:]} {checked.stderr.strip()[-400:]}")
        kept = folder.into / "readings.toml"
        kept.write_text(kept.read_text().replace("11.97", "14.4"))
        report.check(bench.run(ASSAY, "verify", folder.into).returncode == 4, "a changed reading is found")


with LiveBench(rate_hz=RATE, period=1024) as shared:
    for part in (devices_and_refusals, power, by_hand, terminated, others, readings):
        report.guarded(part.__name__, lambda: part(shared))
report.finish()
