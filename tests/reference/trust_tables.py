"""How far the program's numbers can be trusted: all tables by one command.

    trust_tables.py [--recordings N] [--curves N] [--whole N] [--effect-recordings N] [--seed S]

1. Coverage: how often the stated interval holds the truth, and how wide it is re the ideal one; every quantity of the
   amplifier's measures (trust_amplifier.py) and of a driver (driver_coverage.py). What lies outside the design's limits
   fails.
2. The same under effects that the program's model does not have: reported, never judged.
3. Variance against the Cramér-Rao bound (cramer_rao.py).
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import cramer_rao  # noqa: E402
import driver_coverage  # noqa: E402
import trust_amplifier  # noqa: E402
from outside.report import Report  # noqa: E402


def under_effects(report, recordings, seed, cases=trust_amplifier.CASES, effects=trust_amplifier.EFFECTS):
    print(f"\nUnder effects that the model does not have ({recordings} recordings each), reported only:\n"
          f"  {'effect':<32}{'measure':<36}{'quantity':<42}{'trials':>7}{'absent':>7}{'held %':>8}{'|error| / U, median':>21}")
    for number, effect in enumerate(effects):
        for case in cases:
            tally = trust_amplifier.tally_of(case, recordings, np.random.default_rng([seed, 1000 + number]), effect, report)
            for key, trials, absent, held, ratio in tally.lines():
                print(f"  {effect.name:<32}{case.name:<36}{key:<42}{trials:>7}{absent:>7}{held:>8.1f}{ratio:>21.2f}", flush=True)


def main(arguments=None):
    parser = argparse.ArgumentParser(description="Coverage, effects outside the model, and the Cramér-Rao bound.")
    parser.add_argument("--recordings", type=int, default=40)
    parser.add_argument("--effect-recordings", type=int, default=2)
    parser.add_argument("--curves", type=int, default=1000)
    parser.add_argument("--whole", type=int, default=100)
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args(arguments)
    report = Report(f"Trust: seed {options.seed}")
    report.guarded("amplifier", lambda: trust_amplifier.coverage(report, options.recordings, options.seed))
    if options.effect_recordings:
        report.guarded("effects", lambda: under_effects(report, options.effect_recordings, options.seed))
    if options.curves:
        report.guarded("curves", lambda: driver_coverage.by_curves(report, options.curves, options.seed))
    if options.whole:
        report.guarded("recordings", lambda: driver_coverage.by_recordings(report, options.whole, options.seed))
    cramer_rao.main(["--seed", str(options.seed)] if options.curves else ["--sines", "500", "--ratios", "60", "--curves", "0"])
    report.finish()


if __name__ == "__main__":
    main()
