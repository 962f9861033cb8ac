"""How far the program's numbers can be trusted: all tables by one command.

    trust_tables.py [--recordings N] [--curves N] [--whole N] [--effect-recordings N] [--bound-curves N] [--seed S]

1. Coverage: how often the stated interval holds the truth, and how wide it is re the ideal one; every quantity of the
   amplifier's measures (trust_amplifier.py, trust_other_measures.py), of a jig and of readings by meter (trust_jig.py) and of a
   driver (driver_coverage.py). What lies outside the design's limits fails.
2. The same under effects that the program's model does not have: reported, never judged.
3. Variance against the Cramér-Rao bound (cramer_rao.py).
"""

import argparse
import sys
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import cramer_rao  # noqa: E402
import driver_coverage  # noqa: E402
import trust_amplifier  # noqa: E402
import trust_jig  # noqa: E402
import trust_other_measures  # noqa: E402
import trust_quantities  # noqa: E402
from outside.report import Report  # noqa: E402


CASES = trust_amplifier.CASES + trust_other_measures.CASES
UNTOUCHED = 0.7  # of an interval: the median error of a normal one is a third of its interval of k = 2


def heading_of_effects(recordings, report):
    print(f"\nUnder effects that the model does not have ({recordings} recordings each), reported only. What is moved by more than "
          f"{UNTOUCHED:g} of its interval:\n  {'quantity':<44}{'trials':>7}{'absent':>7}{'held %':>8}{'|error| / U':>13}{'error':>12}{'of':>11}   (medians)")


def under_effect(number, recordings, seed, report, cases=CASES):
    """Only what an effect moves is a line of its own: the rest is told in one."""
    effect = trust_amplifier.EFFECTS[number]
    for case in cases:
        if effect.only and case.name not in effect.only:
            continue
        lines = list(trust_amplifier.tally_of(case, recordings, np.random.default_rng([seed, 1000 + number]), effect, report).lines())
        moved = [line for line in lines if not line[4] <= UNTOUCHED]
        print(f"  {effect.name}: {case.name}: {len(lines) - len(moved)} of {len(lines)} quantities stay")
        for key, trials, absent, held, ratio, error, truth in moved:
            print(f"    {key:<42}{trials:>7}{absent:>7}{held:>8.1f}{ratio:>13.1f}{error:>+12.3g}{truth:>11.4g}", flush=True)


def main(arguments=None):
    parser = argparse.ArgumentParser(description="Coverage, effects outside the model, and the Cramér-Rao bound.")
    parser.add_argument("--recordings", type=int, default=40, help="of each of the amplifier's measures")
    parser.add_argument("--effect-recordings", type=int, default=2, help="of each measure under each effect")
    parser.add_argument("--curves", type=int, default=1000, help="of each driver")
    parser.add_argument("--whole", type=int, default=100, help="jobs of recordings of each driver")
    parser.add_argument("--bound-curves", type=int, default=600, help="of each driver, against the bound")
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args(arguments)
    report = Report(f"Trust: seed {options.seed}")
    parts = [("quantities", trust_quantities.check)]
    parts += trust_amplifier.parts_of_coverage(options.recordings, options.seed, CASES)
    parts += trust_jig.parts(options.recordings, options.seed)
    if options.effect_recordings:
        parts += [("heading of the effects", partial(heading_of_effects, options.effect_recordings))]
        parts += [(f"under effects: {effect.name}", partial(under_effect, number, options.effect_recordings, options.seed)) for number, effect in enumerate(trust_amplifier.EFFECTS)]
    parts += driver_coverage.parts(options.curves, options.whole, options.seed)
    parts += cramer_rao.parts(5000, 1000, options.bound_curves, options.seed)
    report.side_by_side(parts)
    report.finish()


if __name__ == "__main__":
    main()
