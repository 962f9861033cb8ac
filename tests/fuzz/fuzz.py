"""Runs every reader under libFuzzer for some seconds, from sound files of its kind: those of the tree, the corpus of
earlier finds (tests/fuzz/corpus/READER), and what the program itself writes for its demo.

    python3 tests/fuzz/fuzz.py --build .build/sanitizers --assay .build/development/assay --seconds 120 [READER...]

A find is kept in BUILD/finds; add it, made small (`fuzz --reader=NAME -minimize_crash=1 FILE`), to the corpus."""

import argparse
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from scipy.io import wavfile

SOURCE = Path(__file__).resolve().parent.parent.parent
READERS = ["bench", "job", "session", "curve", "response", "match", "recording", "bundle", "signature", "answers", "photograph"]
FROM_DEMO = {"session", "bundle"}
FREQUENCIES = [20.0, 50.0, 100.0, 1000.0, 20000.0]
CURVES = {b"\0": "frequency_hz,magnitude_ohm,phase_deg\n" + "".join(f"{f},{4 + f / 1e3:.4f},{f / 1e3:.3f}\n" for f in FREQUENCIES),
          b"\1": "* Hz ohm deg\n" + "".join(f"{f} {4 + f / 1e3:.4f} {f / 1e3:.3f}\n" for f in FREQUENCIES),
          b"\2": "# Hz S RI R 50\n" + "".join(f"{f} -0.8 {f / 1e6}\n" for f in FREQUENCIES)}
ANSWERS = 'volts = 12.3\nproceed = "yes"\nname = ["left", "right"]\n"odd key" = 1e-3\n'
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


def photographs(folder):
    # A JPEG of markers alone: start, application segment with a TIFF head, comment, end. Not one that shows anything.
    exif = b"Exif\0\0MM\0*\0\0\0\x08\0\1\x01\x12\0\3\0\0\0\1\0\6\0\0\0\0\0\0"
    seed(folder, "photograph", "small.jpg", b"\xff\xd8\xff\xe1" + struct.pack(">H", 2 + len(exif)) + exif + b"\xff\xfe\0\6text\xff\xda\0\2ab\xff\xd9")
    seed(folder, "photograph", "small.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\0\0\0\0:~\x9bU\0\0\0\0IEND\xaeB`\x82")


def sessions(folder, assay):
    with tempfile.TemporaryDirectory(prefix="assay-fuzz-") as work:
        done = subprocess.run([assay, "demo", "--quiet", "--into", "demo"], cwd=work, capture_output=True, text=True,
                              env={**os.environ, "PATH": "/nowhere", "HOME": work})
        if done.returncode != 0:
            sys.exit(f"the demo failed: {done.stderr}")
        for number, found in enumerate(sorted(Path(work).rglob("session.json"))):
            seed(folder, "session", f"demo-{number}.json", found.read_bytes())
        # The shape of a bundle: one folder, plain files; captures are left out to keep it small.
        packed = subprocess.run(["tar", "--format=ustar", "--owner=0", "--group=0", "--mtime=@0", "-cf", "small.tar", "demo/job.toml", "demo/bench.toml"],
                                cwd=work, capture_output=True)
        if packed.returncode == 0:
            seed(folder, "bundle", "small.tar", (Path(work) / "small.tar").read_bytes())


def seeds(folder):
    for reader in READERS:
        (folder / reader).mkdir(parents=True, exist_ok=True)
        for kept in sorted((SOURCE / "tests" / "fuzz" / "corpus" / reader).glob("*")):
            seed(folder, reader, kept.name, kept.read_bytes())
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


def fuzz(program, reader, corpus, finds, seconds):
    """libFuzzer's own figures at the end, and its report where it found something."""
    done = subprocess.run([program, f"--reader={reader}", corpus, f"-max_total_time={seconds}", "-timeout=10", "-rss_limit_mb=2048",
                           "-max_len=65536", "-print_final_stats=1", f"-artifact_prefix={finds}/{reader}-"], capture_output=True, text=True,
                          errors="replace")
    runs = re.search(r"stat::number_of_executed_units:\s*(\d+)", done.stderr)
    features = re.findall(r"cov: (\d+) ft: (\d+)", done.stderr)
    return reader, done.returncode, int(runs[1]) if runs else 0, int(features[-1][0]) if features else 0, done.stderr


def main():
    asked = argparse.ArgumentParser(description="Runs every reader under libFuzzer.")
    asked.add_argument("--build", type=Path, required=True)
    asked.add_argument("--assay", type=Path, required=True, help="the program, to make seeds with")
    asked.add_argument("--seconds", type=int, default=120, help="for each reader")
    asked.add_argument("readers", nargs="*", default=READERS)
    asked = asked.parse_args()
    finds = asked.build.resolve() / "finds"
    finds.mkdir(exist_ok=True)
    failed = []
    with tempfile.TemporaryDirectory(prefix="assay-seeds-") as folder:
        seeds(Path(folder))
        print(f"{'reader':<12}{'runs':>10}{'places':>8}")
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            # The demo takes longer than most readers are given: those that read what it writes come last.
            demo = pool.submit(sessions, Path(folder), asked.assay.resolve()) if set(asked.readers) & FROM_DEMO else None

            def run(reader):
                if reader in FROM_DEMO:
                    demo.result()
                return fuzz(asked.build / "tests" / "fuzz", reader, Path(folder) / reader, finds, asked.seconds)

            for reader, status, runs, places, told in pool.map(run, sorted(asked.readers, key=lambda reader: reader in FROM_DEMO)):
                print(f"{reader:<12}{runs:>10}{places:>8}  {'' if status == 0 else 'FOUND'}", flush=True)
                if status != 0 or runs == 0:
                    failed.append(reader)
                    print(told[-6000:])
    if failed:
        sys.exit(f"Found by {', '.join(failed)}; see {finds}")


main()
