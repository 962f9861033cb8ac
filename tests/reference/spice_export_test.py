"""The exported subcircuit in ngspice: its small-signal impedance against the fitted curve within 0.01 %.

The curve is computed here from the conditions of the session by the closed forms of the model: Small, JAES 20(5), 1972
(cone); Leach, JAES 50(6), 2002 (K(jw)^n); Knudsen and Jensen, JAES 41, 1993 (creep, decadic logarithm, reference fs).
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2])) / "tests"))
from outside import made_session, program, report  # noqa: E402

PROMISED = 1e-4

DRIVERS = {
    "plain, 10 inch": dict(coil_model="inductance", re=5.61, fs=32.3845, qms=7.1466, qes=0.59191, creep=0.0, l_h=1.37e-3),
    "power law, creep": dict(coil_model="power-law", re=5.6, fs=32.4, qms=4.5, qes=0.59, creep=0.12, k=0.05, n=0.65),
    "power law, tweeter": dict(coil_model="power-law", re=5.2, fs=900.0, qms=2.1, qes=1.4, creep=0.0, k=0.0027, n=0.8),
    "loss circuit": dict(coil_model="loss-circuit", re=3.2, fs=80.0, qms=3.0, qes=0.9, creep=0.05, l_h=0.3e-3,
                         l2_h=1.1e-3, r2_ohm=9.0),
    "double loss circuit": dict(coil_model="double-loss-circuit", re=1.8, fs=28.0, qms=5.0, qes=0.5, creep=0.2,
                                l_h=0.2e-3, l2_h=0.4e-3, r2_ohm=22.0, l3_h=1e-3, r3_ohm=5.0),
    "bounded power law": dict(coil_model="bounded-power-law", re=3.45, fs=17.3, qms=11.5, qes=0.4, creep=0.0, l_h=10e-3,
                              k=0.13, n=0.651),
    "semi-inductance": dict(coil_model="semi-inductance", re=6.2, fs=45.0, qms=6.0, qes=0.45, creep=0.1, l_h=0.2e-3,
                            l2_h=5e-3, k=0.1, n=0.5),
}


def parallel(a, b):
    return a * b / (a + b)


def impedance(d, f):
    jw = 2j * np.pi * f
    kind = d["coil_model"]
    power = d.get("k", 0.0) * jw ** d.get("n", 1.0)
    coil = {"inductance": lambda: jw * d["l_h"],
            "power-law": lambda: power,
            "bounded-power-law": lambda: parallel(jw * d["l_h"], power),
            "semi-inductance": lambda: jw * d["l_h"] + parallel(jw * d["l2_h"], power),
            "loss-circuit": lambda: jw * d["l_h"] + parallel(d["r2_ohm"], jw * d["l2_h"]),
            "double-loss-circuit": lambda: jw * d["l_h"] + parallel(d["r2_ohm"], jw * d["l2_h"])
            + parallel(d["r3_ohm"], jw * d["l3_h"])}[kind]()
    q = 1j * f / d["fs"]
    creep = 1 - d["creep"] * np.log10(q)
    # fs is where the reactance vanishes, Qms is what the height of the peak shows.
    at_fs = 1 - d["creep"] * np.log10(1j)
    stiffness = 1 / creep / np.real(1 / at_fs)
    viscous = 1 / d["qms"] - np.real((1 / at_fs / np.real(1 / at_fs)) / 1j)
    return d["re"] + coil + d["re"] / d["qes"] / (q + viscous + stiffness / q)


def conditions(d):
    named = {"coil_model": d["coil_model"], "model_re_ohm": d["re"], "model_fs_hz": d["fs"], "model_qms": d["qms"],
             "model_qes": d["qes"], "model_creep_lambda": d["creep"]}
    named.update({f"model_coil_{key}": d[key] for key in ("l_h", "l2_h", "r2_ohm", "l3_h", "r3_ohm", "k", "n") if key in d})
    return named


def ngspice_impedance(netlist, folder):
    """One ampere through the driver: its voltage is its impedance."""
    (folder / "driver.lib").write_text(netlist)
    (folder / "run.cir").write_text("an impedance\n.include driver.lib\nX1 a 0 driver\nI1 0 a DC 0 AC 1\n"
                                    ".control\nset wr_singlescale\nset numdgt=15\nac dec 40 1 20k\nwrdata z.txt real(v(a)) imag(v(a))\n"
                                    "quit\n.endc\n.end\n")
    done = subprocess.run(["ngspice", "-b", "run.cir"], cwd=folder, capture_output=True, text=True, timeout=60)
    path = folder / "z.txt"
    if not path.exists():
        raise AssertionError(f"ngspice: {done.stdout[-500:]} {done.stderr[-500:]}")
    table = np.loadtxt(path)
    return table[:, 0], table[:, 1] + 1j * table[:, 2]


def main():
    checks = report.Report("exported subcircuit in ngspice")
    with made_session.Frame(unit={"kind": "amplifier"}) as frame:
        for name, d in DRIVERS.items():
            curve = {"fit": {"frequency_hz": [10.0, 100.0, 20000.0], "magnitude_ohm": [6.0, 6.0, 6.0]}}
            session = frame.session("s", {"parameters": made_session.test(
                "driver-parameters", made_session.findings(curves=curve), conditions=conditions(d))})
            done = program.assay("export", session, "--format", "spice")
            checks.check(done.status == 0, f"{name}: exit 0", done.err)
            if done.status != 0:
                continue
            with tempfile.TemporaryDirectory() as folder:
                f, z = ngspice_impedance(done.out, Path(folder))
            error = np.abs(z / impedance(d, f) - 1)
            checks.check(error.max() <= PROMISED, f"{name}: within 0.01 % of the curve, 1 Hz to 20 kHz",
                         f"{100 * error.max():.2g} % at {f[error.argmax()]:.4g} Hz, {len(done.out.splitlines())} lines")
            remarks = [line for line in done.out.splitlines() if line.startswith("*")]
            checks.check(any("measured from 10 Hz to 20000 Hz" in line for line in remarks),
                         f"{name}: says what was measured", "" if name != "power law, creep" else "\n    ".join(remarks))
    checks.finish()


if __name__ == "__main__":
    main()
