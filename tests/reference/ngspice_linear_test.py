"""A class-AB stage's small-signal numbers: response, source impedance, crosstalk, against ngspice's own AC analysis.

Outside reference: ngspice's `ac` analysis of tests/reference/ngspice/linear.cir (two stages on one supply with a common
ground lead; coupling capacitors, a filter against radio, a choke in the output). Its complex transfer functions,
between its 60 points a decade by cubic splines over the logarithm of the frequency, are applied to the program's tone
files by FFT; the program is then held against ngspice's own points. Tolerances are the design's: 0.01 dB (0.012 dB
against a reference, whose noise is added) and 0.1 degrees from 20 Hz to 20 kHz, 60 dB signal to noise and better;
limits 0.2 %; impedance 0.5 % or 1 mohm; separation 0.05 dB.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.fft import next_fast_len
from scipy.interpolate import CubicSpline

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

NETLISTS = Path(__file__).resolve().parent / "ngspice"
OHM = 4.0
REFERENCE_V = 2.5
report = Report("ngspice: response, source impedance and crosstalk of a class-AB stage")


class Transfer:
    """Complex values at ngspice's points, and between them."""

    def __init__(self, f, values):
        self.f, self.values = f, values
        x = np.log(f)
        self.log_magnitude = CubicSpline(x, np.log(np.abs(values)))
        self.phase = CubicSpline(x, np.unwrap(np.angle(values)))

    def __call__(self, f):
        x = np.log(np.clip(f, self.f[0], self.f[-1]))
        below = np.minimum(f / self.f[0], 1.0)  # a coupling capacitor: the slope goes on
        return below * np.exp(self.log_magnitude(x) + 1j * self.phase(x))


def by_ngspice():
    """Volts across the loads for one volt in: channel 1 driven; loaded, then with load 1 taken off."""
    with tempfile.TemporaryDirectory(prefix="assay-ngspice-") as folder:
        for name in ("linear.cir", "class_ab.inc"):
            (Path(folder) / name).write_text((NETLISTS / name).read_text())
        done = subprocess.run(["ngspice", "-b", "linear.cir"], cwd=folder, capture_output=True, text=True, timeout=60)
        found = []
        for name in ("loaded.txt", "open.txt"):
            if not (Path(folder) / name).exists():
                raise AssertionError(f"ngspice gave nothing: {done.stdout[-500:]} {done.stderr[-500:]}")
            rows = np.loadtxt(Path(folder) / name, skiprows=1)
            found += [Transfer(rows[:, 0], rows[:, 1] + 1j * rows[:, 2]), Transfer(rows[:, 0], rows[:, 3] + 1j * rows[:, 4])]
    return found[0], found[1], found[2]


def record(shop, test, transfers, inputs_v, noise_dbfs, reference=False):
    """One channel a transfer; the unit's own input last, where it is asked for. All on the tone's own grid: nothing that
    it holds lies beyond half its rate."""
    tone, rate = shop.tone(test)
    n = next_fast_len(len(tone) + rate)
    f = np.fft.rfftfreq(n, 1 / rate)
    spectrum = np.fft.rfft(tone * program.OUTPUT_V, n)
    heard = [np.fft.irfft(spectrum * transfer(np.maximum(f, 1e-6)), n) for transfer in transfers]
    if reference:
        heard.append(np.fft.irfft(spectrum, n))
    random = np.random.default_rng(3)
    noise = 10 ** (noise_dbfs / 20) * np.sqrt(0.5)
    lead = np.zeros(int(0.7 * rate))
    channels = [np.concatenate([lead, volts / inputs_v[k]]) for k, volts in enumerate(heard)]
    return np.stack([channel + noise * random.standard_normal(len(channel)) for channel in channels], 1)


def curve(outcome, test, name, load=None):
    columns = outcome.findings(test, load)["curves"][name]
    return {key: np.array([np.nan if v is None else v for v in values], float) for key, values in columns.items()}


def at_points(c, column, points):
    return np.interp(np.log(points), np.log(c["frequency_hz"]), c[column])


def crossing(transfer, low_hz, high_hz):
    """3.00 dB below 1 kHz, on a fine grid of the splines."""
    f = np.geomspace(low_hz, high_hz, 200001)
    down = 20 * np.log10(np.abs(transfer(f)) / np.abs(transfer(np.array([1000.0]))[0])) + 3.0
    return f[np.nonzero(np.diff(np.sign(down)))[0][0]]


def response_and_source(loaded, unloaded):
    inputs = [program.probe("probe-a", 1), program.probe("ref", 2, volts_at_full_scale=REFERENCE_V, attenuation=1.0, role="reference")]
    loads = [program.load("load-a", OHM, "probe-a"), {"name": "open", "resistance_ohm": float("inf"), "plus": "probe-a"}]
    tests = [{"id": "with", "measure": "response", "loads": ["load-a"], "reference": "ref"},
             {"id": "without", "measure": "response", "loads": ["open"], "reference": "ref"},
             {"id": "inner", "measure": "output-impedance", "loaded": "with", "unloaded": "without"}]
    with program.Workshop(program.job_text(tests), program.bench_text(inputs=inputs, loads=loads)) as shop:
        scales = [program.PROBE_V, REFERENCE_V]
        outcome = shop.run({"with": record(shop, "with", [loaded], scales, -95.0, True),
                            "without": record(shop, "without", [unloaded], scales, -95.0, True)})
        report.check(outcome.status == 0, "accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        points = loaded.f[(loaded.f >= 20) & (loaded.f <= 20000)]
        true = loaded(points)
        c = curve(outcome, "with", "response", "load-a")
        error = at_points(c, "magnitude_db", points) - 20 * np.log10(np.abs(true))
        report.check(np.max(abs(error)) <= 0.012, "magnitude at ngspice's points, 20 Hz to 20 kHz",
                     f"off by at most {np.max(abs(error)):.5f} dB of 0.012; ngspice has {20 * np.log10(abs(true[0])):.3f} dB at 20 Hz, "
                     f"{20 * np.log10(np.max(abs(true))):.3f} dB at most")
        unwrapped = {**c, "phase_deg": np.degrees(np.unwrap(np.radians(c["phase_deg"])))}
        error = (at_points(unwrapped, "phase_deg", points) - np.degrees(np.angle(true)) + 180) % 360 - 180
        report.check(np.max(abs(error)) <= 0.1, "phase", f"off by at most {np.max(abs(error)):.4f} degrees of 0.1")
        report.relative("lower_limit_3db_hz", outcome.value("with", "lower_limit_3db_hz"), crossing(loaded, 5, 500), 0.2)
        report.relative("upper_limit_3db_hz", outcome.value("with", "upper_limit_3db_hz"), crossing(loaded, 5000, 100000), 0.2)
        report.absolute("gain_1khz_db", outcome.value("with", "gain_1khz_db"), 20 * np.log10(abs(loaded(np.array([1000.0]))[0])), 0.01)

        ohm = OHM * (unloaded(points) / true - 1)
        c = curve(outcome, "inner", "output_impedance")
        error = np.abs(at_points(c, "magnitude_ohm", points) - np.abs(ohm))
        allowed = np.maximum(0.005 * np.abs(ohm), 1e-3)
        worst = np.argmax(error / allowed)
        report.check(np.all(error <= allowed), "source impedance at ngspice's points, 20 Hz to 20 kHz",
                     f"off by at most {1e3 * error[worst]:.3f} mohm of {1e3 * allowed[worst]:.3f} at {points[worst]:.0f} Hz; ngspice has "
                     f"{1e3 * abs(ohm[0]):.1f} mohm at 20 Hz, {1e3 * abs(ohm[-1]):.1f} at 20 kHz")
        at_1khz = abs(OHM * (unloaded(np.array([1e3])) / loaded(np.array([1e3])) - 1)[0])
        report.absolute("output_impedance_1khz_ohm", outcome.value("inner", "output_impedance_1khz_ohm", None), at_1khz, max(1e-3, 0.005 * at_1khz))


def crosstalk(loaded, heard):
    outputs = [{"name": name, "channel": channel, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": 0.0}
               for channel, name in ((1, "left-out"), (2, "right-out"))]
    inputs = [program.probe("probe-a", 1), program.probe("probe-b", 2, attenuation=1.0)]
    loads = [program.load("left", OHM, "probe-a", driven_by=["left-out"]), program.load("right", OHM, "probe-b", driven_by=["right-out"])]
    test = {"id": "apart", "measure": "separation", "driven": "left", "idle": "right", "drive_dbfs": -14.0}
    with program.Workshop(program.job_text([test]), program.bench_text(outputs=outputs, inputs=inputs, loads=loads)) as shop:
        outcome = shop.run({"apart": record(shop, "apart", [loaded, heard], [program.PROBE_V, program.INPUT_V], -115.0)})
        report.check(outcome.status == 0, "crosstalk: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}")
        c = curve(outcome, "apart", "separation")
        f = c["frequency_hz"]
        true = 20 * np.log10(np.abs(loaded(f) / heard(f)))
        error = c["separation_db"] - true
        report.check(len(f) == 10 and np.max(abs(error)) <= 0.05, "separation, 20 Hz to 20 kHz",
                     f"off by at most {np.max(abs(error)):.4f} dB of 0.05; ngspice has {true[0]:.2f} dB at {f[0]:.0f} Hz, {true[-1]:.2f} dB at {f[-1]:.0f} Hz")
        report.absolute("separation_1khz_db", outcome.value("apart", "separation_1khz_db", None), true[f == 1000][0], 0.05)


LOADED, HEARD, UNLOADED = by_ngspice()
report.guarded("response and source", lambda: response_and_source(LOADED, UNLOADED))
report.guarded("crosstalk", lambda: crosstalk(LOADED, HEARD))
report.finish()
