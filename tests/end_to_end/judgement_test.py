"""Uncertainty and judgement, against the law of propagation worked out by hand here.

Sources: JCGM 100:2008 (GUM) 5.1 and 5.2 (independent and fully correlated inputs), 4.3.7 (limits as a rectangle: a /
sqrt 3); JCGM 106:2012 and ILAC-G8:09/2019 (the limit moved by the expanded uncertainty, k = 2). Stated uncertainties
dominate by far; what noise, fit and interpolation add may widen an interval by no more than the design's 1.15.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import bench, closed_forms, laws, program  # noqa: E402
from outside.report import Report  # noqa: E402

RATE = 96000
OHM = 4.0
IDEAL_V = 30.0
RAIL_V = 20.0
WIDEST = 1.15
report = Report("Uncertainty and judgement")


def power_at(percent, rail_v):
    over = closed_forms.last_upward_crossing(
        lambda db: 100 * closed_forms.thd(closed_forms.hard_clip(min(10 ** (-db / 20), 1.0), 20)), percent, np.arange(-0.5, 8, 0.1))
    c = 10 ** (-over / 20)
    return (closed_forms.rms(closed_forms.hard_clip(c, 20)) * rail_v / c) ** 2 / OHM


WATTS = power_at(1, RAIL_V)


def clipping(name, loads, **more):
    return {"id": name, "measure": "clipping-power", "loads": loads, "from_dbfs": -10.0, **more}


def play(shop, test, rail_v=RAIL_V, gain=1.0, volts_per_unit=program.PROBE_V, seed=1):
    tone, rate = shop.tone(test)
    output = bench.amplify(tone, rate, laws.hard_clip(rail_v), IDEAL_V) * gain
    return bench.Recorder(rate_hz=RATE, seed=seed).record(output, volts_per_unit)


def wide_as(what, quantity, relative_standard):
    """Expanded uncertainty between the one by hand and 1.15 times it."""
    by_hand = 2 * relative_standard * quantity["value"]
    ratio = quantity["expanded_uncertainty"] / by_hand
    report.check(0.999 <= ratio <= WIDEST and quantity["coverage_factor"] == 2, what,
                 f"{quantity['value']:.5g} +- {quantity['expanded_uncertainty']:.4g} {quantity['unit']}, by hand {by_hand:.4g}, ratio {ratio:.4f}")


def quantity(outcome, test, name, load="load-a"):
    return outcome.findings(test, load)["quantities"][name]


def uncertainty_of_one_channel():
    cases = {  # how the scale and the resistance are stated -> relative standard uncertainties
        "standard ones": (dict(uncertainty_percent=0.5), dict(uncertainty_percent=0.5), 0.005, 0.005),
        "the load dominates": (dict(uncertainty_percent=0.3), dict(uncertainty_percent=3.0), 0.003, 0.03),
        "the scale dominates": (dict(uncertainty_percent=2.0), dict(uncertainty_percent=0.2), 0.02, 0.002),
        "tolerances": (dict(uncertainty_percent=None, tolerance_percent=2.0), dict(uncertainty_percent=None, tolerance_percent=1.0),
                       0.02 / np.sqrt(3), 0.01 / np.sqrt(3)),
        "by a meter's leaflet": (dict(uncertainty_percent=None, meter="bench-meter"), dict(uncertainty_percent=0.3),
                                 0.008 / np.sqrt(3), 0.003),
    }
    meter = {"name": "bench-meter", "accuracy_percent": 0.8, "digits": 0, "resolution_v": 0.01}
    with program.Workshop(program.job_text([clipping("p", ["load-a"])])) as shop:
        recording = play(shop, "p")
        for name, (of_scale, of_load, scale, ohm) in cases.items():
            shop.bench.write_text(program.bench_text(inputs=[program.probe("probe-a", 1, **of_scale)],
                                                     loads=[program.load("load-a", OHM, "probe-a", **of_load)], meters=[meter]))
            outcome = shop.run({"p": recording})

            def body():
                report.check(outcome.status == 0, f"{name}: exit status", f"{outcome.status} {outcome.err.strip()[:200]}")
                # P = V^2 / R, so u(P)/P = sqrt((2 u(V)/V)^2 + (u(R)/R)^2).
                wide_as(f"{name}: power", quantity(outcome, "p", "power_at_1_percent_w"), np.hypot(2 * scale, ohm))
                wide_as(f"{name}: volts, into which the resistance does not go", quantity(outcome, "p", "voltage_at_1_percent_v"), scale)
            report.guarded(name, body)
        shop.bench.write_text(program.bench_text(inputs=[program.probe("probe-a", 1, uncertainty_percent=None)]))
        outcome = shop.run({"p": recording})
        report.guarded("no uncertainty stated", lambda: report.check(
            "exact" in outcome.warnings("p") or "exact" in outcome.err.lower() or "exact" in str(outcome.session).lower(),
            "a scale without uncertainty is taken as exact, and a warning says so", outcome.warnings("p")[:200]))


def shared_sources():
    """Two channels: what one meter says wrong is wrong in both and adds up; what each has of its own does not."""
    meter = {"name": "bench-meter", "accuracy_percent": 1.5, "digits": 0, "resolution_v": 0.01}
    by_meter = dict(uncertainty_percent=None, meter="bench-meter")
    loads = [program.load("left", OHM, "probe-a", uncertainty_percent=0.4), program.load("right", OHM, "probe-b", uncertainty_percent=0.4)]
    bridge = [program.load("bridge", OHM, "probe-a", minus="probe-b", uncertainty_percent=0.1)]
    u_meter = 0.015 / np.sqrt(3)
    with program.Workshop(program.job_text([clipping("two", ["left", "right"])]), program.bench_text(
            inputs=[program.probe("probe-a", 1, **by_meter), program.probe("probe-b", 2, **by_meter)], loads=loads, meters=[meter])) as shop:
        rails = (20.0, 18.0)
        pair = np.stack([play(shop, "two", rail, seed=5 + i) for i, rail in enumerate(rails)], 1)
        powers = np.array([power_at(1, rail) for rail in rails])
        one_meter = shop.run({"two": pair})
        shop.bench.write_text(program.bench_text(inputs=[program.probe("probe-a", 1, uncertainty_percent=100 * u_meter),
                                                         program.probe("probe-b", 2, uncertainty_percent=100 * u_meter)], loads=loads))
        two_meters = shop.run({"two": pair})

        def totals():
            total = quantity(one_meter, "two", "total_power_at_1_percent_w", None)
            report.relative("total power", total["value"], powers.sum(), 0.2)
            apart = 0.004 * np.hypot(*powers)  # the resistances are measured each for itself
            wide_as("total power, both probes by one meter: its error adds", total, np.hypot(2 * u_meter * powers.sum(), apart) / powers.sum())
            wide_as("total power, probes apart: errors add as squares", quantity(two_meters, "two", "total_power_at_1_percent_w", None),
                    np.hypot(2 * u_meter * np.hypot(*powers), apart) / powers.sum())
        report.guarded("totals", totals)

    with program.Workshop(program.job_text([clipping("b", ["bridge"])]), program.bench_text(
            inputs=[program.probe("probe-a", 1, **by_meter), program.probe("probe-b", 2, **by_meter)], loads=bridge, meters=[meter])) as shop:
        pair = np.stack([play(shop, "b", gain=0.5), play(shop, "b", gain=-0.5, seed=2)], 1)
        one_meter = shop.run({"b": pair})
        shop.bench.write_text(program.bench_text(inputs=[program.probe("probe-a", 1, uncertainty_percent=100 * u_meter),
                                                         program.probe("probe-b", 2, uncertainty_percent=100 * u_meter)], loads=bridge))
        two_meters = shop.run({"b": pair})

        def between_probes():
            wide_as("bridged volts, both probes by one meter", quantity(one_meter, "b", "voltage_at_1_percent_v", "bridge"), u_meter)
            # V = Va - Vb, each half of it with its own error.
            wide_as("bridged volts, probes apart", quantity(two_meters, "b", "voltage_at_1_percent_v", "bridge"), u_meter / np.sqrt(2))
        report.guarded("between two probes", between_probes)


def claim(text, verdict, words=(), **fields):
    return {"text": text, "test": "p", "load": "load-a", "quantity": "power_at_1_percent_w", **fields}, verdict, words


def verdicts():
    # 52.385 W; by hand 2.24 % of it either side: 51.21 .. 53.56, at most (times 1.15) 51.04 .. 53.73
    claims = [
        claim("at least, well below", "met", at_least=45.0),
        claim("at least, just below the guard band", "met", at_least=51.0),
        claim("at least, inside the guard band from below", "undecided", at_least=51.6),
        claim("at least, inside the guard band from above", "undecided", at_least=53.1),
        claim("at least, above the guard band", "not met", at_least=53.8),
        claim("at most, above", "met", at_most=53.8),
        claim("at most, inside", "undecided", at_most=53.1),
        claim("at most, below", "not met", at_most=51.0),
        claim("nominal, wide", "met", nominal=52.0, within_percent=5.0),
        claim("nominal, narrower than the uncertainty", "undecided", nominal=52.4, within_percent=1.0),
        claim("nominal, far off", "not met", nominal=60.0, within_percent=5.0),
        # The basis: 5 % of supply, load and the number of channels driven
        claim("same supply", "met", at_least=45.0, at_supply_volts=14.4),
        claim("supply 4 % off", "met", at_least=45.0, at_supply_volts=13.85),
        claim("supply 6 % off", "undecided", ("supply",), at_least=45.0, at_supply_volts=15.4),
        claim("supply of another kind", "undecided", ("supply",), at_least=60.0, at_supply_volts=12.0),
        claim("same load", "met", at_least=45.0, at_load_ohm=4.0),
        claim("load 3 % off", "met", at_least=45.0, at_load_ohm=4.12),
        claim("another load", "undecided", ("ohm",), at_least=45.0, at_load_ohm=2.0),
        claim("one channel driven, as stated", "met", at_least=45.0, channels_driven=1),
        claim("two channels stated, one driven", "undecided", ("channel",), at_least=45.0, channels_driven=2),
        claim("supply stated, none read", "undecided", ("supply",), at_least=45.0, at_supply_volts=14.4, test="unread"),
        claim("a number that is not there", "undecided", (), at_least=45.0, test="short"),
    ]
    tests = [clipping("p", ["load-a"], supply_idle_v=14.4, supply_loaded_v=14.4), clipping("unread", ["load-a"]),
             clipping("short", ["load-a"], to_dbfs=-5.0)]
    with program.Workshop(program.job_text(tests, [fields for fields, _, _ in claims])) as shop:
        outcome = shop.run({test: play(shop, test) for test in ("p", "unread", "short")})
        report.check(outcome.status == 0, "claims not met are results: exit 0", f"{outcome.status} {outcome.err.strip()[:300]}")
        report.relative("power the claims are judged by", outcome.value("p", "power_at_1_percent_w"), WATTS, 0.2)
        judged = outcome.session["claims"]
        report.check(len(judged) == len(claims), "as many verdicts as claims", f"{len(judged)} of {len(claims)}")
        for (fields, verdict, words), got in zip(claims, judged):
            good = got["verdict"] == verdict and got["text"] == fields["text"] and all(word in got["reason"].lower() for word in words)
            report.check(good, fields["text"], f"{got['verdict']}, expected {verdict}; reason: {got['reason'][:160]}")
        # 0.2 % THD-free output ends 5 dB below: a clip at 20 V of 30 V lies at -3.5 dBFS.
        report.check(outcome.value("short", "power_at_1_percent_w") is None and "db" in outcome.warnings("short"),
                     "a limit that is not reached gives no number, and says how many dB are missing", outcome.warnings("short")[:300])


def no_evidence():
    """A flat top below full scale, and nothing known of the recorder: its ceiling is not excluded, no `not met` rests on it."""
    claims = [claim("modest", "met", at_least=40.0)[0], claim("too much", "undecided", at_least=70.0)[0]]
    unknown = program.bench_text(inputs=[program.probe("probe-a", 1, clean_up_to_dbfs=None)])
    with program.Workshop(program.job_text([clipping("p", ["load-a"])], claims), unknown) as shop:
        recording = play(shop, "p")
        outcome = shop.run({"p": recording})
        report.check(outcome.status == 0, "stiff rail without evidence: exit 0", f"{outcome.status} {outcome.err.strip()[:200]}")
        told = outcome.warnings("p")
        report.check("recorder" in told or "ceiling" in told, "the warning that a recorder's ceiling is not excluded", told[:300])
        got = [c["verdict"] for c in outcome.session["claims"]]
        report.check(got[1] != "not met", "no `not met` without evidence", str(got))
        shop.bench.write_text(program.bench_text())
        outcome = shop.run({"p": recording})
        got = [c["verdict"] for c in outcome.session["claims"]]
        report.check(got == ["met", "not met"], "with clean_up_to_dbfs as evidence it may", str(got))


def total_and_meter():
    """A claim on the whole, and a reading by hand."""
    loads = [program.load("left", OHM, "probe-a"), program.load("right", OHM, "probe-b")]
    claims = [
        {"text": "both", "test": "two", "quantity": "total_power_at_1_percent_w", "at_least": 98.0, "channels_driven": 2},
        {"text": "one alone", "test": "two", "load": "left", "quantity": "power_at_1_percent_w", "at_least": 45.0, "channels_driven": 1},
        {"text": "by hand", "test": "hand", "load": "left", "quantity": "power_w", "at_least": 40.0},
    ]
    tests = [clipping("two", ["left", "right"]),
             {"id": "hand", "measure": "meter-power", "loads": ["left"], "output_v": 14.2, "at": "clip lamp"}]
    with program.Workshop(program.job_text(tests, claims), program.bench_text(
            inputs=[program.probe("probe-a", 1), program.probe("probe-b", 2)], loads=loads)) as shop:
        outcome = shop.run({"two": np.stack([play(shop, "two"), play(shop, "two", seed=9)], 1)})
        report.check(outcome.status == 0, "two loads and a reading by hand: exit 0", f"{outcome.status} {outcome.err.strip()[:200]}")
        report.absolute("meter-power is V^2 / R", outcome.value("hand", "power_w", "left"), 14.2**2 / OHM, 1e-9)
        by_hand = quantity(outcome, "hand", "power_w", "left")
        report.check(by_hand["expanded_uncertainty"] >= 2 * 0.005 * by_hand["value"] * 0.999, "its uncertainty holds that of the load",
                     f"{by_hand['expanded_uncertainty']:.4g} W of {by_hand['value']:.4g} W")
        got = [(c["verdict"], c["reason"]) for c in outcome.session["claims"]]
        report.check(got[0][0] == "met", "the total with both driven", str(got[0]))
        report.check(got[1][0] == "undecided" and "channel" in got[1][1].lower(), "one channel stated, two driven", str(got[1]))
        report.check(got[2][0] == "met", "by hand", str(got[2]))


for part in (uncertainty_of_one_channel, shared_sources, verdicts, no_evidence, total_and_meter):
    report.guarded(part.__name__, part)
report.finish()
