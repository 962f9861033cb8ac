"""A level held for long: run time, fall of the output, the log, music-like noise, the supply by meter.

Sources: an output that falls as exp(-t / tau) has fallen by d dB after tau d ln(10) / 20; a harmonic of share h is THD h; a
mute has the minute at which it was put in; energy of straight lines of volts and amperes by their closed integral; the
noise's spectrum by SciPy's analogue Butterworth filters over 1/f. The fall is counted from the second row. Tolerances:
0.3 s for the fall of a sine (the 0.25 s grid of the start), 2 s for that of noise (rows of half a minute, the same grid); a
quarter of a second at each end for what goes away at once; 2 ppm of clock, from half-second fits at -100 dBFS of noise.

    endurance_test.py           minutes
    endurance_test.py --long    also eight hours in a loop: memory, drift, the log's minutes (4 GB of disk twice, a quarter of an hour)
"""

import sys
import wave
from pathlib import Path

import numpy as np
from scipy import signal

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE, F, THIRD = 48000, 997.0, 0.002
SLOW = {"sound": {"sample_rate_hz": RATE}, "loads": [program.load("load-a", 4.0, "probe-a", rated_power_w=100.0)]}
report = Report("Endurance")


def test_of(**fields):
    return {"id": "held", "measure": "endurance", "loads": ["load-a"], "minutes": 2.0, "drive_dbfs": -20.0, **fields}


def with_noise(samples, seed=1):
    return samples + 1e-5 * np.random.default_rng(seed).standard_normal(len(samples))


def recording(minutes, gain, ppm=200.0, lead_s=1.3):
    rate = RATE * (1 + ppm * 1e-6)
    t = np.arange(int(minutes * 60 * rate)) / rate
    sound = gain(t) * (np.sin(2 * np.pi * F * t) + THIRD * np.sin(2 * np.pi * 3 * F * t))
    return with_noise(np.concatenate([np.zeros(int(lead_s * RATE)), sound, np.zeros(RATE)]) * 0.5)


def run():
    with program.Workshop(program.job_text([test_of()])) as shop:
        tau = 600.0
        falling = shop.run({"held": (recording(2.0, lambda t: np.exp(-t / tau)), RATE, "pcm24")})
        report.check(falling.status == 0, "slow fall: accepted", falling.err.strip()[:300])
        report.absolute("slow fall: run_minutes", falling.value("held", "run_minutes"), (tau * np.log(10) / 20 + 3.0) / 60, 0.005)
        log = falling.findings("held", "load-a")["curves"]["log"]
        report.absolute("THD of the log", log["thd_percent"][3], 100 * THIRD, 0.004)
        report.relative("volts of the first row", log["voltage_v"][0], 0.5 * program.PROBE_V / np.sqrt(2), 1.0)
        report.absolute("clock_ppm", falling.findings("held")["conditions"]["clock_ppm"], 200.0, 2.0)
        # Mean of exp(-2 t / tau) from 0 to the end.
        end_s = 60 * falling.value("held", "run_minutes")
        power = (0.5 * program.PROBE_V) ** 2 / 2 / 4.0 * (1 + THIRD**2) * tau / 2 / end_s * (1 - np.exp(-2 * end_s / tau))
        report.relative("slow fall: mean_power_w", falling.value("held", "mean_power_w"), power, 0.4)
        report.relative("slow fall: load_energy_wh", falling.value("held", "load_energy_wh"), power * end_s / 3600, 0.4)
        # An end later by a standard uncertainty adds the power at the end for so long (JCGM 100, 5.1.2).
        found = falling.findings("held", "load-a")["quantities"]
        late_minutes, late_wh = ([s["contribution"] for s in found[key]["sources"] if s["id"].endswith(":time")]
                                 for key in ("run_minutes", "load_energy_wh"))
        power_at_end = (0.5 * program.PROBE_V) ** 2 / 2 / 4.0 * (1 + THIRD**2) * np.exp(-2 * end_s / tau)
        report.relative("slow fall: energy's doubt from the end's", sum(late_wh), power_at_end * sum(late_minutes) / 60, 1.0)
        mute = shop.run({"held": (recording(2.0, lambda t: np.where(t < 70.0, 1.0, 0.0)), RATE, "pcm24")})
        report.absolute("mute: run_minutes", mute.value("held", "run_minutes"), 70 / 60, 0.005 / 60)  # a start without the player's fade
        report.absolute("mute: output_fall_db", mute.value("held", "output_fall_db"), 0.0, 0.01)
        report.check("output-gone" in mute.warnings("held"), "mute: told", mute.warnings("held")[:200])
        whole = shop.run({"held": (recording(2.05, lambda t: 0 * t + 1), RATE, "pcm24")})
        report.absolute("held to the end: run_minutes", whole.value("held", "run_minutes"), 2.0, 1e-9)
        # The tone begins 12 ms after a quarter of a second: its own start is no fault of the first row.
        early = shop.run({"held": (recording(2.05, lambda t: 0 * t + 1, lead_s=1.262), RATE, "pcm24")})
        report.check(early.status == 0 and "stretches-left-out" not in early.warnings("held"), "a start within a block is no uneven stretch",
                     early.err.strip()[:200] + early.warnings("held")[:200])
        report.absolute("the level is among the conditions", early.findings("held")["conditions"].get("drive_dbfs"), -20.0, 1e-9)


def loop_of(gap_s, ppm, rate):
    """One turn of the file as a recorder hears it: a minute with fades of 5 ms, then the player's gap."""
    real = rate * (1 + ppm * 1e-6)
    t = np.arange(int(round(60.0 * real))) / real
    fade = np.clip(np.minimum(t, 60.0 - t) / 0.005, 0, 1)
    turn = 0.5 * np.sin(np.pi / 2 * fade) ** 2 * np.sin(2 * np.pi * F * t)
    return np.concatenate([turn, np.zeros(int(gap_s * rate))])


def looped():
    """Eight minutes of a file in a loop, with a gap at each turn; then the same with a lost half second."""
    gap_s, ppm = 0.08, 300.0
    turn = loop_of(gap_s, ppm, RATE)
    samples = np.concatenate([np.zeros(RATE), *[turn] * 8, np.zeros(RATE // 2)])
    with program.Workshop(program.job_text([test_of(minutes=8.0)]), program.bench_text(**SLOW)) as shop:
        clean = shop.run({"held": (with_noise(samples), RATE, "pcm24")})
        report.check(clean.status == 0, "loop: accepted", clean.err.strip()[:300])
        conditions = clean.findings("held")["conditions"]
        report.absolute("loop: seams", conditions.get("loop_seams"), 7, 0)
        report.absolute("loop: gap, ms", conditions.get("loop_gap_ms"), 1e3 * gap_s, 75)  # quarters of a second at both ends of 7 turns
        report.absolute("loop: clock_ppm", conditions["clock_ppm"], ppm, 2.0)
        report.absolute("loop: run_minutes", clean.value("held", "run_minutes"), 8.0, 1e-9)
        report.check("stretches-left-out" not in clean.warnings("held"), "loop: no seam counts as a fault", clean.warnings("held")[:200])
        at = int((1 + 200.5) * RATE)
        samples[at:at + RATE // 2] = 0.0
        faulty = shop.run({"held": (with_noise(samples), RATE, "pcm24")})
        report.absolute("loop with a gap that is none of its own: seams", faulty.findings("held")["conditions"].get("loop_seams"), 7, 0)
        report.absolute("its run_minutes", faulty.value("held", "run_minutes"), 8.0, 1e-9)


def octave_levels(samples, rate):
    """Power of octaves around 31.5 Hz to 8 kHz of a periodic signal, and of the noise's law by SciPy."""
    spectrum = np.abs(np.fft.rfft(samples)) ** 2
    f = np.fft.rfftfreq(len(samples), 1 / rate)
    _, high = signal.freqs(*signal.butter(2, 45.0, "highpass", analog=True), worN=np.maximum(f, 1e-3))
    _, low = signal.freqs(*signal.butter(1, 4000.0, "lowpass", analog=True), worN=np.maximum(f, 1e-3))
    law = np.where((f >= 10) & (f <= 20000), np.abs(high * low) ** 2 / np.maximum(f, 1e-3), 0.0)
    centres = 1000.0 * 2.0 ** np.arange(-5, 4)
    bands = [(f >= c / np.sqrt(2)) & (f < c * np.sqrt(2)) for c in centres]
    got = 10 * np.log10([spectrum[b].sum() for b in bands])
    want = 10 * np.log10([law[b].sum() for b in bands])
    return got - got.mean(), want - want.mean()


def noise():
    with program.Workshop(program.job_text([test_of(minutes=4.0, crest_factor_db=12.0)]), program.bench_text(**SLOW)) as shop:
        tone, rate = shop.tone("held")
        period = 2**19
        one = tone[rate // 2 + rate:][:period]
        again = tone[rate // 2 + rate + period:][:period]
        report.check(np.array_equal(one, again), "noise: it repeats itself every 2^19 frames")
        crest = 20 * np.log10(np.abs(one).max() / one.std())
        report.absolute("noise: crest factor of the file", crest, 12.0, 0.02)  # 24 bits, at -20 dBFS
        got, want = octave_levels(one, rate)
        # Clipped to 12 dB a few peaks go, and the lowest octave has but 240 lines, whose phases make it no better.
        report.absolute("noise: furthest octave from the law, dB", float(np.abs(got - want).max()), 0.0, 0.3)
        ppm, tau = 200.0, 1200.0
        turn = signal.resample(one, int(round(period * (1 + ppm * 1e-6))))
        samples = np.tile(turn, int(np.ceil(4.02 * 60 * rate / len(turn))))[: int(4.0 * 60 * rate * (1 + ppm * 1e-6))]
        volts = 2.0 * turn.std() * program.PROBE_V
        even = shop.run({"held": (with_noise(np.concatenate([np.zeros(rate), 2.0 * samples, np.zeros(rate // 2)])), rate, "pcm24")})
        report.check(even.status == 0, "noise: accepted", even.err.strip()[:300])
        report.absolute("noise: clock_ppm", even.findings("held")["conditions"]["clock_ppm"], ppm, 2.0)
        report.relative("noise: mean_power_w", even.value("held", "mean_power_w"), volts**2 / 4.0, 0.05)
        report.absolute("noise: crest_factor_db", even.value("held", "crest_factor_db"),
                        20 * np.log10(np.abs(turn).max() / turn.std()), 0.05)
        report.absolute("noise: run_minutes", even.value("held", "run_minutes"), 4.0, 1e-9)
        report.absolute("noise: output_fall_db", even.value("held", "output_fall_db"), 0.0, 0.01)
        falling = 2.0 * samples * np.exp(-np.arange(len(samples)) / rate / tau)
        fallen = shop.run({"held": (with_noise(np.concatenate([np.zeros(rate), falling, np.zeros(rate // 2)])), rate, "pcm24")})
        # Rows of three periods; the reference is the middle one of the first three.
        middle_s = 4.5 * period / rate
        report.absolute("noise: run_minutes of a fall", fallen.value("held", "run_minutes"),
                        (middle_s + tau * np.log(10) / 20) / 60, 2.0 / 60)
        tone_sine = recording(2.0, lambda t: 0 * t + 1)
        other = shop.run({"held": (with_noise(np.random.default_rng(5).standard_normal(len(tone_sine)) * 0.1), rate, "pcm24")})
        report.check(other.status == 3 and "no noise of the test" in other.err, "another noise is refused", other.err.strip()[:200])


def supply():
    rows = [{"minute": m, "supply_v": 13.0 - 0.5 * m, "supply_a": 5.0 + 0.5 * m} for m in (0.0, 0.5, 1.0, 1.5, 2.0)]
    text = "[" + ", ".join("{ " + ", ".join(f"{k} = {v}" for k, v in row.items()) + " }" for row in rows) + "]"

    def job(readings, **fields):
        return program.job_text([test_of(**fields)]) + f"readings = {readings}\n"

    tau = 1200.0
    sound = recording(2.05, lambda t: np.exp(-t / tau))
    with program.Workshop(job(text, end_supply_v=12.25, supply_uncertainty_v=0.02, supply_current_uncertainty_percent=1.0)) as shop:
        ended = shop.run({"held": (sound, RATE, "pcm24")})
        report.check(ended.status == 0, "supply: accepted", ended.err.strip()[:300])
        # (13 - t / 2)(5 + t / 2) from 0 to 1.5 minutes; the trapezoidal rule errs by 0.016 W min.
        energy = (65 * 1.5 + 2 * 1.5**2 - 1.5**3 / 12) / 60
        found = ended.findings("held")["quantities"]
        report.relative("supply_energy_wh", found["supply_energy_wh"]["value"], energy, 0.03)
        report.relative("supply_charge_ah", found["supply_charge_ah"]["value"], (5 * 1.5 + 1.5**2 / 4) / 60, 0.001)
        report.absolute("battery_run_minutes", found["battery_run_minutes"]["value"], 1.5, 1e-9)
        # 0.02 V at half a volt a minute, k = 2, of the one reading that lies on the limit.
        report.relative("its uncertainty", found["battery_run_minutes"]["expanded_uncertainty"], 2 * 0.02 / 0.5, 1.0)
        report.absolute("supply: run_minutes of the load", ended.value("held", "run_minutes"), 1.5, 1e-9)
        # The fall is that until the supply's end, and not until the recording's; its doubt holds the end's.
        fall, log = ended.findings("held", "load-a")["quantities"]["output_fall_db"], ended.findings("held", "load-a")["curves"]["log"]["minutes"]
        per_minute = 20 / np.log(10) * 60 / tau
        report.absolute("supply: output_fall_db", fall["value"], per_minute * (1.5 - sorted(log[:3])[1]), 0.001)
        report.relative("supply: its uncertainty", fall["expanded_uncertainty"], per_minute * found["battery_run_minutes"]["expanded_uncertainty"], 1.0)
        report.relative("efficiency_percent", found["efficiency_percent"]["value"],
                        100 * ended.value("held", "load_energy_wh") / energy, 0.05)
    with program.Workshop(job(text, end_supply_v=11.0)) as shop:
        stood = shop.run({"held": (sound, RATE, "pcm24")})
        report.check("supply-not-down" in stood.warnings("held"), "a supply that stays up: no run time, and why", stood.warnings("held")[:200])
    for wrong, words in (("[{ minute = 1, supply_v = 12 }, { minute = 1, supply_v = 11 }]", "not above"),
                         ("[{ minute = 1, volts = 12 }]", "volts"), ("[1, 2]", "row 1"), ("[{ minute = 1 }]", "supply_v")):
        with program.Workshop(job(wrong)) as shop:
            refused = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "tones")
            report.check(refused.status == 2 and words in refused.err, f"readings = {wrong}: refused", refused.err.strip()[:200])
    with program.Workshop(program.job_text([test_of(crest_factor_db=4.5)])) as shop:
        refused = program.assay("tones", shop.job, "--bench", shop.bench, "--into", shop.folder / "tones")
        report.check(refused.status == 2 and "crest_factor_db" in refused.err, "4.5 dB of crest factor: refused", refused.err.strip()[:200])


def line_unit():
    """At the output of a line unit there are volts and no watts."""
    test = test_of(minutes=1.0, inputs=["probe-a"])
    del test["loads"]
    with program.Workshop(program.job_text([test], unit={"kind": "line"})) as shop:
        shop.make_tones()
        sheet = (shop.folder / "tones" / "PLAY.txt").read_text()
        report.check("HELD FOR 1 minutes" in sheet and "200 degrees" not in sheet, "line unit: its sheet")
        outcome = shop.run({"held": (recording(1.05, lambda t: 0 * t + 1), RATE, "pcm24")})
        report.check(outcome.status == 0, "line unit: accepted", outcome.err.strip()[:200])
        found = outcome.findings("held")["inputs"]["probe-a"]
        report.absolute("line unit: run_minutes", found["quantities"]["run_minutes"]["value"], 1.0, 1e-9)
        report.check("power_w" not in found["curves"]["log"] and "mean_power_w" not in found["quantities"], "line unit: no watts")


def inverted():
    """An input with its leads swapped, and a recorder whose silence is exact zeros: the tone begins where it sounds."""
    bench = program.bench_text(inputs=[program.probe("probe-a", 1, inverted=True)], sound={"sample_rate_hz": RATE})
    with program.Workshop(program.job_text([test_of(minutes=1.0)]), bench) as shop:
        t = np.arange(int(40 * RATE)) / RATE
        samples = np.concatenate([np.zeros(int(7.3 * RATE)), 0.25 * np.sin(2 * np.pi * F * t), np.zeros(30 * RATE)])
        outcome = shop.run({"held": (samples, RATE, "pcm24")})
        report.check(outcome.status == 0, "inverted input: accepted", outcome.err.strip()[:200])
        report.absolute("inverted input: start_s", outcome.findings("held")["conditions"]["start_s"], 7.3, 0.3)
        report.absolute("inverted input: run_minutes", outcome.value("held", "run_minutes"), 40 / 60, 0.5 / 60)


def eight_hours():
    rate, gap_s, ppm, hours, fall_db = 44100, 0.04, 150.0, 8.0, 0.6
    turn = loop_of(gap_s, ppm, rate)
    turns = int(np.ceil(hours * 3600 / 60.0))
    with program.Workshop(program.job_text([test_of(minutes=60.0 * hours)]),
                          program.bench_text(**{**SLOW, "sound": {"sample_rate_hz": rate}})) as shop:
        folder = shop.folder / "recordings"
        folder.mkdir()
        dither = 1e-5 * np.random.default_rng(3).standard_normal(len(turn))
        seconds = np.arange(len(turn)) / rate
        with wave.open(str(folder / "held.wav"), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(3)
            file.setframerate(rate)
            file.writeframes(bytes(3 * rate))
            for k in range(turns):
                gain = 10 ** (-fall_db / 20 * (k * len(turn) / rate + seconds) / (hours * 3600))
                whole = np.round((gain * turn + dither) * 2**23).astype("<i4")
                file.writeframesraw(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
        outcome, memory_mb = program.assay_and_memory("run", shop.job, "--bench", shop.bench, "--recordings", folder, "--into",
                                                      shop.folder / "s", "--yes", "--pages", "none", timeout=7200)
        outcome.folder = shop.folder / "s"
        report.check(outcome.status == 0, "eight hours: accepted", outcome.err.strip()[:300])
        report.check(memory_mb < 200, "eight hours: memory", f"{memory_mb:.0f} MB of 200")
        report.absolute("eight hours: run_minutes", outcome.value("held", "run_minutes"), 60 * hours, 1e-9)
        log = outcome.findings("held", "load-a")["curves"]["log"]
        minutes, volts = np.array(log["minutes"]), np.array(log["voltage_v"])
        truth = 0.5 * program.PROBE_V / np.sqrt(2) * 10 ** (-fall_db / 20 * minutes / (60 * hours))
        off_db = 20 * np.log10(volts / truth)
        report.absolute("eight hours: furthest row from the truth, dB", float(np.abs(off_db).max()), 0.0, 0.001)
        report.absolute("eight hours: drift from the first rows to the last, dB", float(off_db[-9:].mean() - off_db[:9].mean()), 0.0, 0.0005)
        conditions = outcome.findings("held")["conditions"]
        report.absolute("eight hours: seams", conditions.get("loop_seams"), turns - 1, 0)
        report.absolute("eight hours: gap, ms", conditions.get("loop_gap_ms"), 1e3 * gap_s, 2)
        report.absolute("eight hours: clock_ppm", conditions["clock_ppm"], ppm, 1.0)
        report.check("stretches-left-out" not in outcome.warnings("held"), "eight hours: no seam counts as a fault", outcome.warnings("held")[:200])
        print(f"  {len(minutes)} rows, {memory_mb:.0f} MB", flush=True)


for part in (run, looped, noise, supply, line_unit, inverted, *([eight_hours] if "--long" in sys.argv else [])):
    report.guarded(part.__name__, part)
report.finish()
