"""Bad bench and job files: exit 2, and one line that names file, line, key, what is wrong and the mend.

Each case is one edit of a sound pair of files. The line that must be named is the one that holds the mark `<<` in
the edit (the mark is taken out before the file is written).
"""

import json
import re
import sys
import tempfile
import tomllib
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program, sound_files  # noqa: E402
from outside.report import Report  # noqa: E402

BENCH = """[sound]
source = "device"
sample_rate_hz = 96000
ground = "supply-negative"

[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_volts = 1.5

[[input]]
name = "probe-a"
channel = 1
volts_at_full_scale = 1.95
attenuation = 12.0
uncertainty_percent = 1.0

[[input]]
name = "probe-b"
channel = 2
volts_at_full_scale = 1.95
attenuation = 12.0
meter = "bench-meter"

[[input]]
name = "lamp"
channel = 3
volts_at_full_scale = 1.95
role = "clip-detector"
threshold_dbfs = -20.0

[[meter]]
name = "bench-meter"
accuracy_percent = 0.8
digits = 3
resolution_v = 0.01

[[load]]
name = "load-a"
resistance_ohm = 4.03
uncertainty_percent = 1.5
plus = "probe-a"

[[load]]
name = "bridge"
resistance_ohm = 4.03
tolerance_percent = 1.0
plus = "probe-a"
minus = "probe-b"
"""

JOB = """[unit]
kind = "amplifier"
maker = "Nordhall"
model = "Kestrel 2"
serial = "000123"

[[test]]
id = "power-4-ohm"
measure = "clipping-power"
loads = ["load-a"]
frequency_hz = 997
supply_idle_v = 14.4

[[test]]
id = "thd"
measure = "distortion"
loads = ["load-a"]
drive_dbfs = -20

[[claim]]
text = "22 W per channel into 4 ohm, 1 % THD"
test = "power-4-ohm"
load = "load-a"
quantity = "power_at_1_percent_w"
at_least = 22.0
at_supply_volts = 14.4
"""

# what, file, old text, new text (`<<` marks the line that must be named), words that the line must hold
CASES = [
    # Shape of the file
    ("no TOML", "bench", "channel = 2", "channel 2<<", []),
    ("text not closed", "job", 'serial = "000123"', 'serial = "000123<<', []),
    ("a key twice", "bench", "channel = 2", "channel = 2\nchannel = 4<<", ["channel"]),
    ("an unknown table", "bench", "[[meter]]", "[[metre]]<<", ["metre", "meter"]),
    ("an unknown key, near one", "bench", "attenuation = 12.0\nuncertainty", "atenuation = 12.0<<\nuncertainty", ["atenuation", "attenuation"]),
    ("an unknown key, near one, job", "job", "frequency_hz = 997", "frequenzy_hz = 997<<", ["frequenzy_hz", "frequency_hz"]),
    ("a key of another measure", "job", "drive_dbfs = -20", "from_dbfs = -20<<", ["from_dbfs"]),
    ("a key without its unit", "job", "frequency_hz = 997", "frequency = 997<<", ["frequency", "frequency_hz"]),
    ("a text for a number", "bench", "volts_at_full_scale = 1.95\nattenuation = 12.0\nuncertainty", 'volts_at_full_scale = "1.95 V"<<\nattenuation = 12.0\nuncertainty', ["volts_at_full_scale", "number"]),
    ("a number for a text", "job", 'serial = "000123"', "serial = 123<<", ["serial"]),
    ("a table for a list", "bench", "[[output]]", "[output]<<", ["output"]),
    # Bench: ranges
    ("a rate in kilohertz", "bench", "sample_rate_hz = 96000", "sample_rate_hz = 96<<", ["sample_rate_hz", "Hz"]),
    ("rate missing", "bench", "[sound]\nsource = \"device\"\nsample_rate_hz = 96000", "[sound]<<\nsource = \"device\"", ["sample_rate_hz"]),
    ("channel 0", "bench", "channel = 2", "channel = 0<<", ["channel", "1"]),
    ("channel 1.5", "bench", "channel = 2", "channel = 1.5<<", ["channel", "whole"]),
    ("full scale of 0 V", "bench", "volts_at_full_scale = 2.0", "volts_at_full_scale = 0<<", ["volts_at_full_scale"]),
    ("full scale not a number", "bench", "volts_at_full_scale = 2.0", "volts_at_full_scale = nan<<", ["volts_at_full_scale"]),
    ("full scale infinite", "bench", "volts_at_full_scale = 2.0", "volts_at_full_scale = inf<<", ["volts_at_full_scale"]),
    ("negative attenuation", "bench", "attenuation = 12.0\nuncertainty", "attenuation = -12.0<<\nuncertainty", ["attenuation"]),
    ("negative resistance", "bench", "resistance_ohm = 4.03\nuncertainty", "resistance_ohm = -4.03<<\nuncertainty", ["resistance_ohm"]),
    ("input full scale missing", "bench", '[[input]]\nname = "lamp"\nchannel = 3\nvolts_at_full_scale = 1.95', '[[input]]<<\nname = "lamp"\nchannel = 3', ["volts_at_full_scale", "lamp"]),
    ("uncertainty and tolerance", "bench", "tolerance_percent = 1.0", "tolerance_percent = 1.0\nuncertainty_percent = 1.0<<?", ["tolerance_percent", "uncertainty_percent"]),
    ("ground of no known kind", "bench", '"supply-negative"', '"chassis"<<', ["ground", "isolated"]),
    ("role of no known kind", "bench", '"clip-detector"', '"clip"<<', ["role", "clip-detector"]),
    # Bench: references
    ("two inputs on one channel", "bench", "channel = 2", "channel = 1<<", ["channel", "probe-a"]),
    ("two inputs of one name", "bench", 'name = "probe-b"', 'name = "probe-a"<<', ["name", "probe-a"]),
    ("plus names nothing", "bench", 'plus = "probe-a"\n\n', 'plus = "probe-c"<<\n\n', ["plus", "probe-c", "probe-a"]),
    ("minus is plus", "bench", 'minus = "probe-b"', 'minus = "probe-a"<<', ["minus"]),
    ("plus is the lamp", "bench", 'plus = "probe-a"\n\n', 'plus = "lamp"<<\n\n', ["plus", "lamp"]),
    ("meter names nothing", "bench", 'meter = "bench-meter"', 'meter = "bench-metre"<<', ["meter", "bench-meter"]),
    ("driven by nothing known", "bench", "uncertainty_percent = 1.5", 'uncertainty_percent = 1.5\ndriven_by = ["drove"]<<', ["driven_by", "drive"]),
    ("a bridge with the ground on a terminal", "bench", 'ground = "supply-negative"', 'ground = "load-minus"<<?', ["minus", "ground"]),
    # Job
    ("kind of no known kind", "job", 'kind = "amplifier"', 'kind = "amp"<<', ["kind", "amplifier"]),
    ("measure of no known kind", "job", '"clipping-power"', '"clip-power"<<', ["measure", "clipping-power"]),
    ("two tests of one id", "job", 'id = "thd"', 'id = "power-4-ohm"<<', ["id", "power-4-ohm"]),
    ("ids that differ by case only", "job", 'id = "thd"', 'id = "Power-4-ohm"<<', ["id"]),
    ("an id that leaves the folder", "job", 'id = "thd"', 'id = "../thd"<<', ["id", "letters"]),
    ("an id with a blank", "job", 'id = "thd"', 'id = "thd 4"<<', ["id", "letters"]),
    ("an empty id", "job", 'id = "thd"', 'id = ""<<', ["id"]),
    ("an id of our own file", "job", 'id = "thd"', 'id = "level-set"<<', ["id"]),
    ("a load that is not there", "job", 'loads = ["load-a"]\nfrequency', 'loads = ["load-b"]<<\nfrequency', ["loads", "load-b", "load-a"]),
    ("no load", "job", 'loads = ["load-a"]\nfrequency', 'loads = []<<\nfrequency', ["loads"]),
    ("a load twice", "job", 'loads = ["load-a"]\nfrequency', 'loads = ["load-a", "load-a"]<<\nfrequency', ["loads", "load-a"]),
    ("frequency in kilohertz", "job", "frequency_hz = 997", "frequency_hz = 0.997<<", ["frequency_hz", "Hz"]),
    ("frequency above half the rate", "job", "frequency_hz = 997", "frequency_hz = 60000<<", ["frequency_hz"]),
    ("two levels", "job", "drive_dbfs = -20", "drive_dbfs = -20\ndrive_volts = 0.1<<?", ["drive_dbfs", "drive_volts"]),
    ("a level above full scale", "job", "drive_dbfs = -20", "drive_dbfs = 3<<", ["drive_dbfs"]),
    ("a level that breaks the guard", "job", "drive_dbfs = -20", "drive_dbfs = -1<<", ["drive_dbfs", "maximum_volts", "drive"]),
    ("volts that break the guard", "job", "drive_dbfs = -20", "drive_volts = 1.2<<", ["drive_volts"]),
    ("a staircase that breaks the guard", "job", "supply_idle_v = 14.4", "supply_idle_v = 14.4\nto_dbfs = -1.0<<", ["to_dbfs"]),
    ("a staircase that goes down", "job", "supply_idle_v = 14.4", "supply_idle_v = 14.4\nfrom_dbfs = -10\nto_dbfs = -20<<?", ["_dbfs"]),
    ("a limit of 0 %", "job", "supply_idle_v = 14.4", "supply_idle_v = 14.4\ndistortion_limits_percent = [0]<<", ["distortion_limits_percent"]),
    ("claim on an unknown test", "job", 'test = "power-4-ohm"', 'test = "power-4"<<', ["test", "power-4-ohm"]),
    ("claim on an unknown load", "job", 'load = "load-a"', 'load = "load-b"<<', ["load", "load-a"]),
    ("claim on an unknown quantity", "job", '"power_at_1_percent_w"', '"power_w"<<', ["quantity"]),
    ("claim on a limit that is not asked for", "job", '"power_at_1_percent_w"', '"power_at_3_percent_w"<<', ["quantity", "distortion_limits_percent"]),
    ("claim without a limit", "job", "at_least = 22.0\n", "", ["at_least"]),
    ("claim with both ends of one", "job", "at_least = 22.0", "at_least = 22.0\nat_most = 30.0<<?", ["at_least", "at_most"]),
    ("nominal without its width", "job", "at_least = 22.0", "nominal = 22.0<<?", ["within_percent"]),
]


def calibrated(report, folder):
    """A name may hold any sign: it comes back whole in JSON and in the bench file. A mend names the option that is there."""
    bench = folder / "calibrated.toml"
    bench.write_text(BENCH.replace('"probe-a"', '"probe \\"a\\""').replace("bench-meter", 'the \\"good\\" one'))
    recording = folder / "tone.wav"
    sound_files.write_wav(recording, 48000, 0.3 * np.sin(2 * np.pi * 83 * np.arange(3 * 48000) / 48000), "pcm24")
    typed = ("calibrate", "input", "--bench", bench, "--recording", recording, "--meter-volts", 5.0)
    done = program.assay(*typed, "--input", 'probe "a"', "--meter", 'the "good" one', "--json")
    answer = json.loads(done.out)
    # 5 V RMS at the tip of a divider of 12 to 1 stand for a peak of 0.3.
    report.relative("a quoted name: volts_at_full_scale", answer["volts_at_full_scale"], 5.0 * np.sqrt(2) / 0.3 / 12.0, 0.001)
    report.check(answer["input"] == 'probe "a"' and tomllib.loads(bench.read_text())["input"][0]["meter"] == 'the "good" one', "a quoted name: whole in both", done.out)
    for more, word in (((), "--input"), (("--input", "probe-x"), "--input"), (("--input", 'probe "a"', "--meter", "none"), "[[meter]]")):
        done = program.assay(*typed, *more)
        report.check(done.status == 2 and word in done.err and len(done.error_lines) == 1, f"calibrate input {' '.join(more)}: the mend", done.err.strip()[:200])


def main():
    report = Report("Bad bench and job files")
    with tempfile.TemporaryDirectory(prefix="assay-test-") as folder:
        folder = Path(folder)
        files = {"bench": folder / "bench.toml", "job": folder / "job.toml"}

        def tones(into):
            return program.assay("tones", files["job"], "--bench", files["bench"], "--into", folder / into)

        files["bench"].write_text(BENCH)
        files["job"].write_text(JOB)
        outcome = tones("sound")
        report.check(outcome.status == 0, "the sound pair is accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        for number, (what, file, old, new, words) in enumerate(CASES):
            text = {"bench": BENCH, "job": JOB}[file]
            assert text.count(old) >= 1, (what, old)
            text = text.replace(old, new, 1)
            lines = text.split("\n")
            # `<<?`: which of several keys is named is open, so is the line.
            marked = [i + 1 for i, line in enumerate(lines) if "<<" in line and "<<?" not in line]
            text = text.replace("<<?", "").replace("<<", "")
            files["bench"].write_text(text if file == "bench" else BENCH)
            files["job"].write_text(text if file == "job" else JOB)
            into = f"bad-{number}"
            outcome = tones(into)
            line = outcome.err.strip()
            place = re.search(re.escape(files[file].name) + r":(\d+)", line)
            problems = []
            if outcome.status != 2:
                problems.append(f"exit {outcome.status}")
            if len(outcome.error_lines) != 1:
                problems.append(f"{len(outcome.error_lines)} lines")
            if place is None:
                problems.append(f"names no line of {files[file].name}")
            elif marked and int(place.group(1)) != marked[0]:
                problems.append(f"names line {place.group(1)}, not {marked[0]}")
            problems += [f"does not say {word}" for word in words if word.lower() not in line.lower()]
            if (folder / into).exists() and any((folder / into).iterdir()):
                problems.append("wrote tones all the same")
            report.check(not problems, what, "; ".join(problems) + (": " if problems else "") + line.replace(str(folder), "")[:260])
        files["bench"].write_text(BENCH)
        files["job"].write_text(JOB)
        for what, arguments in [
                ("no job file", ("tones", folder / "none.toml", "--bench", files["bench"], "--into", folder / "x")),
                ("no bench given", ("tones", files["job"], "--into", folder / "x")),
                ("a folder for a job", ("tones", folder, "--bench", files["bench"], "--into", folder / "x")),
                ("an unknown command", ("tune", files["job"])),
                ("an unknown option", ("tones", files["job"], "--bench", files["bench"], "--into", folder / "x", "--lowd")),
                ("no command", ()),
                ("a rate that no tone fits", ("tones", files["job"], "--bench", files["bench"], "--into", folder / "x", "--rate", "12")),
                ("recordings that are not there", ("run", files["job"], "--bench", files["bench"], "--recordings", folder / "nowhere", "--into", folder / "s", "--yes"))]:
            outcome = program.assay(*arguments)
            report.check(outcome.status == 2 and len(outcome.error_lines) == 1, what, f"exit {outcome.status}, {len(outcome.error_lines)} line(s): {outcome.err.strip()[:200]}")
        for arguments, words in ((("tune",), ('"tune"', "assay --help")), (("demo", "twice"), ("twice", "assay demo --help")),
                                 (("calibrate", "input", "--lowd"), ("assay calibrate input --help",)), ((), ("a command is needed",))):
            line = program.assay(*arguments).err
            report.check(all(word in line for word in words), f"a mistyped line says where to read on: {' '.join(arguments) or 'nothing typed'}", line.strip())
        calibrated(report, folder)
        # Numbers are written in any of TOML's ways; Windows line ends and a byte order mark come from other editors.
        for what, edit in [("whole numbers for broken ones", lambda t: t.replace("12.0", "12")), ("underscores and exponents", lambda t: t.replace("96000", "96_000").replace("12.0", "1.2e1")),
                           ("Windows line ends", lambda t: t.replace("\n", "\r\n")), ("a byte order mark", lambda t: "\ufeff" + t)]:
            files["bench"].write_bytes(edit(BENCH).encode())
            outcome = tones("fine-" + what.replace(" ", "-"))
            report.check(outcome.status == 0, "accepted: " + what, outcome.err.strip()[:200])
    report.finish()


if __name__ == "__main__":
    main()
