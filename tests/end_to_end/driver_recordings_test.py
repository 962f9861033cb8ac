"""Recordings of a driver in its jig, good and hostile: what must be accepted is measured right, what must not be
trusted is refused with exit 3 and one line that names the cause, the file and, where there is one, the second.

Truth comes from the outside jig (tests/outside/driver_bench.py). Limits for good ones: the targets 0.1 % of |Z| and
0.1 degree, at 70 dB of signal over noise.
"""

import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench as sounds  # noqa: E402
from outside import driver_bench, loudspeakers, program  # noqa: E402
from outside.driver_bench import Card, Jig  # noqa: E402
from outside.report import Report  # noqa: E402

DRIVER = next(d for d in loudspeakers.PARADE if d.name == "Dunlin 6")
RATE = 48000
JIG = Jig("series-high", 22.0, 0.05, 50e3, 0.3)
report = Report("Recordings of a driver")


def accepted(what, outcome, ppm=None, start_s=None, percent=0.1, degrees=0.1):
    def body():
        if not report.check(outcome.status == 0, f"{what}: accepted", f"exit {outcome.status} {outcome.err.strip()[:300]}"):
            return
        node = outcome.session["tests"]["free"]
        curve = node["curves"]["impedance"]
        f = np.array(curve["frequency_hz"])
        z = np.array(curve["magnitude_ohm"]) * np.exp(1j * np.radians(curve["phase_deg"]))
        truth = DRIVER.z(f)
        size, turn = 100 * (np.abs(z) / np.abs(truth) - 1), np.degrees(np.angle(z / truth))
        # The limits are those of one standard deviation and more: hundreds of points hold some beyond.
        report.check(np.sqrt(np.mean(size**2)) < percent and np.sqrt(np.mean(turn**2)) < degrees and f[0] < 11 and f[-1] > 19000,
                     f"{what}: the curve", f"{len(f)} points from {f[0]:.2f} to {f[-1]:.0f} Hz, rms {np.sqrt(np.mean(size**2)):.4f} % and "
                     f"{np.sqrt(np.mean(turn**2)):.4f} deg, worst {np.max(np.abs(size)):.3f} % and {np.max(np.abs(turn)):.3f} deg")
        told = node["conditions"]
        if ppm is not None:
            report.absolute(f"{what}: clock_ppm", told.get("clock_ppm"), ppm, 0.3)
        if start_s is not None:
            report.absolute(f"{what}: start_s", told.get("start_s"), start_s, 0.002)
    report.guarded(what, body)


def refused(what, outcome, words, at_s=None):
    line = outcome.err.strip()
    problems = []
    if outcome.status != 3:
        problems.append(f"exit {outcome.status}")
    if len(outcome.error_lines) != 1:
        problems.append(f"{len(outcome.error_lines)} lines")
    if not any(word in line.lower() for word in words):
        problems.append(f"says none of {words}")
    if "free" not in line:
        problems.append("names neither test nor file")
    if at_s is not None:
        seconds = [float(s) for s in re.findall(r"(\d+(?:\.\d+)?)\s*(?:s\b|seconds?\b)", line)]
        if not any(abs(s - at_s) <= 0.5 for s in seconds):
            problems.append(f"names no second near {at_s:.2f}: {seconds}")
    if outcome.status == 3 and outcome.has_session() and outcome.session["tests"].get("free", {}).get("quantities"):
        problems.append("the session holds numbers all the same")
    report.check(not problems, f"{what}: refused", "; ".join(problems) + (": " if problems else "") + line[:300])


def warned(what, outcome, words):
    text = outcome.warnings("free") if outcome.has_session() else ""
    report.check(outcome.status == 0 and any(word in text for word in words), f"{what}: warned of", f"exit {outcome.status}, wanted one of {words}: {(text or outcome.err.strip())[:400]}")


def main():
    tests = [driver_bench.impedance("free", drive_dbfs=-10.0)]
    with program.Workshop(driver_bench.job_text(tests), driver_bench.bench_text(JIG, {"sample_rate_hz": RATE}),
                          environment=program.WITHOUT_PAGES) as shop:
        played = driver_bench.Tones().of(shop, "free")
        tone_s = len(played.tone) / played.rate_hz
        print(f"  {tone_s:.2f} s of tone at {played.rate_hz} Hz")

        def record(z=DRIVER.z, jig=JIG, **card):
            return driver_bench.record(played, z, jig, Card(**{"rate_hz": RATE, "noise_db": -80.0, "start_s": 0.6, **card}))

        def run(samples, rate=RATE, kind="pcm24"):
            return shop.run({"free": samples}, rate, kind)

        clean, _ = record()
        accepted("one clock", run(clean), 0.0, 0.6)
        sound, ppm = record(ppm=490.0, start_s=17.25, noise_db=-70.0, kind="pcm16")
        accepted("490 ppm, late, 16 bits", run(sound, kind="pcm16"), ppm, 17.25)
        sound, ppm = record(rate_hz=96000, ppm=-490.0, hum_db=-40.0, noise_db=-70.0)
        accepted("96 kHz, -490 ppm, hum 40 dB down", run(sound, 96000), ppm, 0.6)
        sound, ppm = record(rate_hz=44100, ppm=61.0, coupling_hz=3.0, dc=(0.05, -0.03))
        accepted("44.1 kHz, coupled, offset", run(sound, 44100, "flac24"), ppm, 0.6)
        accepted("inverted at both inputs", run(-clean))
        knock = record(start_s=58.0)[0]
        knock[30 * RATE:30 * RATE + 300] += 0.2 * np.hanning(300)[:, None]
        accepted("58 s early, with a knock before", run(knock), 0.0, 58.0)

        inside = 0.6 + 0.7 * tone_s  # in the long, last step
        at = int(inside * RATE)
        hum_alone = sounds.nothing(len(clean), -90.0)[:, None] * np.ones(2)
        refused("nothing but noise", run(hum_alone), ["signal", "tone", "quiet", "found"])
        refused("exact zeros", run(np.zeros_like(clean)), ["zero", "signal", "silen"])
        refused("another signal", run(sounds.music_like(len(clean), RATE)[:, None] * [1.0, 0.5]), ["another", "tone", "found", "signal"])
        refused("cut short", run(clean[:at]), ["short", "end", "cut"])
        refused("begun late", run(clean[int(3.5 * RATE):]), ["start", "late", "begin", "missing", "cut", "found", "tone"])
        refused("backwards", run(clean[::-1]), ["backward", "revers"])
        refused("a dropout of 20 ms", run(sounds.lost(clean, at, RATE // 50)), ["missing", "lost", "dropout", "drop", "jump", "lack"], inside)
        refused("a block of 512 samples lost", run(sounds.lost(clean, at, 512)), ["missing", "lost", "dropout", "drop", "jump", "lack"], inside)
        refused("a block doubled", run(sounds.repeated(clean, at, 1024)), ["double", "repeat", "twice", "too many", "extra", "jump"], inside)
        refused("a buffer of zeros", run(sounds.silenced(clean, at, 2048)), ["zero", "silen", "dropout"], inside)
        hot = clean * (1.6 / np.max(np.abs(clean)))
        refused("overload", run(np.clip(hot, -1, 1)), ["overload", "full scale", "clip"])
        flat = np.clip(clean, -0.7 * np.max(np.abs(clean[:, 0])), 0.7 * np.max(np.abs(clean[:, 0])))
        refused("a ceiling below full scale", run(flat), ["overload", "ceiling", "flat", "clip", "distort"])
        refused("the inputs exchanged", run(record(jig=Jig(**{**JIG.__dict__, "swapped": True}))[0]), ["swap", "exchang", "crossed", "wrong way"])
        refused("no driver", run(record(None)[0]), ["open", "no driver", "not connected"])
        refused("the driver shorted", run(record(lambda f: np.full(len(f), 0.003 + 0j))[0]), ["short"])
        refused("one input dead", run(clean * [1, 0] + 1e-6 * np.random.default_rng(8).standard_normal(clean.shape) * [0, 1]), ["signal", "short", "dead", "jig-2", "driver"])
        refused("one input's polarity turned", run(clean * [1, -1]), ["polarity", "invert", "turned", "swap"])
        refused("one channel only", run(clean[:, 0]), ["channel"])

        # What can still be used, with a word.
        warned("a whisper in noise", run(record(noise_db=-5.0)[0]), ["noise", "noisy", "level"])
        # The driver is linear: what differs between its levels is noise alone, whatever hump is the highest in it.
        for noise_db in (-11.0, -12.0, -13.0, -15.0, -22.0):
            for seed in (1, 2):
                outcome = run(record(noise_db=noise_db, seed=seed)[0])
                told = outcome.warnings("free") if outcome.has_session() else "no session"
                unread = "level-not-checked" in told
                report.check("level-too-high" not in told and unread == (noise_db > -20), f"noise {-noise_db:g} dB down, seed {seed}: levels "
                             f"{'not compared' if noise_db > -20 else 'compared, alike'}", told[:300])
        leaky = loudspeakers.Leak(2.0e4, 120.0)
        warned("two peaks", run(record(lambda f: DRIVER.z(f, box_m3=0.015, leak=leaky))[0]), ["peak", "leak"])
        # A loose frame: a small resonance of its own beside the driver's, 6 % of the impedance high.
        def loose(f):
            return DRIVER.z(f) + 0.4 / (1 + 1j * 25 * (f / 147.0 - 147.0 / f))
        warned("a wrinkle of a loose mount", run(record(loose)[0]), ["wrinkle", "mount", "loose", "bump"])

    report.finish()


if __name__ == "__main__":
    main()
