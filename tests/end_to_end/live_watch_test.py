"""assay watch and assay new over JACK: readings against closed forms, lines a second, files that read back.

Closed forms: a sine's volts and watts; tests/outside/closed_forms.py for the clipped sine.
"""

import fcntl
import json
import math
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
import tomllib
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import closed_forms, program  # noqa: E402
from outside.live_bench import ASSAY, GAIN, OHM, RAIL, RATE, Folder, LiveBench, at_terminal, power_test  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("live meter and new files")
SECONDS = 4


def lines_of(bench, folder, *more, seconds=SECONDS):
    run = bench.run(ASSAY, "watch", "--bench", folder.bench, "--seconds", seconds, "--json", *more)
    return run, [json.loads(line) for line in run.stdout.splitlines()]


def median(lines, key):
    return float(np.median([line[key] for line in lines[len(lines) // 2:] if line[key] is not None]))


def readings(bench, folder):
    level = -30.0
    run, lines = lines_of(bench, folder, "--play", level)
    report.check(run.returncode == 0, "assay watch ends by itself", run.stderr.strip()[-200:])
    # The first stretch takes 0.2 s; a busy machine may skip some.
    report.check(len(lines) >= 8 * SECONDS, "lines a second", f"{len(lines) / SECONDS:.1f}")
    peak = 10 ** (level / 20) * GAIN * program.PROBE_V
    report.relative("volts of a sine", median(lines, "voltage_v"), peak / math.sqrt(2), 0.1)
    report.relative("watts of a sine", median(lines, "power_w"), peak**2 / 2 / OHM, 0.2)
    report.relative("frequency", median(lines, "frequency_hz"), 997.0, 0.01)
    report.check(all(line["amplifier_clips"] == "no" for line in lines[-10:] if line["steady"]), "no clipping below the rail")
    level = -12.0
    c = RAIL / (GAIN * 10 ** (level / 20))
    run, lines = lines_of(bench, folder, "--play", level, "--yes", seconds=3)
    harmonics = closed_forms.hard_clip(c, int(20000 / 997))
    report.relative("THD of a clipped sine", median(lines, "thd_percent"), 100 * closed_forms.thd(harmonics), 1.0)
    report.check(lines[-1]["amplifier_clips"] == "both" and not lines[-1]["recorder_overload"], "the clipping is the amplifier's", str(lines[-1]))
    loaded = folder.bench.read_text()
    folder.bench.write_text(loaded.replace(f"resistance_ohm = {OHM}", "resistance_ohm = inf"))
    run, lines = lines_of(bench, folder, "--play", -30.0, seconds=2)
    peak = 10 ** (-30 / 20) * GAIN * program.PROBE_V
    report.relative("without a load the highest volts while clean are held", lines[-1]["held_clean_voltage_v"], peak / math.sqrt(2), 0.1)
    report.check(lines[-1]["held_power_w"] is None and lines[-1]["held_clean_power_w"] is None, "and no watts", str(lines[-1])[:300])
    folder.bench.write_text(loaded)
    bench.tell("gain 20")
    bench.tell("rail 20")
    bench.tell("ceiling 1")
    run, lines = lines_of(bench, folder, "--play", level, "--yes", seconds=2)
    report.check(lines[-1]["recorder_overload"] and lines[-1]["thd_percent"] is None, "the recorder's overload is told, distortion withheld", str(lines[-1]))
    refused = bench.run(ASSAY, "watch", "--bench", folder.bench, "--play", level, "--seconds", 1)
    report.check(refused.returncode == 2, "a tone above -20 dBFS is asked for", refused.stderr.strip()[-160:])
    loud = bench.run(ASSAY, "watch", "--bench", folder.bench, "--play", -1, "--yes", "--seconds", 1)
    report.check(loud.returncode == 2 and "allows" in loud.stderr, "and none is louder than the bench allows", loud.stderr.strip()[-160:])
    plain = bench.run(ASSAY, "watch", "--bench", folder.bench, "--seconds", 1)
    report.check("no steady tone" in plain.stdout, "without a tone it says so", plain.stdout[:160])


# A comparator that closes its contact 1.6 dB below the rail, on the recorder's second channel.
DETECTOR = 0.5
LAMP = program.table("[[input]]", {"name": "lamp", "channel": 2, "role": "clip-detector", "volts_at_full_scale": 1.0})
LIT_DBFS = 20 * math.log10(DETECTOR / GAIN)


def lamps(bench):
    """The contact is out_2: closed where the drive times the gain passes DETECTOR, whatever the wave shows."""
    bench.tell(f"detector {DETECTOR}")
    with Folder("lamp", [power_test()], more_bench=LAMP) as folder:
        for level, lit in ((LIT_DBFS - 0.5, False), (LIT_DBFS + 0.5, True)):
            run, lines = lines_of(bench, folder, "--play", f"{level:.2f}", "--yes", seconds=2)
            report.check(lines and all(line["clip_detectors"]["lamp"] == lit and line["amplifier_clips"] == "no" for line in lines[-5:]),
                         f"the lamp is {'lit' if lit else 'dark'} at {level:.2f} dBFS, the wave whole", str(lines[-1:])[:300])
        seen = at_terminal(bench, (ASSAY, "watch", "--bench", folder.bench, "--play", LIT_DBFS + 0.5, "--yes", "--seconds", 2), [], timeout_s=30)
        report.check("lamp" in seen.text, "it is named at the terminal", seen.text[-400:])
        run = bench.run(*folder.command("--yes", "--pages", "none"))
        found = folder.session()["tests"]["power"]
        shown = found["conditions"].get("clip_detector_dbfs.lamp")
        report.check(run.returncode == 0 and shown is not None and LIT_DBFS <= shown < LIT_DBFS + 1.0,
                     "clipping-power keeps at which drive it lit", f"{shown} dBFS, contact from {LIT_DBFS:.2f} dBFS; {run.stderr.strip()[-200:]}")
        told = " ".join(run.stdout.split())
        report.check(f"lowest drive that lights lamp {shown:g} dBFS" in told, "and says so", told[:600])


def left_by_a_key(bench):
    """A terminal of 50 columns: every row fits, so that each reading is drawn over the one before; q ends it."""
    columns = 50
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    with Folder("key", [power_test()], more_bench=LAMP) as folder:
        command = (ASSAY, "watch", "--bench", folder.bench, "--play", -20, "--seconds", 20, "--quiet")
        watch = subprocess.Popen([*map(str, command)], stdin=slave, stdout=slave, stderr=slave, env=bench.environment,
                                 start_new_session=True, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))
        before = termios.tcgetattr(slave)
        text, pressed, until = "", False, time.monotonic() + 20
        while time.monotonic() < until and watch.poll() is None:
            if select.select([master], [], [], 0.1)[0]:
                text += os.read(master, 65536).decode()
            if not pressed and text.count("q ends") >= 3:
                os.write(master, b"q")
                pressed = True
        status, took = watch.wait(timeout=30), 20 - (until - time.monotonic())
        report.check(status == 0 and pressed and took < 18, "the key q ends it", f"exit {status} after {took:.1f} s: {text[-300:]!r}")
        report.check(termios.tcgetattr(slave) == before, "and the terminal is as it was")
    os.close(slave)
    os.close(master)
    drawn = [part for part in re.split(r"\033\[\d+A", text.replace("\033[K", "").replace("\r", ""))]
    rows = [part.removesuffix("\033[J").split("\n")[:-1] for part in drawn]
    up = [int(number) for number in re.findall(r"\033\[(\d+)A", text)]
    report.check(len(up) >= 2 and up == [len(part) for part in rows[:len(up)]], "each reading covers the one before", f"{up} {[len(part) for part in rows]}")
    report.check(max(len(row) for part in rows for row in part) < columns, "no row is wider than the terminal", str(rows[-1]))


def new_files(folder):
    here = folder.path
    for name, text in {"a": "", "b": 'bridged = "yes"\npower_w = 180\n', "c": 'jig = "yes"\nheadphone = "yes"\ncard_inputs = 4\n'}.items():
        answers, file = here / f"{name}.answers", here / f"{name}.toml"
        answers.write_text('device = "card"\n' + text)
        made = program.assay("new", "bench", file, "--answers", answers)
        report.check(made.status == 0 and file.exists(), f"new bench {name}", made.err[-200:])
        job = here / f"{name}-job.toml"
        answers.write_text(f'bench = "{file}"\nkind = "amplifier"\nrated_power_w = 20\nsupply_v = 14.4\n')
        made = program.assay("new", "job", job, "--answers", answers)
        report.check(made.status == 0 and job.exists(), f"new job {name}", made.err[-200:])
        text = job.read_text() if job.exists() else ""
        report.check("maker" not in tomllib.loads(text)["unit"] and '# maker = ""' in text, f"what is not stated stays out of the job {name}", text[:300])
        tones = program.assay("tones", job, "--bench", file, "--into", here / f"{name}-tones", "--quiet")
        report.check(tones.status == 0, f"tones of the new files {name}", tones.err[-200:])
        wiring = program.assay("run", job, "--bench", file, "--into", here / "none", "--show-wiring")
        report.check(wiring.status == 0 and ("BRIDGED" in wiring.out) == (name == "b"), f"wiring of the new files {name}", wiring.err[-200:])
        report.check(wiring.out.count("--- load \"load-") == (1 if name == "b" else 2) and wiring.out.count('tests "distortion" (distortion), "power"') == 1,
                     f"tests that are connected alike are drawn once {name}", wiring.out)
    # A card of two inputs: those are the jig's, and the bench has no channel that the card has not.
    answers.write_text('device = "card"\njig = "yes"\n')
    made = program.assay("new", "bench", here / "jig.toml", "--answers", answers)
    channels = [entry["channel"] for entry in tomllib.loads((here / "jig.toml").read_text())["input"]] if made.status == 0 else []
    report.check(channels == [1, 2] and "for drivers" in made.err, "new bench for a jig on a card of two inputs", f"{channels} {made.err[-200:]}")
    answers.write_text(f'bench = "{here / "jig.toml"}"\n')
    made = program.assay("new", "job", here / "jig-job.toml", "--answers", answers)
    tones = program.assay("tones", here / "jig-job.toml", "--bench", here / "jig.toml", "--into", here / "jig-tones", "--quiet")
    report.check(made.status == 0 and tones.status == 0, "and a job for it is one for a driver", made.err[-200:] + tones.err[-200:])
    answers.write_text(f'bench = "{here / "a.toml"}"\nkind = "line"\nrated_output_v = 4\nrated_thd_percent = 0.1\n')
    made = program.assay("new", "job", here / "line.toml", "--answers", answers)
    tones = program.assay("tones", here / "line.toml", "--bench", here / "a.toml", "--into", here / "line-tones", "--quiet")
    text = (here / "line.toml").read_text() if made.status == 0 else ""
    report.check(tones.status == 0 and 'inputs = ["probe-a", "probe-b"]' in text and "voltage_at_0_1_percent_v" in text and "[rating]" not in text,
                 "new job for a line unit: inputs in place of loads", made.err[-200:] + tones.err[-200:])
    answers.write_text(f'bench = "{here / "a.toml"}"\nkind = "amplifier"\nrated_power_w = 20\nrating_basis = "mobile-14.4-v"\nsupply_v = 14.4\n')
    made = program.assay("new", "job", here / "rated.toml", "--answers", answers)
    text = (here / "rated.toml").read_text() if made.status == 0 else ""
    report.check('basis = "mobile-14.4-v"' in text and "THD+N" in text and "at_supply_volts" not in text, "new job asks for the basis of the rating", made.err[-200:] + text[-300:])
    again = program.assay("new", "bench", here / "a.toml", "--answers", here / "a.answers")
    report.check(again.status == 2 and "there already" in again.err, "a file is not written over", again.err)
    # The divider by hand: twice 180 W into 4 ohm is 53.67 V peak across the bridge, 26.83 V at each end; -8 dBFS of 2 V
    # are 0.796 V; 33.7 to 1 wants 29.7 kohm over 1 k || 10 k = 909.1 ohm, of E24 30 kohm: 34.0 to 1.
    bench = tomllib.loads((here / "b.toml").read_text())
    report.relative("divider from stock parts", bench["input"][0]["attenuation"], 1 + 30000 / (1000 * 10000 / 11000), 0.001)
    unanswered = program.assay("new", "bench", here / "d.toml")
    report.check(unanswered.status == 2 and "--answers" in unanswered.err, "without terminal and answers it refuses", unanswered.err)


with Folder("watch", [power_test()]) as shared_folder:
    report.guarded("new", lambda: new_files(shared_folder))
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as virtual:
        report.guarded("watch", lambda: readings(virtual, shared_folder))
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as virtual:
        report.guarded("left by a key", lambda: left_by_a_key(virtual))
        report.guarded("lamps", lambda: lamps(virtual))
report.finish()
