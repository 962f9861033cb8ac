"""Power at two supply voltages, live at a terminal: somebody sets the supply, reads the meters, and types.

The virtual bench's rail is set with the supply, so that power goes with the square of the volts: the hard-clipped sine at
its 1 % point (tests/outside/closed_forms.py). Sag and efficiency by Ohm's law from what was typed. Tolerances: 0.3 % of
power, and what follows from it for the exponent of two voltages that are 1.2 to 1; ohms are arithmetic of four readings.
"""

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside import closed_forms, program  # noqa: E402
from outside.live_bench import GAIN, OHM, RAIL, RATE, Folder, LiveBench, at_terminal, power_test  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("power against the supply, live")
LOWER = RAIL / 1.2  # 12 V in place of 14.4 V
# What the meters read at each voltage: idle volts and amperes, loaded volts and amperes.
READ = {"14.4": ("14.38", "0.80", "13.78", "5.30"), "12": ("12.0", "0.70", "11.55", "4.30")}


def limit_w(rail):
    """Watts of a sine that is clipped at this rail (in sample values) until its THD is 1 %."""
    low, high = 0.5, 1.0  # share of the peak at which it is cut
    for _ in range(60):
        cut = 0.5 * (low + high)
        low, high = (cut, high) if closed_forms.thd(closed_forms.hard_clip(cut, int(20000 / 997))) > 0.01 else (low, cut)
    return closed_forms.hard_clip_mean_square(cut) * (rail / cut * program.PROBE_V) ** 2 / OHM


def supplies():
    test = power_test(supply_voltages_v=[14.4, 12.0], from_dbfs=-20, ask=["supply_idle_current_a", "supply_loaded_v", "supply_current_a"])
    with LiveBench(rate_hz=RATE, period=1024, arguments=["--gain", str(GAIN), "--rail", str(RAIL)]) as bench, Folder("supply", [test]) as folder:
        typed = [("may the tones be played", "yes", None)]
        for volts, rail in (("14.4", RAIL), ("12", LOWER)):
            idle_v, idle_a, loaded_v, loaded_a = READ[volts]
            typed += [(rf"set the supply to {volts} V", idle_v, lambda rail=rail: bench.tell(f"rail {rail}")), ("current", idle_a, None),
                      ("loaded|full output|sounds", loaded_v, None), ("current", loaded_a, None)]
        seen = at_terminal(bench, folder.command("--pages", "none"), typed, timeout_s=300)
        report.check(seen.status == 0, "every question is asked in its turn", "" if seen.status == 0 else seen.text[-900:])
        table = folder.session().get("power_table", {})
    rows = {row["test"]: row for row in table.get("rows", ())}
    total = {}
    for volts, rail, name in (("14.4", RAIL, "power-14_4v"), ("12", LOWER, "power-12v")):
        idle_v, idle_a, loaded_v, loaded_a = map(float, READ[volts])
        found = {quantity: entry["value"] for quantity, entry in rows[name]["quantities"].items()}
        total[name] = rows[name]["powers"][0]["total"]["value"]
        report.relative(f"watts at {volts} V", total[name], limit_w(rail), 0.3)
        report.absolute("supply and cable, ohm", found["supply_resistance_ohm"], (idle_v - loaded_v) / (loaded_a - idle_a), 1e-12)
        report.relative("efficiency", found["efficiency_percent"], 100 * limit_w(rail) / (loaded_v * loaded_a), 0.3)
        report.absolute("idle draw, W", found["idle_draw_w"], idle_v * idle_a, 1e-12)
    steps = [entry["quantities"]["exponent"]["value"] for entry in table["lines"] if "exponent" in entry.get("quantities", {})]
    loaded = [float(READ[volts][2]) for volts in READ]
    report.check(len(steps) == 1, "one line of power against volts", str(steps))
    # Two powers within 0.3 % each, over the logarithm of the volts' ratio.
    report.absolute("its exponent", steps[0], 2 * math.log(1.2) / math.log(loaded[0] / loaded[1]), 0.006 / math.log(loaded[0] / loaded[1]))
    told = " ".join(seen.text.split())
    report.check("supply and cable 0.1333 Ω" in told and "efficiency 39.38" in told, "told at the terminal", told[-300:])


report.guarded("supplies", supplies)
report.finish()
