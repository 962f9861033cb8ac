"""Tampering is found and named; what was not tampered with is verified; the same unit is known again.

Outside sources: Python's tarfile reads and forges bundles; hashlib hashes.
"""

import hashlib
import io
import json
import math
import os
import re
import shutil
import stat
import sys
import tarfile
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Signature, verification, check")

BENCH = """
[sound]
source = "simulated"
sample_rate_hz = 48000
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
photographs = ["front.png"]
[[test]]
id = "power"
measure = "clipping-power"
loads = ["load-a"]
from_dbfs = -12
step_db = 0.5
[[test]]
id = "clean"
measure = "distortion"
loads = ["load-a"]
[[claim]]
text = "22 W into 4 ohm"
test = "power"
load = "load-a"
quantity = "power_at_1_percent_w"
at_least = 22.0
"""
PICTURE = bytes.fromhex("89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c6360606000000004000"
                        "1f61738550000000049454e44ae426082")


def verify(path, *more):
    return program.assay("verify", path, *more)


def found(what, path, *names):
    """Refused with exit 4 in one line, and all the names stand in what is said."""
    done = verify(path)
    said = done.out + done.err
    return report.check(done.status == 4 and len(done.error_lines) == 1 and all(name in said for name in names), what,
                        done.err.strip()[-220:] or f"exit {done.status}")


def make(here):
    (here / "bench.toml").write_text(BENCH)
    (here / "job.toml").write_text(JOB)
    (here / "front.png").write_bytes(PICTURE)
    done = program.assay("run", here / "job.toml", "--bench", here / "bench.toml", "--into", here / "s", "--pages", "html")
    report.check(done.status == 0, "a session", done.err)
    done = verify(here / "s", "--json")
    answer = json.loads(done.out)
    report.check(done.status == 0 and answer["verified"] and not answer["signed"], "an unsigned session is verified, and said to be unsigned")
    report.check(answer["bit_identical"] and len(answer["numbers"]) > 10, "every number comes back to the last bit", f"{len(answer['numbers'])} numbers")
    report.check("none: who made the session cannot be told" in verify(here / "s").out, "the text says what is missing")


def key(here):
    keys = here / "keys"
    done = program.assay("certify", here / "s", "--sign", "--bundle")
    report.check(done.status == 0, "signed and packed", done.err[-200:])
    file = keys / "signing-key"
    report.check(stat.S_IMODE(keys.stat().st_mode) == 0o700 and stat.S_IMODE(file.stat().st_mode) == 0o600, "the key is its owner's alone")
    answer = json.loads(verify(here / "s", "--json").out)
    report.check(answer["verified"] and answer["signed"] and answer["own_key"] and answer["pages"] > 2, "the signature is good, and our own")
    page = (here / "s/certificate.html").read_text()
    report.check(answer["key"] in page and answer["fingerprint"] in page, "the page bears both fingerprints", answer["key"])
    report.check("do not prove" in page and "who owns a key" in page, "the page says what a signature does not prove")
    report.check(verify(here / "s", "--key", answer["key"]).status == 0, "the expected key is found")
    done = verify(here / "s", "--key", "0000-" + answer["key"][5:])
    report.check(done.status == 4 and answer["key"] in done.err, "another key than the expected one is told", done.err.strip()[-200:])
    file.chmod(0o644)
    shutil.copytree(here / "s", here / "loose")
    done = program.assay("certify", here / "loose", "--sign")
    report.check(done.status == 2 and "others may read it" in done.err and len(done.error_lines) == 1, "a key that others may read is refused", done.err.strip())
    file.chmod(0o600)
    done = program.assay("certify", here / "s", "--format", "html")
    report.check(done.status == 0 and verify(here / "s").status == 0, "pages written again are signed again", done.err[-200:])
    os.environ["ASSAY_KEY_DIR"] = str(here / "other keys")
    done = program.assay("certify", here / "loose")
    report.check(done.status == 2 and "another key" in done.err, "pages that somebody else signed are not written over", done.err.strip()[:200])
    done = program.assay("certify", here / "loose", "--sign")
    other = json.loads(verify(here / "loose", "--json").out)
    report.check(other["verified"] and other["key"] != answer["key"], "a session signed with a foreign key shows that key")
    report.check(verify(here / "loose", "--key", answer["key"]).status == 4, "and is not taken for ours")
    os.environ["ASSAY_KEY_DIR"] = str(keys)
    shutil.copy(here / "loose/signature.json", here / "swapped.json")
    shutil.rmtree(here / "loose")


def flipped(here):
    """One bit in each file of the folder."""
    files = sorted(path for path in (here / "s").rglob("*") if path.is_file() and path.suffix != ".tar")
    for path in files:
        good = path.read_bytes()
        for part in (0.31, 0.97):
            at = int(part * len(good))
            path.write_bytes(good[:at] + bytes([good[at] ^ 1]) + good[at + 1:])
            found(f"a bit flipped in {path.relative_to(here / 's')} at {100 * part:.0f} %", here / "s", path.name)
        path.write_bytes(good)
    for name in ("captures/power.wav", "session.json", "contents.json", "certificate.html", "photographs/front.png"):
        path = here / "s" / name
        good = path.read_bytes()
        path.unlink()
        found(f"{name} taken away", here / "s", path.name)
        path.write_bytes(good)
    good = (here / "s/signature.json").read_bytes()
    shutil.copy(here / "swapped.json", here / "s/signature.json")
    found("the signature of another key over other pages", here / "s", "certificate.html")
    (here / "s/signature.json").write_bytes(good)
    (here / "s/remark.txt").write_text("sold to M.")
    done = verify(here / "s")
    report.check(done.status == 0 and "remark.txt was added later" in done.out, "a file that was added is told, and harms nothing")
    (here / "s/remark.txt").unlink()
    report.check(verify(here / "s").status == 0, "all put back, it is verified")


def rehash(folder):
    """What a forger without the key would do: write contents.json anew, and leave out the signature."""
    (folder / "signature.json").unlink(missing_ok=True)
    contents = json.loads((folder / "contents.json").read_text())
    for entry in contents["files"]:
        data = (folder / entry["path"]).read_bytes()
        entry.update(bytes=len(data), blake2b=hashlib.blake2b(data, digest_size=32).hexdigest())
    lines = (folder / "contents.json").read_text()
    for entry in contents["files"]:
        lines = re.sub(r'("path": "' + re.escape(entry["path"]) + r'",\s+"bytes": )\d+(,\s+"blake2b": ")[0-9a-f]+',
                       lambda m, e=entry: f'{m[1]}{e["bytes"]}{m[2]}{e["blake2b"]}', lines)
    (folder / "contents.json").write_text(lines)


def forged(here):
    """Forgeries whose hashes were made to fit: only computing again finds them."""
    def forge(what, names, spoil):
        copy = here / "forged"
        shutil.copytree(here / "s", copy)
        spoil(copy)
        rehash(copy)
        found(what, copy, *names)
        shutil.rmtree(copy)

    def edit(change):
        def spoil(folder):
            text = (folder / "session.json").read_text()
            changed = change(text)
            assert changed != text
            (folder / "session.json").write_text(changed)
        return spoil

    session = json.loads((here / "s/session.json").read_text())
    watts = session["tests"]["power"]["loads"]["load-a"]["quantities"]["power_at_1_percent_w"]["value"]
    forge("a number edited in its fifth digit", ["power_at_1_percent_w", "computed again"], edit(lambda t: t.replace(repr(watts), repr(watts * 1.0001))))
    forge("a verdict edited", ["claims[0].verdict", "met"], edit(lambda t: t.replace('"verdict": "met"', '"verdict": "not met"')))
    point = session["tests"]["power"]["loads"]["load-a"]["curves"]["level"]["thd_percent"][3]
    forge("a point of a curve edited", ["curves.level.thd_percent"], edit(lambda t: t.replace(repr(point), repr(point / 2))))
    forge("the serial number edited", ["unit.serial"], edit(lambda t: t.replace('"serial": ""', '"serial": "0815"')))
    forge("a key added", ["accredited"], edit(lambda t: t.replace('"simulated": true', '"accredited": true,\n  "simulated": true')))
    forge("a warning taken out", ["warnings"], edit(lambda t: re.sub(r'"warnings": \[\s+\{.*?\n\s+\}\s+\]', '"warnings": []', t, count=1, flags=re.S)))
    forge("the claim's limit lowered", ["claims[0].limit.at_least"], edit(lambda t: t.replace('"at_least": 22.0', '"at_least": 21.0')))
    forge("a gentler load in the bench file", ["resistance_ohm"],
          lambda f: (f / "bench.toml").write_text((f / "bench.toml").read_text().replace("4.03", "3.03")))
    forge("another capture in its place", ["tests.power."], lambda f: shutil.copy(f / "captures/clean.wav", f / "captures/power.wav"))

    def louder(folder):
        path = folder / "captures/power.wav"
        data = bytearray(path.read_bytes())
        start = data.index(b"data") + 8
        for at in range(start, len(data) - 2, 3):
            sample = int.from_bytes(data[at:at + 3], "little", signed=True)
            data[at:at + 3] = int(sample * 1.001).to_bytes(3, "little", signed=True)
        path.write_bytes(data)
    forge("a capture a tenth of a per cent louder", ["power_at_1_percent_w"], louder)

    def older(part):
        """The session as another version might have written it: the watts off by a part of themselves, also in the claim."""
        copy = here / "older"
        shutil.copytree(here / "s", copy)
        text = (copy / "session.json").read_text()
        text = re.sub(r'"program_version": "[^"]+"', '"program_version": "0.0.9"', text)
        (copy / "session.json").write_text(text.replace(repr(watts), repr(watts * (1 + part))))
        rehash(copy)
        done = verify(copy)
        shutil.rmtree(copy)
        return done

    done = older(0.001)
    report.check(done.status == 0 and "within its uncertainty" in done.out and "0.0.9" in done.out,
                 "another version's number within its uncertainty is told, and verified", done.err.strip()[-200:])
    done = older(0.2)
    report.check(done.status == 4 and "power at 1 % THD" in done.err, "another version's number beyond it is refused", done.err.strip()[-200:])


def exchanged(here):
    """Each part taken from another session of the same key, in the folder and, where it is as long, inside the bundle."""
    (here / "bench.toml").write_text(BENCH.replace("4.03", "4.17"))
    (here / "job.toml").write_text(JOB.replace('"QB 225"', '"QB 226"'))
    done = program.assay("run", here / "job.toml", "--bench", here / "bench.toml", "--into", here / "t", "--pages", "html")
    report.check(done.status == 0, "another session", done.err)
    for folder in ("s", "t"):
        program.assay("certify", here / folder, "--sign", "--bundle", "--format", "html")
    report.check(verify(here / "s").status == 0 and verify(here / "t").status == 0, "both are verified")
    bundle = next((here / "s").glob("*.tar"))
    good, exchanged_parts, within = bundle.read_bytes(), 0, 0
    for path in sorted(path for path in (here / "s").rglob("*") if path.is_file() and path.suffix != ".tar"):
        name = path.relative_to(here / "s")
        own, foreign = path.read_bytes(), (here / "t" / name).read_bytes() if (here / "t" / name).exists() else b""
        if foreign in (b"", own):
            continue
        path.write_bytes(foreign)
        exchanged_parts += found(f"{name} of another session", here / "s")
        path.write_bytes(own)
        at = good.find(own)
        if len(own) == len(foreign) and at > 0:
            (here / "broken.tar").write_bytes(good[:at] + foreign + good[at + len(own):])
            within += found(f"{name} of another session inside the bundle", here / "broken.tar")
    report.check(exchanged_parts >= 7 and within >= 2, "parts of each kind were exchanged", f"{exchanged_parts} in the folder, {within} in the bundle")
    report.check(verify(here / "s").status == 0, "all put back, it is verified again")
    shutil.rmtree(here / "t")


def bundles(here):
    bundle = next((here / "s").glob("*.tar"))
    program.assay("certify", here / "s", "--bundle", "--format", "html")
    report.check(verify(bundle).status == 0, "the bundle is verified")
    with tarfile.open(bundle) as archive:
        names = archive.getnames()
        report.check(all(member.isfile() for member in archive) and all(name.startswith("assay-") for name in names),
                     "another program reads the bundle", f"{len(names)} files")
    program.assay("certify", here / "s", "--bundle", "--format", "csv")
    good = bundle.read_bytes()
    program.assay("certify", here / "s", "--bundle", "--format", "csv")
    report.check(bundle.read_bytes() == good, "the same session gives the same bundle")
    broken = here / "broken.tar"
    for part in (0.001, 0.2, 0.5, 0.9, 0.99999):
        broken.write_bytes(good[:int(part * len(good))])
        found(f"a bundle cut off at {100 * part:g} %", broken, "broken.tar")
    with tarfile.open(bundle) as archive:
        for member in archive.getmembers():
            for what, at in (("header", member.offset + 130), ("content", member.offset_data + member.size // 2)):
                broken.write_bytes(good[:at] + bytes([good[at] ^ 2]) + good[at + 1:])
                if what == "header" or "/captures/" not in member.name or member.name.endswith("power.wav"):
                    found(f"a bit flipped in the {what} of {member.name.split('/', 1)[1]}", broken)
    broken.write_bytes(good + b"\0")
    found("a byte behind the end", broken, "after its end")
    for what, change in {"a path that escapes": dict(name="assay-x/../../escaped"), "an absolute path": dict(name="/escaped"),
                         "a link": dict(name="assay-x/link", type=tarfile.SYMTYPE, linkname="/etc/passwd"),
                         "a device": dict(name="assay-x/null", type=tarfile.CHRTYPE)}.items():
        with tarfile.open(broken, "w", format=tarfile.USTAR_FORMAT) as archive:
            member = tarfile.TarInfo()
            member.size = 0
            member.mtime = 0
            for field, value in change.items():
                setattr(member, field, value)
            archive.addfile(member, io.BytesIO())
        found(f"a forged bundle: {what}", broken)
    report.check(not any((place / "escaped").exists() for place in (here, here.parent, Path("/"))), "nothing escaped")
    broken.write_bytes(b"not a bundle at all")
    found("a file that is no bundle", broken)
    done = verify(here / "nothing")
    report.check(done.status == 2, "a path that is not there is a slip of the command line", done.err.strip())


def check(here):
    done = program.assay("check", here / "s", "--json")
    answer = json.loads(done.out)
    report.check(done.status == 0 and answer["unchanged"] and answer["same_bench"], "the same unit on the same bench is unchanged", done.err[:200])
    figure = next(f for f in answer["figures"] if f["quantity"] == "power_at_1_percent_w")
    whole = json.loads((here / "s/session.json").read_text())["tests"]["power"]["loads"]["load-a"]["quantities"]["power_at_1_percent_w"]
    # JCGM 100, 5.1.2 and 5.2: what scale and load are uncertain by is the same in both and drops out of the difference;
    # what the test itself is uncertain by is drawn anew, so that its variance counts twice.
    own = sum(source["contribution"]**2 for source in whole["sources"] if source["id"].startswith("test:"))
    report.relative("what the bench is uncertain by cancels", figure["expanded_uncertainty"], 2 * math.sqrt(2 * own), 1)
    report.check(2 * own < whole["expanded_uncertainty"]**2 / 4, "which is the larger part here", f"{2 * math.sqrt(own):.4g} W of {whole['expanded_uncertainty']:.4g} W")
    report.check("same unit, unchanged" in program.assay("check", here / "s").out, "and said so")
    (here / "tired.toml").write_text(BENCH + "[simulated.amplifier]\nrail_scale = [1.0, 0.7]\n")
    done = program.assay("check", here / "s", "--bench", here / "tired.toml", "--json")
    answer = json.loads(done.out)
    moved = {f["quantity"] for f in answer["figures"] if f["moved"]}
    report.check(done.status == 0 and not answer["unchanged"] and {"power_at_1_percent_w", "clip_onset_negative_v"} <= moved
                 and "clip_onset_positive_v" not in moved, "a tired half is found, and which", str(sorted(moved)))
    figure = next(f for f in answer["figures"] if f["quantity"] == "clip_onset_positive_v")
    by_hand = 2 * 0.01 * figure["before"] * 2 ** 0.5
    report.check(abs(figure["expanded_uncertainty"] / by_hand - 1) < 0.05, "between two benches the scales' uncertainties add in squares",
                 f"{figure['expanded_uncertainty']:.4g} V, by hand {by_hand:.4g} V")
    shutil.copytree(here / "s/captures", here / "again")
    done = program.assay("check", here / "s", "--recordings", here / "again", "--json")
    report.check(done.status == 0 and json.loads(done.out)["unchanged"], "recordings made elsewhere are checked as well", done.err[:200])
    (here / "again/power.wav").unlink()
    done = program.assay("check", here / "s", "--recordings", here / "again")
    report.check(done.status in (2, 3) and len(done.error_lines) == 1, "a recording that is missing is told", done.err.strip()[:200])


with tempfile.TemporaryDirectory() as name:
    place = Path(name)
    os.environ["ASSAY_KEY_DIR"] = str(place / "keys")
    report.guarded("make", lambda: make(place))
    for part in (key, flipped, forged, exchanged, bundles, check):
        report.guarded(part.__name__, lambda part=part: part(place))
report.finish()
