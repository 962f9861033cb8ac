"""Recordings made elsewhere, good and hostile: what must be accepted is measured right, what must not be trusted is
refused with exit 3 and one line that names the cause.

Truth comes from the outside bench (tests/outside), whose amplifier clips hard at a known voltage: power at 1 % and
10 % THD from the closed form of the clipped sine. Tolerances: the design's 0.2 % of power, 0.3 % with two clocks;
start within 2 ms, clock within 2 ppm. 16-bit, hum and noise add what they really add to the volts.
"""

import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM = 4.0
IDEAL_V = 30.0  # peak of the undistorted output for sample value 1.0
RAIL_V = 20.0
TEST = "power"
report = Report("Recordings made elsewhere")


def power_at(percent, rail_v=RAIL_V, ohm=OHM):
    levels = np.arange(-0.5, 8, 0.1)
    thd = lambda db: 100 * closed_forms.thd(closed_forms.hard_clip(min(10 ** (-db / 20), 1.0), 20))  # noqa: E731
    over = closed_forms.last_upward_crossing(thd, percent, levels)
    c = 10 ** (-over / 20)
    return (closed_forms.rms(closed_forms.hard_clip(c, 20)) * rail_v / c) ** 2 / ohm


WATTS_1, WATTS_10 = power_at(1), power_at(10)


def one_test(**more):
    return {"id": TEST, "measure": "clipping-power", "loads": ["load-a"], "from_dbfs": -10.0, "to_dbfs": -1.0, **more}


class Bench:
    """One tone, one clean amplifier output on the fine grid, as many recordings as wanted."""

    def __init__(self, shop, test=TEST, law=laws.hard_clip(RAIL_V)):
        self.shop = shop
        self.tone, rate = shop.tone(test)
        self.output = bench.amplify(self.tone, rate, law, IDEAL_V)
        self.tone_s = len(self.tone) / rate
        self.rate = rate

    def record(self, volts_per_unit=program.PROBE_V, output=None, **settings):
        return bench.Recorder(**{"rate_hz": RATE, **settings}).record(output or self.output, volts_per_unit)


def run(on, samples, rate=RATE, kind="pcm24"):
    return on.shop.run({TEST: samples}, rate, kind)


def accepted(name, outcome, percent=0.2, start_s=None, ppm=None, watts=(WATTS_1, WATTS_10), test=TEST, load="load-a",
             extra_square_v=0.0):
    """extra_square_v: mean square of hum and noise in the band, which belong to the power by its definition."""
    def body():
        if not report.check(outcome.status == 0, f"{name}: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
            return
        for limit, expected in zip((1, 10), watts):
            report.relative(f"{name}: {limit} %", outcome.value(test, f"power_at_{limit}_percent_w", load),
                            expected + extra_square_v / OHM, percent)
        conditions = outcome.findings(test)["conditions"]
        if start_s is not None:
            report.absolute(f"{name}: start_s", conditions.get("start_s"), start_s, 0.002)
        if ppm is not None:
            report.absolute(f"{name}: clock_ppm", conditions.get("clock_ppm"), ppm, 2.0)
    report.guarded(name, body)


def refused(name, outcome, words, at_s=None, session_expected=True):
    """Exit 3, one line, one of the words in it; with at_s, a second in the line within half a second of it."""
    line = outcome.err.strip()
    good = outcome.status == 3 and len(outcome.error_lines) == 1 and any(word in line.lower() for word in words)
    said = None
    if at_s is not None:
        seconds = [float(s) for s in re.findall(r"(\d+(?:\.\d+)?)\s*(?:s\b|seconds?\b)", line)]
        said = min(seconds, key=lambda s: abs(s - at_s), default=None)
        good = good and said is not None and abs(said - at_s) <= 0.5
    report.check(good, f"{name}: refused", f"exit {outcome.status}, wanted one of {words}"
                 + (f" near {at_s:.2f} s, said {said}" if at_s is not None else "") + f"; {len(outcome.error_lines)} line(s): {line[:300]}")
    if outcome.status == 3 and session_expected:
        def no_numbers():
            part = outcome.session["tests"].get(TEST, {})
            numbers = [q for load in part.get("loads", {}).values() for q in load.get("quantities", {})]
            report.check(not numbers, f"{name}: the session holds no numbers of it", str(numbers[:3]))
        report.guarded(f"{name}: session", no_numbers)


def told_of(name, outcome, words, at_s):
    """A fault inside the recording: refused as above, or, where it costs no requested number, a warning that names the
    cause and the second, and numbers that are right (the contract allows both)."""
    if outcome.status == 3:
        return refused(name, outcome, words, at_s)

    def body():
        text = outcome.warnings(TEST)
        seconds = [float(s) for s in re.findall(r"(\d+(?:\.\d+)?)\s*(?:s\b|seconds?\b)", text)]
        near = any(abs(s - at_s) <= 0.5 for s in seconds)
        report.check(outcome.status == 0 and any(word in text for word in words) and near, f"{name}: told of in a warning",
                     f"exit {outcome.status}, wanted one of {words} near {at_s:.2f} s: {(text or outcome.err.strip())[:300]}")
        for limit, expected in ((1, WATTS_1), (10, WATTS_10)):
            report.relative(f"{name}: {limit} %", outcome.value(TEST, f"power_at_{limit}_percent_w"), expected, 0.2)
    report.guarded(name, body)


def good_recordings(on):
    clean = on.record()
    accepted("one clock", run(on, clean), start_s=0.7, ppm=0.0)
    for start in (0.1, 17.3456, 59.0):
        # Sounds before the start: nothing but the room's noise, and once a knock on the cable.
        samples = on.record(start_s=start, noise_dbfs=-95.0)
        if start > 50:
            samples[int(20 * RATE):int(20 * RATE) + 300] += 0.3 * np.hanning(300)
        accepted(f"start {start} s", run(on, samples), start_s=start, ppm=0.0)
    for ppm in (500.0, -500.0, 83.0):
        accepted(f"clock {ppm:+} ppm", run(on, on.record(ppm=ppm, start_s=4.2)), 0.3, 4.2, ppm)
    for rate in (44100, 48000, 88200, 176400, 192000):
        ppm = {44100: -31.0, 48000: 120.0}.get(rate, 5.0)
        accepted(f"recorded at {rate} Hz", run(on, on.record(rate_hz=rate, ppm=ppm, start_s=1.5), rate), 0.3, 1.5, ppm)
    for kind in ("pcm16", "float", "rf64", "aiff", "flac16", "flac24"):
        accepted(f"as {kind}", run(on, clean, kind=kind), start_s=0.7, ppm=0.0)
    accepted("DC of 5 % of full scale", run(on, clean * 0.9 + 0.05, kind="float"), watts=(WATTS_1 * 0.81, WATTS_10 * 0.81), start_s=0.7)
    hum = 0.5 * (10 ** (-40 / 20) * program.PROBE_V) ** 2
    accepted("hum of 50 Hz at -40 dBFS", run(on, on.record(hum_dbfs=-40.0)), extra_square_v=hum, start_s=0.7, ppm=0.0)
    report.check("hum" not in run(on, clean).warnings(TEST), "clean: no word of hum")
    loud = 0.5 * (10 ** (-22 / 20) * program.PROBE_V) ** 2
    outcome = run(on, on.record(hum_dbfs=-22.0))
    accepted("hum of 50 Hz at -22 dBFS", outcome, extra_square_v=loud, start_s=0.7, ppm=0.0)
    report.check("hum of" in outcome.warnings(TEST) and "% of the power" in outcome.warnings(TEST),
                 "hum of 50 Hz at -22 dBFS: its share of the power is told", outcome.warnings(TEST)[:300])
    # White to half the rate; what lies below 20 kHz counts.
    noise = 0.5 * (10 ** (-60 / 20) * program.PROBE_V) ** 2 * 20000 / (RATE / 2)
    accepted("noise at -60 dBFS", run(on, on.record(noise_dbfs=-60.0)), extra_square_v=noise, start_s=0.7, ppm=0.0)
    accepted("hum and other clock", run(on, on.record(hum_dbfs=-40.0, ppm=-212.0, start_s=9.9)), 0.3, 9.9, -212.0, extra_square_v=hum)
    accepted("AC coupling of 4 Hz", run(on, on.record(coupling_hz=4.0)), start_s=0.7)
    accepted("inverted polarity", run(on, -clean), start_s=0.7, ppm=0.0)
    for decibels in (-30, -12):
        factor = 10 ** (decibels / 20)
        accepted(f"cold by {-decibels} dB", run(on, clean * factor), watts=(WATTS_1 * factor**2, WATTS_10 * factor**2), start_s=0.7, ppm=0.0)
    hot = 1.13  # peaks of 22.6 V against 24.7 V at full scale
    accepted("hot, just below the ceiling", run(on, clean * hot), watts=(WATTS_1 * hot**2, WATTS_10 * hot**2), start_s=0.7)
    others = np.stack([clean, bench.music_like(len(clean), RATE), np.ones(len(clean)), np.zeros(len(clean))], 1)
    accepted("other channels are ignored", run(on, others), start_s=0.7, ppm=0.0)
    knocked = np.array(clean)
    knocked[int(0.2 * RATE):int(0.2 * RATE) + 2000] = np.random.default_rng(1).uniform(-0.9, 0.9, 2000)
    accepted("a loud knock just before", run(on, knocked), start_s=0.7, ppm=0.0)
    again = np.concatenate([clean[:12 * RATE], bench.nothing(5 * RATE), clean])
    accepted("broken off once, then played whole", run(on, again), start_s=17.7, ppm=0.0)
    # The player repeats, or somebody starts it anew: the play that is whole is taken, whichever head is the louder.
    half = len(clean) // 2
    accepted("played twice", run(on, np.concatenate([clean, clean])), start_s=0.7, ppm=0.0)
    accepted("repeated and broken off", run(on, np.concatenate([clean, 0.999 * clean[:half]])), start_s=0.7, ppm=0.0)
    accepted("begun anew in the middle", run(on, np.concatenate([clean[:half], clean])), start_s=half / RATE + 0.7, ppm=0.0)
    longer = np.concatenate([clean, bench.nothing(20 * RATE, -60)])
    accepted("runs on for 20 s", run(on, longer), start_s=0.7, ppm=0.0)


def untrusted_recordings(on):
    clean = on.record(start_s=1.0)
    length = len(clean)
    refused("exact zeros", run(on, np.zeros(length)), ("silen", "zero", "no signal"))
    refused("nothing but noise", run(on, bench.nothing(length, -70)), ("no signal", "not found", "silen", "other signal", "another"))
    refused("music", run(on, bench.music_like(length, RATE)), ("another", "other", "not found", "not the tone", "not hold"))
    steady = 0.4 * np.sin(2 * np.pi * 997 * np.arange(length) / RATE)
    refused("a steady tone of the same frequency", run(on, steady), ("another", "other", "not found", "not the tone", "not hold"))
    refused("cut short", run(on, clean[:int((1.0 + 0.7 * on.tone_s) * RATE)]), ("short", "ends", "cut"))
    steps = bench.levels_of(on.tone, on.rate, 997)
    middle = 0.5 * (steps[-1][0] + steps[-1][1]) / on.rate
    refused("cut inside the last step", run(on, clean[:int((1.0 + middle) * RATE)]), ("short", "ends", "cut"))
    refused("start cut off", run(on, clean[int((1.0 + 0.4 * on.tone_s) * RATE):]), ("start", "not found", "cut", "another", "begin"))
    refused("backwards", run(on, clean[::-1]), ("backward", "reversed"))
    # One sample in a thousand is left out, one by one: to every mark it is a clock of -1000 ppm.
    outcome = run(on, np.delete(clean, np.arange(500, length, 1000)))
    report.check(outcome.status == 3 or "clock-far" in outcome.warnings(TEST), "one sample in 1000 left out: told", outcome.warnings(TEST)[:300] + outcome.err.strip()[:200])
    report.check("clock-far" not in run(on, on.record(ppm=480.0)).warnings(TEST), "a clock of 480 ppm: silent")
    third = len(clean) // 3
    refused("begun three times, never to the end", run(on, np.concatenate([clean[:2 * third], clean[:2 * third], clean[:third]])), ("begins 3 times",))
    # A player whose speed is set wrong, or a converter of rates between: no two clocks are so far apart.
    slow = bench.at_positions(clean, np.arange(0, len(clean) - 20, 0.99))
    refused("slower by 1 %", run(on, slow), ("about 1.0 % longer",))
    refused("faster by 1 %", run(on, bench.at_positions(clean, np.arange(0, len(clean) - 20, 1.01))), ("about 1.0 % shorter",))
    refused("a hundredth of a second", on.shop.run({TEST: (clean[:1000], RATE, "pcm24")}), ("short", "ends", "cut", "no signal"))
    blocks = [("1 sample", 1), ("64 samples", 64), ("10 ms", 960), ("100 ms", 9600)]
    for where in (0.35, 0.8):
        first, end, _ = steps[int(where * len(steps))]
        frame = int((first + end) / 2 * RATE / on.rate + 1.0 * RATE) + 37
        for what, frames in blocks:
            told_of(f"dropout of {what} inside a step", run(on, bench.lost(clean, frame, frames)),
                    ("dropout", "lost", "missing", "gap", "jump", "repeat", "slip"), frame / RATE)
        for what, frames in blocks[1:]:
            told_of(f"repeated block of {what}", run(on, bench.repeated(clean, frame, frames)),
                    ("repeat", "dropout", "twice", "doubled", "jump", "slip"), frame / RATE)
        told_of("zeros for 10 ms", run(on, bench.silenced(clean, frame, 960)), ("zero", "dropout", "gap", "silen", "lost"), frame / RATE)
        # A driver may give a whole buffer again in place of the next. A block that is no whole number of cycles shows.
        told_of("a stuck buffer of 512", run(on, bench.stuck(clean, frame, 512)), ("repeat", "dropout", "twice", "stuck", "jump", "gap"), frame / RATE)
    told_of("dropout of 10 ms with other clock", run(on, bench.lost(on.record(start_s=1.0, ppm=300.0), frame, 960)),
            ("dropout", "lost", "missing", "gap", "jump", "slip"), frame / RATE)
    told_of("dropout between steps",
            run(on, bench.lost(clean, int(steps[len(steps) // 2][1] * RATE / on.rate + 1.0 * RATE) + 400, 960)),
            ("dropout", "lost", "missing", "gap", "jump", "slip"), steps[len(steps) // 2][1] / on.rate + 1.0)
    refused("a compressor", run(on, bench.compressed(clean, RATE, above=0.03)), ("compress", "rise", "gate", "level"))
    refused("a gate", run(on, bench.expanded_gate(clean, RATE, below=0.5)), ("gate", "rise", "compress", "level"))
    refused("input overload from the start of the fine steps", run(on, np.clip(clean * 4, -1, 1)), ("overload", "full scale", "ceiling"))
    # Flat just below full scale, as an input stage or a limiter in the recorder makes it, above what is known to be
    # clean. No run at full scale proves it, so refusing is not owed; silence would be wrong.
    for ceiling in (0.99, 0.96):
        outcome = run(on, on.record(volts_per_unit=0.7 * program.PROBE_V, ceiling=ceiling))
        told = outcome.err.lower() if outcome.status == 3 else outcome.warnings(TEST)
        report.check(outcome.status in (0, 3) and ("ceiling" in told or "overload" in told), f"a recorder's own ceiling at {ceiling}: told of",
                     f"exit {outcome.status}: {told[:200]}")
    turned = clean * np.where(np.arange(length) < length // 2, 1.0, 10 ** (-1 / 20))
    refused("gain turned down by 1 dB half way", run(on, turned), ("rise", "gain", "level"))
    refused("no file", on.shop.run({TEST: None}), ("power.wav", "power"), session_expected=False)
    damaged = on.shop.folder / "damaged"
    damaged.mkdir()
    (damaged / f"{TEST}.wav").write_bytes(b"RIFF\0\0\0\0WAVEnothing")
    outcome = program.assay("run", on.shop.job, "--bench", on.shop.bench, "--recordings", damaged, "--into", on.shop.folder / "damaged-session", "--yes")
    report.check(outcome.status in (2, 3) and len(outcome.error_lines) == 1 and "power" in outcome.err, "a damaged file: refused",
                 f"exit {outcome.status}: {outcome.err.strip()[:200]}")
    mono_bench = program.bench_text(inputs=[program.probe("probe-a", 3)])
    on.shop.bench.write_text(mono_bench)
    refused("channel 3 of a file with one", run(on, clean), ("channel",))
    on.shop.bench.write_text(program.bench_text())


def whole_milliseconds():
    """1000 Hz exactly: a block of 10 ms is ten whole cycles, and the phase does not show it."""
    with program.Workshop(program.job_text([one_test(frequency_hz=1000)])) as shop:
        on = Bench(shop)
        clean = on.record(start_s=1.0)
        accepted("1000 Hz", run(on, clean), start_s=1.0, ppm=0.0)
        steps = bench.levels_of(on.tone, on.rate, 1000)
        for where in (0.25, 0.6, 0.95):
            first, end, _ = steps[min(int(where * len(steps)), len(steps) - 2)]
            frame = int((first + end) / 2 * RATE / on.rate + RATE)
            told_of("10 ms lost at 1000 Hz", run(on, bench.lost(clean, frame, 960)), ("dropout", "lost", "missing", "gap", "jump", "slip"), frame / RATE)
            told_of("10 ms repeated at 1000 Hz", run(on, bench.repeated(clean, frame, 960)), ("repeat", "dropout", "twice", "doubled", "jump", "slip"), frame / RATE)


def overload_above_the_limit(on):
    """The recorder's ceiling is met only beyond 10 % THD: costs steps, no number."""
    # Soft knee, so that peaks still rise beyond the 10 % step (hard rails never would).
    law = laws.polynomial(0.0, -0.16 / IDEAL_V**2)
    output = bench.amplify(on.tone, on.rate, law, IDEAL_V)
    thd = lambda db: 100 * closed_forms.thd(closed_forms.polynomial(0.0, -0.16 / IDEAL_V**2, IDEAL_V * 10 ** (db / 20), 20))  # noqa: E731
    job = program.job_text([one_test(distortion_limits_percent=[1, 3])])
    before = on.shop.job.read_text()
    on.shop.job.write_text(job)
    expected = []
    for limit in (1, 3):
        level = closed_forms.last_upward_crossing(thd, limit, np.arange(-20, 0.01, 0.1))
        expected.append(closed_forms.rms(closed_forms.polynomial(0.0, -0.16 / IDEAL_V**2, IDEAL_V * 10 ** (level / 20), 20)) ** 2 / OHM)
    top = float(np.max(np.abs(output.volts)))
    # The ceiling lies 0.4 dB below the highest step.
    outcome = run(on, on.record(output=output, volts_per_unit=top * 10 ** (-0.4 / 20), ceiling=1.0))
    scale = program.PROBE_V / (top * 10 ** (-0.4 / 20))
    if report.check(outcome.status == 0, "overload above the limits: a warning, exit 0", f"exit {outcome.status} {outcome.err.strip()[:200]}"):
        report.check("overload" in outcome.warnings(TEST), "and the warning is there", outcome.warnings(TEST)[:200])
        for limit, watts in zip((1, 3), expected):
            report.relative(f"power at {limit} % below the overload", outcome.value(TEST, f"power_at_{limit}_percent_w"), watts * scale**2, 0.2)
    on.shop.job.write_text(before)


def one_bad_of_three():
    with program.Workshop(program.job_text([{**one_test(), "id": name} for name in ("first", "second", "third")])) as shop:
        recordings = {}
        for name in ("first", "second", "third"):
            on = Bench(shop, name)
            recordings[name] = on.record()
        recordings["second"] = bench.music_like(len(recordings["second"]), RATE)
        outcome = shop.run(recordings)
        report.check(outcome.status == 3 and len(outcome.error_lines) == 1 and "second" in outcome.err, "one bad test of three: exit 3, named",
                     f"exit {outcome.status}: {outcome.err.strip()[:300]}")
        for name in ("first", "third"):
            report.guarded(name, lambda: report.relative(f"{name} is measured", outcome.value(name, "power_at_1_percent_w"), WATTS_1, 0.2))
        report.guarded("second", lambda: report.check(
            not outcome.findings("second").get("loads", {}).get("load-a", {}).get("quantities"), "second has no numbers"))


def swapped_files():
    """Another test's recording under this test's name is another signal."""
    tests = [one_test(), {**one_test(from_dbfs=-8.0, to_dbfs=-3.0), "id": "other"}]
    with program.Workshop(program.job_text(tests)) as shop:
        other = Bench(shop, "other").record()
        mine = Bench(shop).record()
        outcome = shop.run({TEST: other, "other": mine})
        report.check(outcome.status == 3, "recordings of two tests swapped: refused", f"exit {outcome.status} {outcome.err.strip()[:300]}")


def bridged():
    """Between two probes, with a common mode at another frequency on both; overload judged per input."""
    inputs = [program.probe("probe-a", 1), program.probe("probe-b", 2)]
    bench_file = program.bench_text(inputs=inputs, loads=[program.load("bridge", OHM, "probe-a", minus="probe-b")])
    job = program.job_text([{**one_test(), "loads": ["bridge"]}])
    with program.Workshop(job, bench_file) as shop:
        on = Bench(shop)  # the whole output, of which each half carries a half
        time = np.arange(len(on.output.volts)) / on.output.rate_hz
        for volts, hertz in ((1.0, 310.0), (5.0, 50.0), (12.0, 2350.0)):
            common = bench.Analog(on.output.rate_hz, np.sqrt(2) * min(volts, 20) * np.sin(2 * np.pi * hertz * time))
            scale = program.PROBE_V
            pair = np.stack([on.record(scale, on.output * 0.5 + common, seed=1), on.record(scale, on.output * -0.5 + common, seed=2)], 1)
            peak = np.max(np.abs(pair))
            if peak < 0.94:
                accepted(f"bridged, {volts:g} V of common mode at {hertz:g} Hz", run(on, pair), load="bridge", start_s=0.7)
        # 20 V of common mode would pass full scale at this divider: the bench gets a larger one.
        large = [program.probe("probe-a", 1, attenuation=30.0), program.probe("probe-b", 2, attenuation=30.0)]
        shop.bench.write_text(program.bench_text(inputs=large, loads=[program.load("bridge", OHM, "probe-a", minus="probe-b")]))
        common = bench.Analog(on.output.rate_hz, np.sqrt(2) * 20.0 * np.sin(2 * np.pi * 310.0 * time))
        scale = program.INPUT_V * 30.0
        pair = np.stack([on.record(scale, on.output * 0.5 + common, seed=1), on.record(scale, on.output * -0.5 + common, seed=2)], 1)
        accepted("bridged, 20 V of common mode at 310 Hz", run(on, pair), load="bridge", start_s=0.7)
        # Single-supply bridge: DC of half the supply on both.
        pair = np.stack([on.record(scale, on.output * 0.5, dc=0.12), on.record(scale, on.output * -0.5, dc=0.12, seed=2)], 1)
        accepted("bridged, half the supply on both", run(on, pair), load="bridge", start_s=0.7)
        # One input overdriven by the common mode while the difference looks sound.
        shop.bench.write_text(bench_file)
        common = bench.Analog(on.output.rate_hz, 22.0 * np.sin(2 * np.pi * 310.0 * time))
        scale = program.PROBE_V
        pair = np.stack([on.record(scale, on.output * 0.5 + common, ceiling=0.99), on.record(scale, on.output * -0.5 + common, ceiling=0.99, seed=2)], 1)
        refused("bridged, inputs overdriven by the common mode", run(on, pair), ("overload", "full scale", "ceiling"))
        # Only one input overdriven, by a divider of the wrong size.
        pair = np.stack([on.record(scale, on.output * 0.5), on.record(scale / 4, on.output * -0.5, seed=2)], 1)
        outcome = run(on, pair)
        told = (outcome.err + outcome.warnings(TEST) if outcome.has_session() else outcome.err).lower()
        report.check(outcome.status == 3 and "probe-b" in told and "overload" in told, "bridged, one input overdriven: refused, and named",
                     f"exit {outcome.status}: {outcome.err.strip()[:200]}")


def main():
    with program.Workshop(program.job_text([one_test()])) as shop:
        on = Bench(shop)
        print(f"  the tone lasts {on.tone_s:.1f} s; truth {WATTS_1:.4f} W at 1 %, {WATTS_10:.4f} W at 10 %")
        for part in (good_recordings, untrusted_recordings, overload_above_the_limit):
            report.guarded(part.__name__, lambda: part(on))
    for part in (whole_milliseconds, one_bad_of_three, swapped_files, bridged):
        report.guarded(part.__name__, part)
    report.finish()


if __name__ == "__main__":
    main()
