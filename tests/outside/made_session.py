"""Sessions with results of a test's own making: the frame (bench, unit, dates) is what the program itself wrote for a
reading by hand, the tests in it are replaced."""

import json
import shutil
import tempfile
from pathlib import Path

from . import program


def quantity(value, unit, sources=None):
    """sources: id -> signed contribution (sensitivity times standard uncertainty)."""
    sources = sources or {}
    variance = sum(c * c for c in sources.values())
    return {"value": value, "unit": unit, "expanded_uncertainty": 2 * variance ** 0.5, "coverage_factor": 2.0,
            "sources": [{"id": name, "share_percent": 100 * c * c / variance if variance else 0.0, "contribution": c}
                        for name, c in sources.items()]}


def findings(quantities=None, curves=None, warnings=(), absent=()):
    return {"quantities": quantities or {}, "absent": list(absent), "curves": curves or {}, "warnings": list(warnings)}


def test(measure, whole=None, loads=None, conditions=None):
    return {"measure": measure, "loads": loads or {}, **(whole or findings()), "conditions": conditions or {}, "takes": []}


class Frame:
    """One session by the program, as a frame for others."""

    def __init__(self, bench=None, unit=None):
        self.folder = Path(tempfile.mkdtemp(prefix="assay-made-"))
        job = program.job_text([{"id": "by-hand", "measure": "meter-power", "loads": ["load-a"], "output_v": 10.0,
                                 "at": "clip lamp"}], unit=unit)
        (self.folder / "job.toml").write_text(job)
        (self.folder / "bench.toml").write_text(bench or program.bench_text())
        (self.folder / "none").mkdir()
        done = program.assay("run", self.folder / "job.toml", "--bench", self.folder / "bench.toml", "--recordings",
                             self.folder / "none", "--into", self.folder / "frame", "--yes")
        if done.status != 0:
            raise AssertionError(f"frame: exit {done.status}: {done.err}")
        self.frame = json.loads((self.folder / "frame" / "session.json").read_text())

    def __enter__(self):
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.folder, ignore_errors=True)

    def session(self, name, tests, change=None):
        """Folder of a session with these tests; `change` may alter the document."""
        document = json.loads(json.dumps(self.frame))
        document["tests"], document["claims"] = tests, []
        if change:
            change(document)
        (self.folder / name).mkdir(exist_ok=True)
        (self.folder / name / "session.json").write_text(json.dumps(document))
        return self.folder / name
