"""The short form of cramer_rao.py: few trials, one fixed seed. The long form finds what is off by less."""

import cramer_rao

cramer_rao.main(["--sines", "1000", "--ratios", "300", "--curves", "40", "--seed", "7"])
