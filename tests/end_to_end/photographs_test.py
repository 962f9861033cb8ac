"""Photographs leave the house without what their camera wrote into them, and otherwise bit by bit as they were.

Outside sources: Pillow writes the pictures with place and serial number (Exif, CIPA DC-008), reads the copies, and compares
pixels; hashlib hashes.
"""

import hashlib
import io
import random
import sys
import tempfile
from pathlib import Path

from PIL import Image, PngImagePlugin

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Photographs")

SERIAL = "SN-7714-0093-XK"
PLACE = "47.1234567"
MAKER, MODEL, GPS, ORIENTATION, BODY_SERIAL, EXIF = 271, 272, 34853, 274, 0xA431, 34665
BY_HAND = {"id": "by-hand", "measure": "meter-power", "loads": ["load-a"], "output_v": 10.0, "at": "clip lamp"}


def notes(orientation):
    exif = Image.Exif()
    exif[MODEL] = f"camera {SERIAL}"
    exif[ORIENTATION] = orientation
    exif.get_ifd(EXIF)[BODY_SERIAL] = SERIAL
    exif.get_ifd(GPS).update({1: "N", 2: (47.0, 7.0, 24.4), 3: "E", 4: (8.0, 1.0, 2.0)})
    return exif


def picture(seed):
    return Image.effect_noise((96, 64), 40 + seed).convert("RGB")


def jpeg(seed, orientation=1, **more):
    out = io.BytesIO()
    picture(seed).save(out, "JPEG", exif=notes(orientation).tobytes(), comment=f"{SERIAL} {PLACE}".encode(), icc_profile=b"profile" * 30, **more)
    data = out.getvalue()
    # The packet of other programs (XMP, ISO 16684), the record of the press (IPTC), and a second picture after the end.
    for code, text in ((0xE1, b"http://ns.adobe.com/xap/1.0/\0<x>" + PLACE.encode()), (0xED, b"Photoshop 3.0\0" + SERIAL.encode()),
                       (0xE5, SERIAL.encode())):
        data = data[:2] + bytes([0xFF, code]) + (len(text) + 2).to_bytes(2, "big") + text + data[2:]
    return data + b"\0" * 5 + SERIAL.encode() + data


def png(seed, orientation=1):
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", f"{SERIAL} {PLACE}")
    info.add_text("Author", SERIAL, zip=True)
    info.add_itxt("Location", PLACE)
    out = io.BytesIO()
    picture(seed).save(out, "PNG", pnginfo=info, exif=notes(orientation).tobytes(), icc_profile=b"profile" * 30)
    return out.getvalue() + SERIAL.encode()


def run(here, name, files):
    folder = here / name
    folder.mkdir()
    for file, data in files.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes(data)
    (folder / "none").mkdir()
    (folder / "job.toml").write_text(program.job_text([BY_HAND], unit={"photographs": list(files)}))
    (folder / "bench.toml").write_text(program.bench_text())
    return program.assay("run", folder / "job.toml", "--bench", folder / "bench.toml", "--recordings", folder / "none", "--into",
                         folder / "s", "--yes", "--pages", "html")


def cleaned(here):
    files = {"upright.jpg": jpeg(1), "turned.jpg": jpeg(2, 6), "rows.jpg": jpeg(3, 3, progressive=True), "drawn.png": png(4), "turned.png": png(5, 8),
             "other/turned.jpg": jpeg(6), "TURNED.jpg": jpeg(7)}
    done = run(here, "cleaned", files)
    report.check(done.status == 0, "seven photographs, three of the same name from two folders, are taken", done.err[:300])
    session = here / "cleaned/s"
    kept = ["upright.jpg", "turned.jpg", "rows.jpg", "drawn.png", "turned.png", "turned-2.jpg", "TURNED-3.jpg"]
    names = sorted(path.name for path in (session / "photographs").iterdir())
    report.check(names == sorted(kept), "each has a name of its own", str(names))
    page = (session / "certificate.html").read_text()
    for (file, before), name in zip(files.items(), kept):
        after = (session / "photographs" / name).read_bytes()
        old, new = Image.open(io.BytesIO(before)), Image.open(io.BytesIO(after))
        exif = new.getexif()
        report.check(not any(secret.encode() in after for secret in (SERIAL, PLACE)), f"{file}: neither place nor serial number is left")
        report.check(not exif.get_ifd(GPS) and set(exif) <= {ORIENTATION}, f"{file}: Pillow finds no place, no camera", str(dict(exif)))
        report.check(exif.get(ORIENTATION, 1) == old.getexif().get(ORIENTATION, 1), f"{file}: the same way up", str(exif.get(ORIENTATION, 1)))
        report.check(list(old.getdata()) == list(new.getdata()) and new.info.get("icc_profile") == old.info.get("icc_profile"),
                     f"{file}: every pixel and the colour profile as they were", f"{len(before)} bytes, then {len(after)}")
        report.check(hashlib.blake2b(after, digest_size=32).hexdigest() in page, f"{file}: the page bears the hash of what is shipped")
        report.check((here / "cleaned" / file).read_bytes() == before, f"{file}: the original is untouched")
    report.check("were taken out when they were copied" in page and "still holds" not in page, "the page says so")
    report.check(program.assay("verify", session).status == 0, "the session is verified")
    (session / "photographs/upright.jpg").write_bytes(files["upright.jpg"])
    program.assay("certify", session, "--format", "html")
    page = (session / "certificate.html").read_text()
    report.check("were taken out" not in page and page.count("still holds what its camera wrote") == 1, "and does not say so where it is not so")


def harmless(here):
    """Damaged pictures are refused in one line, or copied without notes: nothing crashes, and nothing leaks."""
    chance = random.Random(20260314)
    good, refused, leaks = {"jpg": jpeg(1, 6), "png": png(2, 8)}, 0, []
    for number in range(24):
        kind = ("jpg", "png")[number % 2]
        data = bytearray(good[kind])
        for _ in range(4):
            data[chance.randrange(12, len(data))] = chance.randrange(256)
        data = bytes(data[:chance.randrange(12, len(data))] if number % 3 == 0 else data)
        done = run(here, f"damaged-{number}", {f"x.{kind}": data})
        refused += done.status == 2
        copy = here / f"damaged-{number}/s/photographs/x.{kind}"
        if done.status not in (0, 2) or (done.status == 2 and len(done.error_lines) != 1):
            leaks.append(f"{number}: exit {done.status} {done.err[:80]}")
        elif done.status == 0 and (SERIAL.encode() in copy.read_bytes() or PLACE.encode() in copy.read_bytes()):
            leaks.append(f"{number}: leaks")
    report.check(not leaks and 0 < refused < 24, "24 damaged pictures: refused, or clean", f"{refused} refused {leaks}")
    done = run(here, "cut", {"x.jpg": good["jpg"][:300]})
    report.check(done.status == 2 and "x.jpg" in done.err and "damaged" in done.err, "a picture that is cut off is named", done.err.strip())


with tempfile.TemporaryDirectory() as name:
    place = Path(name)
    for part in (cleaned, harmless):
        report.guarded(part.__name__, lambda part=part: part(place))
report.finish()
