"""Impedance curves as another program would have measured and written them: points, scatter, files; and the program
run over them."""

import shutil
import tempfile
from pathlib import Path

import numpy as np

from . import driver_bench, program


def grid_hz(start_hz=10.0, stop_hz=20000.0, points=450):
    return np.geomspace(start_hz, stop_hz, points)


def measured(driver, where=None, noise_db=-70.0, series_ohm=22.0, seed=1, frequency_hz=None, air=None):
    """(frequency, z, standard deviation of the real and of the imaginary part) with the scatter of a jig: equal
    noise in both inputs, so many dB below the generator side's voltage at every point."""
    f = grid_hz() if frequency_hz is None else frequency_hz
    more = dict(where or {})
    if air is not None:
        more["air"] = air
    z = driver.z(f, **more)
    # h = Vd/Vg = z/(z+R); dz = dh (z+R)^2/R; noise of Vd and of h Vg add.
    h = z / (z + series_ohm)
    scatter = 10 ** (noise_db / 20) * np.sqrt((1 + np.abs(h) ** 2) / 2) * np.abs(z + series_ohm) ** 2 / series_ohm
    random = np.random.default_rng(seed)
    return f, z + scatter * (random.standard_normal(len(f)) + 1j * random.standard_normal(len(f))), scatter


def csv(frequency_hz, z, scatter=None):
    text = "frequency_hz,real_ohm,imaginary_ohm\n"
    return text + "".join(f"{a:.9g},{b.real:.10g},{b.imag:.10g}\n" for a, b in zip(frequency_hz, z))


def magnitude_csv(frequency_hz, z, scatter):
    """With the scatter of each point, where a program states it."""
    text = "frequency_hz,magnitude_ohm,phase_deg,scatter_ohm\n"
    return text + "".join(f"{a:.9g},{abs(b):.10g},{np.degrees(np.angle(b)):.10g},{c:.5g}\n" for a, b, c in zip(frequency_hz, z, scatter))


def run(tests, files, claims=(), bench=None):
    """A session of curves alone. The folder lives on while the outcome does."""
    folder = Path(tempfile.mkdtemp(prefix="assay-curves-"))
    (folder / "job.toml").write_text(driver_bench.job_text(tests, claims))
    (folder / "bench.toml").write_text(bench or driver_bench.bench_text())
    for name, text in files.items():
        (folder / name).write_text(text)
    (folder / "recordings").mkdir()
    outcome = program.assay("run", folder / "job.toml", "--bench", folder / "bench.toml", "--recordings", folder / "recordings",
                            "--into", folder / "session", "--yes", timeout=900, environment=program.WITHOUT_PAGES)
    outcome.folder = folder / "session"
    try:
        text = (outcome.folder / "session.json").read_text() if outcome.has_session() else None
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return Kept(outcome, text)


class Kept:
    """An outcome whose folder is gone."""

    def __init__(self, outcome, text):
        import json
        self.status, self.err, self.out = outcome.status, outcome.err, outcome.out
        self.session = None if text is None else json.loads(text)

    @property
    def error_lines(self):
        return [line for line in self.err.splitlines() if line.strip()]

    def warnings(self, test):
        node = self.session["tests"].get(test, {})
        return "\n".join(f"{w.get('code', '')}: {w.get('text', '')} {w.get('advice', '')}" for w in node.get("warnings", [])).lower()
