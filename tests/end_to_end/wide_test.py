"""Vectors of any width give the same bits: what is compiled for several is built without the wide ones too
(tests/wide/bits.cpp), and both must have made the same, to the last bit. On a processor without wide vectors both run the
same code."""

import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2])) / "tests"))
from outside.report import Report  # noqa: E402

report = Report("Vectors of any width")
BUILD = Path(os.environ.get("ASSAY_BUILD", ".")) / "tests"
SOURCE = Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2]))


def made_by(name):
    lines = subprocess.run([BUILD / name], capture_output=True, text=True, check=True, timeout=120).stdout.splitlines()
    return dict(line.split() for line in lines)


def widths():
    flags = Path("/proc/cpuinfo").read_text().split() if Path("/proc/cpuinfo").exists() else []
    return [name for name in ("sse2", "avx2", "avx512f") if name in flags]


def same():
    wide, narrow = made_by("bits_wide"), made_by("bits_narrow")
    report.check(len(wide) == 7 and set(wide) == set(narrow), "every function is in both", str(sorted(wide)))
    for name, bits in wide.items():
        report.check(bits == narrow.get(name), f"{name}, this processor: {' '.join(widths()) or 'unknown'}", f"{bits} and {narrow.get(name)}")


def all_files():
    """A file with such functions that is not built narrow would not be tested."""
    listed = (SOURCE / "tests/CMakeLists.txt").read_text()
    for path in sorted([*(SOURCE / "analysis").rglob("*.cpp"), *(SOURCE / "capture").rglob("*.cpp")]):
        # Whole numbers only there: no sum that could round.
        if "ASSAY_WIDE" in path.read_text() and path.name != "repeat_finder.cpp":
            report.check(str(path.relative_to(SOURCE)) in listed, f"{path.name} is built without wide vectors too")


report.guarded("bits", same)
report.guarded("files", all_files)
report.finish()
