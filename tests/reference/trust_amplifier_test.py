"""The short form of the amplifier's part of trust_tables.py: few trials, one fixed seed, and one effect that the model does
not have. It finds what is grossly wrong; the long form finds the rest."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import trust_amplifier  # noqa: E402
import trust_jig  # noqa: E402
import trust_other_measures  # noqa: E402
import trust_quantities  # noqa: E402
import trust_tables  # noqa: E402
from outside.report import Report  # noqa: E402

report = Report("Coverage of the amplifier's numbers, short form")
report.guarded("coverage", lambda: trust_amplifier.coverage(report, 1, 7))
pair = trust_other_measures.Separation()
pair.repeats = 3
report.guarded("two channels", lambda: trust_amplifier.coverage(report, 1, 7, [pair]))
report.guarded("meter", lambda: trust_jig.meter_power(60, 7, report))
report.guarded("all quantities", lambda: trust_quantities.check(report))
report.guarded("effects", lambda: (trust_tables.heading_of_effects(1, report), trust_tables.under_effect(0, 1, 7, report, trust_amplifier.CASES[:1])))
report.finish()
