"""Which quantities are counted by the tables of trust, and why the others are not. A quantity that the program lists and that
is in neither is a failure: `check` looks for its name among the names that the cases write down."""

import ast
import re
from pathlib import Path

from outside import program

CASES = ("trust_amplifier.py", "trust_other_measures.py", "trust_jig.py", "driver_coverage.py")
# What is not counted, and what stands in its place.
REASONS = {
    "noise_itu_468_quasi_peak_v": "of noise its truth is no closed form; held to the tones and bursts of BS.468-4 by unit and end_to_end tests",
    "whine_v": "told only where a line moves; held to synthetic lines by line_track_test",
    "whine_lowest_hz": "the same",
    "whine_highest_hz": "the same",
    "crest_factor_db": "its doubt is the spread of the log's own rows; held to the noise that was played by end_to_end/endurance_test",
    "supply_energy_wh": "a sum of meter readings, each with its stated doubt; held to closed forms by supply_log_test",
    "supply_charge_ah": "the same",
    "battery_run_minutes": "the same",
    "creep_lambda": "the drivers of the count have no creep; recovered by driver_recovery_test",
}


def names_written_down():
    """Regular expressions of all texts in the cases; what an f-string fills in is any word."""
    patterns = set()
    for name in CASES:
        for node in ast.walk(ast.parse((Path(__file__).parent / name).read_text())):
            if isinstance(node, ast.JoinedStr):
                patterns.add("".join(re.escape(part.value) if isinstance(part, ast.Constant) else r"\w+" for part in node.values))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                patterns.add(re.escape(node.value))
    # One that fills in nearly everything would excuse everything.
    return {pattern for pattern in patterns if r"\w+" not in pattern or len(pattern.replace(r"\w+", "")) >= 5}


def quantities_listed():
    """(measure, quantity) as `assay run --help` tells them."""
    listed, measure, gives = [], "", False
    for line in program.assay("run", "--help").out.splitlines():
        if head := re.match(r"  ([a-z-]+): ", line):
            measure, gives = head.group(1), False
        elif line.strip() == "gives:":
            gives = True
        elif gives and (quantity := re.match(r"      ([a-z0-9_]+) ", line)):
            listed.append((measure, quantity.group(1)))
        elif not line.startswith("      "):
            gives = False
    return listed


def check(report):
    listed, patterns = quantities_listed(), names_written_down()
    missing = [f"{quantity} of {measure}" for measure, quantity in listed
               if quantity not in REASONS and not any(re.fullmatch(pattern, quantity) for pattern in patterns)]
    report.check(len(listed) > 80 and not missing, f"each of {len(listed)} quantities is counted or has its reason", ", ".join(missing))
    stale = set(REASONS) - {quantity for _, quantity in listed}
    report.check(not stale, "and no reason is left over", ", ".join(stale))
