"""PortAudio over ALSA without hardware: a private configuration (ALSA_CONFIG_PATH) whose devices are alsa-lib's own
plugin `null`, which takes and gives samples at once and has no converter behind it. What the libraries below print
must not reach the user, and no number may come of such a device.
"""

import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import program  # noqa: E402
from outside.live_bench import Folder  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("ALSA without hardware")
CONFIGURATION = """pcm.nowhere { type null hint { show on description "a plug into nothing" } }
pcm.broken { type hw card 31 hint { show on description "a card that is not there" } }
pcm.!default { type null }
ctl.!default { type hw card 0 }
"""
TESTS = [{"id": "power", "measure": "distortion", "loads": ["load-a"], "drive_dbfs": -30}]


def run(folder, *command):
    file = folder.path / "asound.conf"
    file.write_text(CONFIGURATION)
    environment = {**os.environ, "ALSA_CONFIG_PATH": str(file), "JACK_NO_START_SERVER": "1", "LC_ALL": "C.UTF-8"}
    return subprocess.run([program.PROGRAM, *map(str, command)], stdin=subprocess.DEVNULL, capture_output=True, text=True,
                          timeout=120, env=environment, errors="replace")


def devices(folder):
    listed = run(folder, "devices")
    report.check(listed.returncode == 0 and "nowhere" in listed.stdout and "ALSA" in listed.stdout, "assay devices lists it", listed.stdout[:200])
    report.check(listed.stderr == "", "the libraries' own words do not reach the user", listed.stderr[:300])


def no_converter(folder):
    folder.bench.write_text(folder.bench.read_text().replace('"virtual-bench"', '"nowhere"'))
    done = run(folder, *folder.command("--yes", "--pages", "none")[1:])
    told = done.stderr.strip().splitlines()[-1]
    report.check(done.returncode == 3 and ("no converter is behind" in told), "a device without a converter is named", f"exit {done.returncode}: {told[-240:]}")
    report.check("ALSA lib" not in done.stderr and "PaAlsa" not in done.stderr, "and nothing else is printed", done.stderr[-200:])
    numbers = folder.session()["tests"]["power"]["loads"]
    report.check(not any(found["quantities"] for found in numbers.values()), "no number comes of it", str(numbers)[:200])


with Folder("alsa", TESTS) as shared:
    report.guarded("devices", lambda: devices(shared))
    report.guarded("no converter", lambda: no_converter(shared))
report.finish()
