"""A driver's curves in and out: the same numbers through CSV, text and Touchstone with readers written here; claims of
nominal impedance by the rule of IEC 60268-5 (80 %, from memory) against the closed form's minimum; the page; slips.

The driver is a closed form: Small, JAES 20(5), 1972, with the coil K(jw)^n of Leach, JAES 50(6), 2002.
"""

import csv
import io
import os
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2])) / "tests"))
from outside import curve_files, driver_bench, loudspeakers, program, report  # noqa: E402

DRIVER = loudspeakers.from_data("Dunlin 10", 32.4, 5.61, 7.15, 0.59, 56.3, 346.4, loudspeakers.Coil("K", (0.05, 0.65)))


class Shop:
    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="assay-curves-"))
        (self.folder / "bench.toml").write_text(driver_bench.bench_text())
        (self.folder / "none").mkdir()
        self.count = 0

    def run(self, tests, claims=()):
        self.count += 1
        session = self.folder / f"session-{self.count}"
        (self.folder / "job.toml").write_text(driver_bench.job_text(tests, claims))
        done = program.assay("run", self.folder / "job.toml", "--bench", self.folder / "bench.toml", "--recordings",
                             self.folder / "none", "--into", session, "--yes")
        done.folder = session
        return done


def polar(magnitude, degrees):
    return np.asarray(magnitude) * np.exp(1j * np.radians(degrees))


def read_csv(text):
    rows = list(csv.DictReader(io.StringIO(text)))
    column = lambda name: np.array([float(row[name]) for row in rows])  # noqa: E731
    return column("frequency_hz"), polar(column("magnitude_ohm"), column("phase_deg"))


def read_text(text):
    names = [line for line in text.splitlines() if line.startswith("#")][-1].lstrip("# ").split()
    table = np.loadtxt(io.StringIO(text))
    column = lambda name: table[:, names.index(name)]  # noqa: E731
    return column("frequency_hz"), polar(column("magnitude_ohm"), column("phase_deg"))


def read_touchstone(text):
    lines = [line.split("!")[0].split() for line in text.splitlines()]
    lines = [words for words in lines if words]
    if [word.upper() for word in lines[0]] != ["#", "HZ", "Z", "RI", "R", "1"]:
        raise AssertionError(lines[0])
    table = np.array([[float(word) for word in words] for words in lines[1:]])
    return table[:, 0], table[:, 1] + 1j * table[:, 2]


def in_and_out(checks, shop, outcome):
    f, z, _ = FREE
    values = outcome.session["tests"]["free"]["quantities"]
    for form, ending, reader in (("csv", "csv", read_csv), ("text", "txt", read_text), ("touchstone", "s1p", read_touchstone)):
        path = shop.folder / f"again.{ending}"
        done = program.assay("export", outcome.folder, "--test", "free", "--curve", "impedance", "--format", form, "--into", path)
        if not checks.check(done.status == 0, f"export as {form}", done.err):
            continue
        got_f, got = reader(path.read_text())
        off = max(np.abs(got_f / f - 1).max(), np.abs(got / z - 1).max())
        # The file that went in has nine digits of the frequency.
        checks.check(off < 5.1e-9, f"{form}: what went in comes out, by a reader written here", f"{off:.1e}")
        again = shop.run([driver_bench.impedance("again", from_file=path.name)])
        back = again.session["tests"]["again"]["quantities"] if again.has_session() else {}
        checks.relative(f"{form}: read in again, peak", back.get("maximum_ohm", {}).get("value"), values["maximum_ohm"]["value"], 1e-5)
        checks.relative(f"{form}: read in again, minimum", back.get("minimum_ohm", {}).get("value"), values["minimum_ohm"]["value"], 1e-5)


def claims(checks, outcome, lowest):
    verdicts = {claim["text"]: claim for claim in outcome.session["claims"]}
    for text, verdict, limit in (("4 ohm", "met", 3.2), ("8 ohm", "met", 6.4), ("16 ohm", "not met", 12.8),
                                 ("at the limit", "undecided", lowest)):
        claim = verdicts[text]
        checks.check(claim["verdict"] == verdict, f"nominal impedance {text}: {verdict}", f"{claim['verdict']}, {claim['limit']}")
        checks.relative(f"{text}: limit at 80 %", claim["limit"]["at_least"], limit, 1e-9)
    checks.relative("lowest impedance above resonance", verdicts["8 ohm"]["measured"]["value"], lowest, 0.1)
    # In the sixteen-ohm case the whole curve lies lower at its start than its minimum above resonance; that is told.
    checks.check("at 10 Hz" in verdicts["16 ohm"]["reason"], "where it falls lower outside is told", verdicts["16 ohm"]["reason"])


def page(checks, outcome):
    text = (outcome.folder / "certificate.html").read_text()
    plots = sorted(path.name for path in (outcome.folder / "plots").iterdir())
    checks.check(plots == ["parameters-impedance.svg", "parameters-residual.svg"], "one drawing for the three curves, one for what the fit leaves", plots)
    drawing = (outcome.folder / "plots" / plots[0]).read_text()
    for words in ("free air", "with 40 g added", "in a closed box of 40 L", "fs 32.4 Hz", "impedance / Ω", "phase / °", "20k"):
        checks.check(words in drawing, f"drawing: {words}")
    for words in ("By three points", "Impedance jig", "Series resistor 22 Ω", "Total Q, Qts", "magnet pulls tools", "information criterion",
                  "Response and sensitivity by microphone"):
        checks.check(words in text, f"page: {words}")
    checks.check("THD+N" not in text and "Bridged operation" not in text, "page: nothing of amplifiers")
    checks.check("model_fs_hz" not in text and "three point fs" not in text and "three_point" not in text, "page: nothing for programs only")
    shown = program.assay("show", outcome.folder).out
    for words in ("resonance, fs", "total Q, Qts", "cm²", "T·m"):
        checks.check(words in shown, f"show: {words}")


def slips(checks, shop, outcome):
    def refused(what, done, words):
        checks.check(done.status == 2 and len(done.error_lines) == 1 and words in done.err, what, f"exit {done.status}: {done.err.strip()}")
    refused("two curves fit", program.assay("export", outcome.folder, "--curve", "impedance"), "3 curves fit")
    refused("no such test", program.assay("export", outcome.folder, "--test", "nothing"), "no test nothing")
    refused("no such format", program.assay("export", outcome.folder, "--format", "tea"), "--format")
    refused("no fitted driver there", program.assay("export", outcome.folder, "--test", "free", "--format", "spice"), "free")
    rule = {"text": "8 ohm", "test": "free", "quantity": "maximum_ohm", "nominal_impedance_ohm": 8}
    refused("the rule is for the minimum", shop.run([driver_bench.impedance("free", from_file="free.csv")], [rule]), "job.toml:")
    for name, content, words in (("junk.csv", bytes(range(256)) * 40, "not a text file"), ("empty.csv", b"", "no line of numbers"),
                                 ("nan.csv", b"frequency_hz,magnitude_ohm,phase_deg\n20,6,1\n30,nan,1\n40,6,1\n", "nan.csv:3:"),
                                 ("twice.csv", b"frequency_hz,magnitude_ohm,phase_deg\n20,6,1\n30,6,1\n30,6,1\n", "twice.csv:4:"),
                                 ("rad.txt", b"20 8 0.1\n1000 8.01 0.5\n20000 8.2 1.2\n", "degrees or in radians")):
        (shop.folder / name).write_bytes(content)
        refused(name, shop.run([driver_bench.impedance("free", from_file=name)]), words)
    huge = shop.folder / "huge.csv"
    with open(huge, "wb") as file:
        file.truncate(100 << 20)
    refused("100 MB", shop.run([driver_bench.impedance("free", from_file="huge.csv")]), "too large")
    refused("no such file", shop.run([driver_bench.impedance("free", from_file="gone.csv")]), "gone.csv")


FREE = curve_files.measured(DRIVER, {}, seed=1)


def main():
    checks = report.Report("curves of a driver, in and out")
    shop = Shop()
    try:
        for name, where, seed in (("free", {}, 1), ("mass", {"added_kg": 0.040}, 2), ("box", {"box_m3": 0.040}, 3)):
            (shop.folder / f"{name}.csv").write_text(curve_files.csv(*curve_files.measured(DRIVER, where, seed=seed)))
        fine = np.geomspace(40, 1000, 20000)
        lowest = float(np.abs(DRIVER.z(fine)).min())
        wanted = [{"text": text, "test": "free", "quantity": "minimum_ohm", "nominal_impedance_ohm": nominal}
                  for text, nominal in (("4 ohm", 4.0), ("8 ohm", 8.0), ("16 ohm", 16.0), ("at the limit", lowest / 0.8))]
        outcome = shop.run([driver_bench.impedance("free", from_file="free.csv"),
                            driver_bench.impedance("mass", from_file="mass.csv", added_mass_g=40.0),
                            driver_bench.impedance("box", from_file="box.csv", test_box_l=40.0),
                            driver_bench.parameters(with_mass="mass", in_box="box", dc_resistance_ohm=5.61,
                                                    effective_diameter_mm=loudspeakers.diameter_mm(DRIVER))], wanted)
        if checks.check(outcome.status == 0, "a session of three files", outcome.err):
            checks.guarded("in and out", lambda: in_and_out(checks, shop, outcome))
            checks.guarded("claims", lambda: claims(checks, outcome, lowest))
            checks.guarded("page", lambda: page(checks, outcome))
            checks.guarded("slips", lambda: slips(checks, shop, outcome))
    finally:
        shutil.rmtree(shop.folder, ignore_errors=True)
    checks.finish()


if __name__ == "__main__":
    main()
