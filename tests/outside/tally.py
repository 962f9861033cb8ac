"""Errors against stated intervals, and how they are judged.

Coverage by repetition (in the spirit of JCGM 101:2008, 7.9): an interval of k = 2 should hold the truth in 95.45 % of trials
of a normal error; it must in at least 94 %. It is on the mean at most 1.15 times as wide as the ideal one, which is
twice the root of the mean square of the errors that really happened. Limits are moved by what chance may do with so few
trials and so many quantities (binomial; chi-square; 1 % for all together, after Bonferroni).
"""

import numpy as np
from scipy.stats import binom, chi2


def chance_limits(count, quantities_in_all):
    """(least share of trials held, most width re the ideal one) for so many trials."""
    chance = 0.01 / quantities_in_all
    return binom.ppf(chance, count, 0.94) / count, 1.15 / np.sqrt(chi2.ppf(chance, count) / count)


class Tally:
    """Errors and stated intervals of one case."""
    def __init__(self):
        self.error, self.stated, self.truth, self.absent = {}, {}, {}, {}

    def add(self, quantities, truth):
        for key, value in truth.items():
            if not np.isfinite(value):
                continue  # nothing is claimed of it
            for kept in (self.error, self.stated, self.truth):
                kept.setdefault(key, [])
            self.absent.setdefault(key, 0)
            if key not in quantities:
                self.absent[key] += 1
                continue
            self.error[key].append(quantities[key]["value"] - value)
            self.stated[key].append(quantities[key]["expanded_uncertainty"])
            self.truth[key].append(value)

    def judge(self, report, name, quantities_in_all, absent_allowed=(), absent_by_chance=0.0):
        """One line a quantity; a failure where one lies outside what the design asks for. `absent_by_chance`: the share of trials
        that may be told to be contradictory."""
        print(f"  {name}\n  {'quantity':<34}{'trials':>7}{'absent':>7}{'held %':>8}{'least':>8}{'width re ideal':>16}{'most':>7}{'bias re sigma':>15}{'sigma':>11}")
        bad = []
        for key in self.error:
            error, stated = np.array(self.error[key]), np.array(self.stated[key])
            if self.absent[key] > binom.ppf(0.999, len(error) + self.absent[key], absent_by_chance) and key not in absent_allowed:
                bad.append(f"{key} absent in {self.absent[key]}")
            if len(error) < 2:
                print(f"  {key:<34}{len(error):>7}{self.absent[key]:>7}")
                continue
            # Each error re its own interval, so that trials of different size count alike.
            count, held = len(error), int(np.sum(np.abs(error) <= stated))
            usual = np.median(stated[stated > 0]) if np.any(stated > 0) else 1.0
            weight = usual / np.where(stated > 0, stated, usual)
            sigma = np.sqrt(np.mean((error * weight) ** 2))
            width = np.mean(stated * weight) / (2 * sigma) if sigma > 0 else np.inf
            least, most = chance_limits(count, quantities_in_all)
            wrong = held / count < least or width > most
            print(f"  {key:<34}{count:>7}{self.absent[key]:>7}{100 * held / count:>8.2f}{100 * least:>8.2f}{width:>16.3f}{most:>7.2f}"
                  f"{np.mean(error * weight) / max(sigma, 1e-300):>15.3f}{sigma:>11.3g}{'  <' if wrong else ''}", flush=True)
            if wrong:
                bad.append(f"{key} held {100 * held / count:.1f} %, width {width:.2f}")
        report.check(not bad, f"{name}: every interval holds the truth and is no wider than need be", "; ".join(bad))

    def lines(self):
        """(quantity, trials, absent, held in %, median of |error| over the interval, median of error, of the truth) without
        judgement."""
        for key in self.error:
            error, stated = np.array(self.error[key]), np.array(self.stated[key])
            if len(error) == 0:
                yield key, 0, self.absent[key], np.nan, np.nan, np.nan, np.nan
                continue
            yield (key, len(error), self.absent[key], 100 * np.mean(abs(error) <= stated), np.median(abs(error) / np.maximum(stated, 1e-300)),
                   np.median(error), np.median(self.truth[key]))
