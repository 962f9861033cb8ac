"""Runs every reader under libFuzzer for some seconds, from sound files of its kind: those of the tree, the corpus of
earlier finds (tests/fuzz/corpus/READER), ways that longer runs have reached (READER.base64 there, an input a line), and
what the program itself writes for its demo.

    python3 tests/fuzz/fuzz.py --build .build/sanitizers --assay .build/development/assay --seconds 120 [READER...]

A find is kept in BUILD/finds; add it, made small (`fuzz --reader=NAME -minimize_crash=1 FILE`), to the corpus."""

import argparse
import base64
import io
import json
import os
import re
import shutil
import struct
import subprocess
import sys
import tarfile
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.io import wavfile

SOURCE = Path(__file__).resolve().parent.parent.parent
CORPUS = SOURCE / "tests" / "fuzz" / "corpus"
MOST_KEPT = 16384  # bytes of a reader's ways
READERS = ["bench", "job", "session", "curve", "response", "match", "recording", "bundle", "signature", "answers", "photograph"]
FROM_DEMO = {"session"}
NO_TEXT = {"recording", "photograph", "bundle"}
FREQUENCIES = [20.0, 50.0, 100.0, 1000.0, 20000.0]
CURVES = {b"\0": "frequency_hz,magnitude_ohm,phase_deg\n" + "".join(f"{f},{4 + f / 1e3:.4f},{f / 1e3:.3f}\n" for f in FREQUENCIES),
          b"\1": "* Hz ohm deg\n" + "".join(f"{f} {4 + f / 1e3:.4f} {f / 1e3:.3f}\n" for f in FREQUENCIES),
          b"\2": "# Hz S RI R 50\n" + "".join(f"{f} -0.8 {f / 1e6}\n" for f in FREQUENCIES)}
ANSWERS = 'volts = 12.3\nproceed = "yes"\nname = ["left", "right"]\n"odd key" = 1e-3\n'
LONGEST = 65536
MATCH = '{"schema": "assay-match-1"}\n'


def seed(folder, reader, name, content):
    target = folder / reader
    target.mkdir(parents=True, exist_ok=True)
    (target / name).write_bytes(content.encode() if isinstance(content, str) else content)


def sounds(folder):
    tone = np.sin(np.arange(2000) * 0.3)
    for name, samples in {"pcm16": np.int16(tone * 2e4), "pcm32": np.int32(tone * 1e9), "float": np.float32(tone),
                          "stereo": np.int16(np.stack([tone, tone], 1) * 2e4), "zeros": np.zeros(500, np.int16)}.items():
        path = folder / "recording" / f"{name}.wav"
        path.parent.mkdir(parents=True, exist_ok=True)
        wavfile.write(path, 48000, samples)
        if samples.dtype == np.int16 and shutil.which("flac"):
            subprocess.run(["flac", "--silent", "-o", path.with_suffix(".flac"), path], check=True)


def bundle(folder):
    """The shape of a bundle: one folder, plain files, no times and no owners, two blocks of zeros at the end."""
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w", format=tarfile.USTAR_FORMAT) as tar:
        for name, content in {"captures/a.wav": b"RIFF", "job.toml": b"# a job\n" * 80, "session.json": b"{}"}.items():
            entry = tarfile.TarInfo(f"assay-20260101-0123456789/{name}")
            entry.size = len(content)
            tar.addfile(entry, io.BytesIO(content))
    seed(folder, "bundle", "small.tar", packed.getvalue()[:tar.offset])


def photographs(folder):
    # A JPEG of markers alone: start, application segment with a TIFF head, comment, end. Not one that shows anything.
    exif = b"Exif\0\0MM\0*\0\0\0\x08\0\1\x01\x12\0\3\0\0\0\1\0\6\0\0\0\0\0\0"
    seed(folder, "photograph", "small.jpg", b"\xff\xd8\xff\xe1" + struct.pack(">H", 2 + len(exif)) + exif + b"\xff\xfe\0\6text\xff\xda\0\2ab\xff\xd9")
    # And pictures that show something, with notes.
    shown = Image.fromarray(np.arange(768, dtype=np.uint8).reshape(16, 16, 3))
    notes = Image.Exif()
    notes[0x0112] = 6
    notes[0x010F] = "a maker"
    shown.save(folder / "photograph" / "shown.jpg", exif=notes, comment="a comment", progressive=True, dpi=(72, 72))
    shown.save(folder / "photograph" / "shown.png", exif=notes, dpi=(72, 72))
    seed(folder, "photograph", "small.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\0\0\0\0:~\x9bU\0\0\0\0IEND\xaeB`\x82")


def shortened(value, whole=False):
    """Long lists of numbers end after three, in a tone all lists do: the reader wants those of a kind equally long."""
    if isinstance(value, dict):
        return {key: shortened(item, whole or key == "tone") for key, item in value.items()}
    if isinstance(value, list):
        plain = all(item is None or isinstance(item, (int, float)) for item in value)
        return [shortened(item, whole) for item in (value[:3] if whole or plain else value)]
    return value


def small_sessions(path):
    """Of a session of hundreds of kilobytes one for each test, of a size that the fuzzer can turn over as a whole."""
    session = json.loads(path.read_text())
    for name, test in session["tests"].items():
        small = {key: value for key, value in session.items() if key not in {"power_table", "findings"}}
        small.update(tests={name: shortened(test)}, claims=type(session["claims"])())
        yield name, json.dumps(small)


def sessions(folder, assay):
    with tempfile.TemporaryDirectory(prefix="assay-fuzz-") as work:
        done = subprocess.run([assay, "demo", "--quiet", "--into", "demo"], cwd=work, capture_output=True, text=True,
                              env={**os.environ, "PATH": "/nowhere", "HOME": work})
        if done.returncode != 0:
            sys.exit(f"the demo failed: {done.stderr}")
        for found in sorted(Path(work).rglob("session.json")):
            for name, text in small_sessions(found):
                seed(folder, "session", f"{found.parent.name}-{name}.json", text)
                seed(Path(work), "tried", "session.json", text)
                tried = subprocess.run([assay, "show", "tried"], cwd=work, capture_output=True, text=True)
                if tried.returncode != 0 or len(text) > LONGEST:
                    sys.exit(f"no seed for the sessions' reader: {name}, {len(text)} bytes; {tried.stderr}")


def seeds(folder):
    for reader in READERS:
        (folder / reader).mkdir(parents=True, exist_ok=True)
        for kept in sorted((CORPUS / reader).glob("*")):
            seed(folder, reader, kept.name, kept.read_bytes())
        reached = CORPUS / f"{reader}.base64"
        for number, line in enumerate(reached.read_text().split() if reached.exists() else []):
            seed(folder, reader, f"reached-{number}", base64.b64decode(line))
    for found in sorted((SOURCE / "fixtures" / "demo").glob("*.toml")):
        seed(folder, "bench" if "bench" in found.name else "job", found.name, found.read_bytes())
    for head, text in CURVES.items():
        seed(folder, "curve", f"curve-{head[0]}", head + text.encode())
    seed(folder, "answers", "answers.toml", ANSWERS)
    seed(folder, "match", "match.json", MATCH)
    seed(folder, "response", "card.json", MATCH.replace("match", "response"))
    seed(folder, "signature", "signature.json", MATCH.replace("match", "signature"))
    sounds(folder)
    photographs(folder)
    bundle(folder)


def dictionary(corpus):
    """The words of the seeds, which the fuzzer then puts together anew: keys, texts, numbers."""
    words = set()
    for path in sorted(corpus.iterdir()):
        words.update(re.findall(rb'"[\w .:/-]{2,40}"|\b[A-Za-z][\w-]{2,40}\b|-?\d+\.?\d*(?:[eE][+-]?\d+)?', path.read_bytes()))
    texts = sorted(word for word in words if word.isascii())[:3000]
    listed = corpus.parent / f"{corpus.name}.words"
    listed.write_text("".join('"' + word.decode().replace("\\", "\\\\").replace('"', '\\"') + '"\n' for word in texts))
    return listed


def fuzz(program, reader, corpus, finds, seconds):
    """libFuzzer's own figures at the end, and its report where it found something."""
    words = [] if reader in NO_TEXT else [f"-dict={dictionary(corpus)}"]
    done = subprocess.run([program, f"--reader={reader}", corpus, *words, f"-max_total_time={seconds}", "-timeout=10", "-rss_limit_mb=2048",
                           f"-max_len={LONGEST}", "-print_final_stats=1", f"-artifact_prefix={finds}/{reader}-"], capture_output=True, text=True,
                          errors="replace")
    runs = re.search(r"stat::number_of_executed_units:\s*(\d+)", done.stderr)
    features = re.findall(r"cov: (\d+) ft: (\d+)", done.stderr)
    return reader, done.returncode, int(runs[1]) if runs else 0, int(features[-1][0]) if features else 0, done.stderr


def keep(program, reader, corpus):
    """The inputs that together reach all that the corpus does; those that add most come first, and the rest is left out."""
    with tempfile.TemporaryDirectory(prefix="assay-merge-") as into:
        subprocess.run([program, f"--reader={reader}", "-set_cover_merge=1", f"-max_len={MOST_KEPT}", into, corpus], capture_output=True,
                       check=True)
        room, lines = MOST_KEPT, []
        for path in sorted(Path(into).iterdir(), key=lambda path: path.stat().st_mtime_ns):
            if path.stat().st_size <= room:
                room -= path.stat().st_size
                lines.append(base64.b64encode(path.read_bytes()).decode())
    CORPUS.mkdir(exist_ok=True)
    (CORPUS / f"{reader}.base64").write_text("".join(f"{line}\n" for line in sorted(lines, key=lambda line: (len(line), line))))


def main():
    asked = argparse.ArgumentParser(description="Runs every reader under libFuzzer.")
    asked.add_argument("--build", type=Path, required=True)
    asked.add_argument("--assay", type=Path, required=True, help="the program, to make seeds with")
    asked.add_argument("--seconds", type=int, default=120, help="for each reader")
    asked.add_argument("--keep", action="store_true", help="write what was reached to the corpus of the tree")
    asked.add_argument("readers", nargs="*", default=READERS)
    asked = asked.parse_args()
    finds = asked.build.resolve() / "finds"
    finds.mkdir(exist_ok=True)
    failed = []
    with tempfile.TemporaryDirectory(prefix="assay-seeds-") as folder:
        seeds(Path(folder))
        print(f"{'reader':<12}{'runs':>10}{'places':>8}")
        # More at once than there are cores: a reader's time is what counts in the end, not how many share it.
        with ThreadPoolExecutor(2 * os.cpu_count()) as pool:
            # The demo takes its time: those that read what it writes come last.
            demo = pool.submit(sessions, Path(folder), asked.assay.resolve()) if set(asked.readers) & FROM_DEMO else None

            def run(reader):
                if reader in FROM_DEMO:
                    demo.result()
                found = fuzz(asked.build / "tests" / "fuzz", reader, Path(folder) / reader, finds, asked.seconds)
                if asked.keep:
                    keep(asked.build / "tests" / "fuzz", reader, Path(folder) / reader)
                return found

            for reader, status, runs, places, told in pool.map(run, sorted(asked.readers, key=lambda reader: reader in FROM_DEMO)):
                print(f"{reader:<12}{runs:>10}{places:>8}  {'' if status == 0 else 'FOUND'}", flush=True)
                if status != 0 or runs == 0:
                    failed.append(reader)
                    print(told[-6000:])
    if failed:
        sys.exit(f"Found by {', '.join(failed)}; see {finds}")


main()
