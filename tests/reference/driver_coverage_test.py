"""The short form of driver_coverage.py: few trials, one fixed seed. It finds what is grossly wrong; the long form finds
the rest."""

import driver_coverage

driver_coverage.main(["--curves", "30", "--whole", "3", "--seed", "7"])
