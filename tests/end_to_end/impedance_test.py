"""The measures impedance and match against an outside jig (tests/outside/driver_bench.py): one curve that runs from
1 to 200 ohm, through both topologies, with unlike inputs, a loading input, a lead, noise, hum, another clock, 16 bits.

Truth is the impedance that the outside jig was given, and what follows from it by the closed forms named beside the
checks. Limits: 0.1 % of |Z| and 0.1 degree, the targets, for the rms over the curve; single points scatter by what
they say of themselves.
"""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.signal import oaconvolve

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import driver_bench, program  # noqa: E402
from outside.driver_bench import Card, Jig  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Impedance and match")
RATE = 48000
FS_HZ, QMS, RE_OHM, RES_OHM = 32.4, 7.15, 1.0, 199.0


def wide(f):
    """1 ohm, a peak of 200 ohm, a lossy coil: the whole range of the targets in one curve."""
    f = np.asarray(f, float)
    s = 2j * np.pi * f
    return RE_OHM + 2e-4 * s**0.75 + RES_OHM / (1 + 1j * QMS * (f / FS_HZ - FS_HZ / f))


def pure(f):
    """Re + R-L-C peak without a coil. Closed form: Zmax = Re + Res at fs, exactly."""
    f = np.asarray(f, float)
    return 5.6 + 67.8644 / (1 + 1j * 7.15 * (f / 32.4 - 32.4 / f))


def errors(outcome, test, z_of):
    curve = outcome.session["tests"][test]["curves"]["impedance"]
    f = np.array(curve["frequency_hz"])
    z = np.array(curve["magnitude_ohm"]) * np.exp(1j * np.radians(curve["phase_deg"]))
    truth = z_of(f)
    scatter = np.array(curve["scatter_ohm"])
    return f, 100 * (np.abs(z) / np.abs(truth) - 1), np.degrees(np.angle(z / truth)), np.abs(z - truth) / scatter, truth


def curve_is_true(what, outcome, z_of, test="free", percent=0.1, degrees=0.1, within_scatter=True):
    if not report.check(outcome.status == 0, f"{what}: measured", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
        return
    f, size, turn, sigmas, truth = errors(outcome, test, z_of)
    rms = lambda values: float(np.sqrt(np.mean(np.square(values))))
    report.check(rms(size) < percent and rms(turn) < degrees and f[0] < 11 and f[-1] > 19000, f"{what}: the curve",
                 f"{len(f)} points, {np.min(np.abs(truth)):.2f} to {np.max(np.abs(truth)):.1f} ohm, rms {rms(size):.4f} % and {rms(turn):.4f} deg, "
                 f"worst {np.max(np.abs(size)):.3f} % and {np.max(np.abs(turn)):.3f} deg")
    top = np.abs(truth) > 0.9 * np.max(np.abs(truth))
    report.check(rms(size[top]) < percent, f"{what}: at the peak", f"{np.sum(top)} points above {np.min(np.abs(truth[top])):.0f} ohm, rms {rms(size[top]):.4f} %")
    if within_scatter:
        # |error|^2 over the variance of one part is chi-square of two degrees: mean 2. Over 866 points it is known to 3.4 %;
        # neighbours share their variance, hence the wider band.
        chi = float(np.mean(sigmas**2) / 2)
        report.check(0.75 < chi < 1.35, f"{what}: the stated scatter is the real one", f"mean square error over stated variance {chi:.3f}")


def on_one_node(jig):
    return replace(jig, topology="series-high", series_ohm=1e-9, lead_ohm=0.0, input_resistance_ohm=math.inf)


def topologies():
    # A sense resistor of 10 ohm and a series one of 22: what people use for a driver of a few ohms.
    for topology, ohm in (("series-high", 22.0), ("sense-low", 10.0)):
        jig = Jig(topology, ohm, 0.08, 10e3, 0.3, 1.013, 2.5e-6)
        tests = [{"id": "match", "measure": "match", "drive_dbfs": -10.0},
                 driver_bench.impedance("free", drive_dbfs=-10.0, match="match")]
        with program.Workshop(driver_bench.job_text(tests), driver_bench.bench_text(jig, {"sample_rate_hz": RATE})) as shop:
            tones = driver_bench.Tones()
            card = Card(rate_hz=RATE, ppm=480.0, start_s=3.3, kind="pcm16", noise_db=-70.0, hum_db=-50.0, dc=(0.02, -0.01))
            match, ppm = driver_bench.record(tones.of(shop, "match"), None, on_one_node(jig), card)
            free, _ = driver_bench.record(tones.of(shop, "free"), wide, jig, replace(card, seed=7))
            outcome = shop.run({"match": match, "free": free}, RATE, "pcm16")
            curve_is_true(f"{topology}, 16 bits, {ppm:.0f} ppm, hum, unlike inputs, 10 kohm input, lead", outcome, wide)
            if outcome.status != 0:
                continue
            found = outcome.session["tests"]["match"]
            # Gain ratio and delay that the outside jig was given: 20 lg 1.013 = 0.11219 dB, -360 * 10 kHz * 2.5 us = -9 degrees.
            report.absolute(f"{topology}: match at 1 kHz", found["quantities"]["ratio_1khz_db"]["value"], 20 * math.log10(1.013), 0.001)
            report.absolute(f"{topology}: phase of the match at 10 kHz", found["quantities"]["phase_10khz_deg"]["value"], -9.0, 0.02)
            told = outcome.session["tests"]["free"]
            report.absolute(f"{topology}: clock_ppm", told["conditions"]["clock_ppm"], ppm, 0.05)
            # The highest of |wide| by a fine grid of the closed form.
            fine = np.linspace(31, 34, 300001)
            top = np.argmax(np.abs(wide(fine)))
            report.relative(f"{topology}: resonance_hz", told["quantities"]["resonance_hz"]["value"], fine[top], 0.005)
            report.relative(f"{topology}: maximum_ohm", told["quantities"]["maximum_ohm"]["value"], abs(wide(fine[top])), 0.05)
            above = np.geomspace(40, 19000, 400001)
            low = np.argmin(np.abs(wide(above)))
            report.relative(f"{topology}: minimum_ohm", told["quantities"]["minimum_ohm"]["value"], abs(wide(above[low])), 0.05)
            report.relative(f"{topology}: minimum_hz", told["quantities"]["minimum_hz"]["value"], above[low], 1.0)
            report.relative(f"{topology}: impedance_1khz_ohm", told["quantities"]["impedance_1khz_ohm"]["value"], abs(wide(1000.0)), 0.05)
            volts(f"{topology}, matched", jig, tones.of(shop, "free"), told, matched=True)
        like = replace(jig, gain_ratio=1.0, delay_s=0.0)
        with program.Workshop(driver_bench.job_text([driver_bench.impedance("free", drive_dbfs=-10.0)]),
                              driver_bench.bench_text(like, {"sample_rate_hz": RATE})) as shop:
            played = driver_bench.Tones().of(shop, "free")
            free, _ = driver_bench.record(played, wide, like, replace(card, seed=11))
            outcome = shop.run({"free": free}, RATE, "pcm16")
            if report.check(outcome.status == 0, f"{topology}, no match", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
                volts(f"{topology}, no match", like, played, outcome.session["tests"]["free"], matched=False)


def volts(what, jig, played, told, matched):
    """RMS across the driver of the octave around the resonance, from the tone file's own spectrum: the steady part of the
    last step is periodic, so a stretch of whole periods of 5 s has lines on its bins alone (Parseval). Its uncertainty: each
    input's scale is known to 0.05 %, and where the driver's volts are a difference, JCGM 100:2008 5.1.2 for V = |a - b|; a
    match on one node leaves what both scales share."""
    resonance = told["quantities"]["resonance_hz"]["value"]
    frames = 15 * played.rate_hz
    end = len(played.tone) - int(3.5 * played.rate_hz)
    spectrum = np.fft.rfft(played.tone[end - frames:end]) / frames * np.sqrt(2)
    f = np.fft.rfftfreq(frames, 1 / played.rate_hz)
    band = (f > resonance / np.sqrt(2)) & (f < resonance * np.sqrt(2))
    generator, below = jig.voltages(wide(f[band]))
    across = below if jig.topology == "series-high" else generator - below
    if jig.topology == "series-high":
        across = across * jig.gain_ratio  # the level is told by the driver-side input's own scale
    weight = np.abs(spectrum[band]) ** 2
    square = np.sum(weight * np.abs(across) ** 2)
    found = told["quantities"]["volts_at_resonance_v"]
    report.relative(f"{what}: volts_at_resonance_v", found["value"], driver_bench.GENERATOR_V * np.sqrt(square), 0.1)
    if jig.topology == "series-high" or matched:
        moves = [1.0]
    else:
        moves = [np.sum(weight * (np.conj(across) * side).real) / square for side in (generator, -below)]
    report.relative(f"{what}: its expanded uncertainty", found["expanded_uncertainty"] / found["value"], 2 * 0.05e-2 * float(np.hypot.reduce(moves)), 0.5)


def known_resistor():
    """A resistor of 33 ohm in the driver's place takes the mismatch out as well; the lead stays in the circuit."""
    jig = Jig("series-high", 22.0, 0.05, 100e3, 0.3, 0.985, -1.5e-6)
    tests = [{"id": "match", "measure": "match", "drive_dbfs": -10.0, "known_ohm": 33.0, "known_uncertainty_percent": 0.05},
             driver_bench.impedance("free", drive_dbfs=-10.0, match="match"), driver_bench.impedance("plain", drive_dbfs=-10.0)]
    with program.Workshop(driver_bench.job_text(tests), driver_bench.bench_text(jig, {"sample_rate_hz": RATE})) as shop:
        tones = driver_bench.Tones()
        card = Card(rate_hz=RATE, noise_db=-80.0)
        match, _ = driver_bench.record(tones.of(shop, "match"), lambda f: np.full(len(f), 33.0 + 0j), jig, card)
        free, _ = driver_bench.record(tones.of(shop, "free"), pure, jig, replace(card, seed=5))
        plain, _ = driver_bench.record(tones.of(shop, "plain"), pure, jig, replace(card, seed=6))
        outcome = shop.run({"match": match, "free": free, "plain": plain}, RATE)
        curve_is_true("matched by a known resistor", outcome, pure)
        if outcome.status != 0:
            return
        found = outcome.session["tests"]
        # Zmax of Re + R||L||C is Re + Res at fs (Small 1972).
        report.relative("resonance_hz of a pure peak", found["free"]["quantities"]["resonance_hz"]["value"], 32.4, 0.002)
        report.relative("maximum_ohm of a pure peak", found["free"]["quantities"]["maximum_ohm"]["value"], 73.4644, 0.02)
        # Unmatched: h is 0.985 of the truth; Z = R h / (1 - h) by hand.
        seen = 1 / (1 / (73.4644 + 0.05) + 1 / 100e3)
        h = 0.985 * seen / (seen + 22.0)
        behind = 1 / (1 / (22.0 * h / (1 - h)) - 1 / 100e3) - 0.05
        report.relative("unmatched, the maximum is wrong by what the mismatch says", found["plain"]["quantities"]["maximum_ohm"]["value"], behind, 0.03)
        report.check("inputs-not-matched" in outcome.warnings("plain") and "inputs-not-matched" not in outcome.warnings("free"),
                     "and a warning says that they are not matched")
        doubts(found["free"]["quantities"]["maximum_ohm"], jig)


def doubts(maximum, jig):
    """The uncertainty of the maximum: with a known resistor, Z is known re that resistor; by finite differences of the
    closed form. Series resistor 0.1 %, known resistor 0.05 %, standard."""
    lead, g = jig.lead_ohm, 1 / jig.input_resistance_ohm

    def ratio(z, series):
        seen = 1 / (1 / (z + lead) + g)
        return seen / (seen + series)

    def impedance(h, series):
        return 1 / (1 / (series * h / (1 - h)) - g) - lead

    def read(series, known):
        seen_free, seen_known = ratio(73.4644, 22.0), ratio(33.0, 22.0)  # the bench as it is, apart from any mismatch
        return impedance(seen_free / (seen_known / ratio(known, series)), series)

    by_series = read(22.0 * 1.001, 33.0) - read(22.0, 33.0)
    by_known = read(22.0, 33.0 * 1.0005) - read(22.0, 33.0)
    expected = 2 * math.hypot(by_series, by_known)
    report.relative("expanded uncertainty of the maximum", maximum["expanded_uncertainty"], expected, 3.0)


def levels_and_sounds():
    """Remarks: another curve at full level, a whistle on a line."""
    jig = Jig("series-high", 22.0)
    with program.Workshop(driver_bench.job_text([driver_bench.impedance("free", drive_dbfs=-10.0)]),
                          driver_bench.bench_text(jig, {"sample_rate_hz": RATE})) as shop:
        played = driver_bench.Tones().of(shop, "free")
        card = Card(rate_hz=RATE, noise_db=-80.0)
        low, _ = driver_bench.record(played, wide, jig, card)

        def softer(f):
            f = np.asarray(f, float)
            s, fs = 2j * np.pi * f, FS_HZ * 0.96
            return RE_OHM + 2e-4 * s**0.75 + 0.9 * RES_OHM / (1 + 1j * 0.9 * QMS * (f / fs - fs / f))

        high, _ = driver_bench.record(played, softer, jig, card)
        # The second step's marks begin where the first one's sound ends: the louder half of the tone.
        size = oaconvolve(np.abs(low[:, 0]), np.ones(RATE) / RATE, "same")
        middle = int(np.argmax(size > 0.75 * np.max(size))) - RATE // 2
        both = np.concatenate([low[:middle], high[middle:]])
        outcome = shop.run({"free": both}, RATE)
        text = outcome.warnings("free")
        report.check(outcome.status == 0 and "level-too-high" in text and "-4.0 %" in text and "resonance" in text,
                     "a resonance that falls by 4 % from half to full level", text[:300])
        told = outcome.session["tests"]["free"]["conditions"]
        report.relative("resonance at half the level", told.get("resonance_half_level_hz"), FS_HZ, 0.1)
        outcome = shop.run({"free": low}, RATE)
        report.check(outcome.status == 0 and "level" not in outcome.warnings("free"), "a curve that does not change: no word on the level",
                     outcome.warnings("free")[:200])
        lines = np.array(outcome.session["tests"]["free"]["curves"]["impedance"]["frequency_hz"])
        time = np.arange(len(low)) / RATE
        hit = [lines[300], lines[500] + 0.02, lines[700] - 0.05]
        whistled = low + sum(0.003 * np.sin(2 * np.pi * f * time + f) for f in hit)[:, None] * [0.1, 1.0]
        outcome = shop.run({"free": whistled}, RATE)
        kept = np.array(outcome.session["tests"]["free"]["curves"]["impedance"]["frequency_hz"])
        report.check(not any(np.any(np.abs(kept - f) < 0.1) for f in hit) and len(kept) > len(lines) - 12, "lines that a whistle covers are left out",
                     f"{len(lines)} lines, {len(kept)} kept")
        report.check("lines-left-out" in outcome.warnings("free"), "and a warning says so", outcome.warnings("free")[:200])
        curve_is_true("with whistles", outcome, wide, within_scatter=False)


def bad_jobs():
    """Slips in the job: exit 2, one line with file, line and key."""
    free = driver_bench.impedance("free")
    match = {"id": "match", "measure": "match"}
    cases = {
        "no such match test": ([driver_bench.impedance("free", match="mach")], {}, ["job.toml:", "match:", "mach"]),
        "match test that comes later": ([driver_bench.impedance("free", match="match"), match], {}, ["job.toml:", "match:", "before"]),
        "loads in the jig": ([dict(free, loads=["load-a"])], {"load": True}, ["job.toml:", "loads"]),
        "one frequency": ([dict(free, frequency_hz=100)], {}, ["job.toml:", "frequency_hz"]),
        "a band of one octave": ([dict(free, start_hz=100, stop_hz=200)], {}, ["job.toml:", "stop_hz"]),
        "above half the rate": ([dict(free, stop_hz=30000)], {"rate": 48000}, ["job.toml:", "stop_hz"]),
        "a level beside a file": ([dict(free, from_file="a.csv", drive_dbfs=-10)], {}, ["job.toml:", "drive_dbfs"]),
        "no jig": ([free], {"no_jig": True}, ["job.toml:", "impedance_jig"]),
    }
    for what, (tests, bench, words) in cases.items():
        text = driver_bench.bench_text(Jig(), {"sample_rate_hz": bench.get("rate", 96000)})
        if bench.get("no_jig"):
            text = text.split("[impedance_jig]")[0]
        if bench.get("load"):
            text += program.table("[[load]]", program.load("load-a", 4.0, "jig-1"))
        with program.Workshop(driver_bench.job_text(tests), text) as shop:
            done = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "tones")
            report.check(done.status == 2 and len(done.error_lines) == 1 and all(word in done.err for word in words), f"refused: {what}",
                         f"exit {done.status} {done.err.strip()[-200:]}")


def kept_match():
    """The match.json that a session keeps, named by a later bench, does what the match test did."""
    jig = Jig("series-high", 22.0, 0.05, 100e3, 0.3, 1.02, 2e-6)
    with program.Workshop(driver_bench.job_text([{"id": "match", "measure": "match", "drive_dbfs": -10.0}]),
                          driver_bench.bench_text(jig, {"sample_rate_hz": RATE})) as shop:
        card = Card(rate_hz=RATE, noise_db=-80.0)
        match, _ = driver_bench.record(driver_bench.Tones().of(shop, "match"), None, on_one_node(jig), card)
        first = shop.run({"match": match}, RATE)
        kept = first.folder / "match.json"
        if not report.check(first.status == 0 and kept.exists(), "the session keeps match.json", f"exit {first.status} {first.err.strip()[:200]}"):
            return
        with program.Workshop(driver_bench.job_text([driver_bench.impedance("free", drive_dbfs=-10.0)]),
                              driver_bench.bench_text(jig, {"sample_rate_hz": RATE}, match="match.json")) as later:
            (later.folder / "match.json").write_text(kept.read_text())
            free, _ = driver_bench.record(driver_bench.Tones().of(later, "free"), pure, jig, replace(card, seed=9))
            curve_is_true("matched by a file", later.run({"free": free}, RATE), pure)
            # Another calibration of an input since then: the samples' ratio is what the file knows.
            text = driver_bench.bench_text(jig, {"sample_rate_hz": RATE}, match="match.json")
            head, tail = text.split('name = "jig-2"')
            later.bench.write_text(head + 'name = "jig-2"' + tail.replace("volts_at_full_scale = 2.2", "volts_at_full_scale = 2.25", 1))
            curve_is_true("matched by a file older than the calibration", later.run({"free": free}, RATE), pure)
            (later.folder / "match.json").write_text(kept.read_text().replace("assay-match-1", "other-1"))
            spoilt = later.run({"free": free}, RATE)
            report.check(spoilt.status in (2, 3) and "match.json" in spoilt.err and len(spoilt.error_lines) == 1, "a file of another kind is refused",
                         f"exit {spoilt.status} {spoilt.err.strip()[:200]}")


for part in (topologies, known_resistor, levels_and_sounds, kept_match, bad_jobs):
    report.guarded(part.__name__, part)
report.finish()
