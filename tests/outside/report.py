"""Checks that go on after a failure and print the figures that were reached."""

import sys


class Report:
    def __init__(self, title):
        self.failed = []
        self.count = 0
        print(title, flush=True)

    def check(self, good, what, figures=""):
        self.count += 1
        print(f"  {'ok  ' if good else 'FAIL'} {what}{': ' if figures else ''}{figures}", flush=True)
        if not good:
            self.failed.append(f"{what}: {figures}")
        return good

    def relative(self, what, measured, expected, percent):
        """Within so many per cent of the expected."""
        if measured is None or expected is None:
            return self.check(measured is None and expected is None, what, f"measured {measured}, expected {expected}")
        error = 100 * (measured / expected - 1)
        return self.check(abs(error) <= percent, what,
                          f"measured {measured:.7g}, expected {expected:.7g}, off by {error:+.4f} % of {percent} %")

    def absolute(self, what, measured, expected, limit):
        if measured is None or expected is None:
            return self.check(measured is None and expected is None, what, f"measured {measured}, expected {expected}")
        error = measured - expected
        return self.check(abs(error) <= limit, what,
                          f"measured {measured:.8g}, expected {expected:.8g}, off by {error:+.3g} of {limit:.3g}")

    def guarded(self, what, action):
        """Runs a part whose breaking must not hide the parts after it."""
        try:
            action()
        except Exception as error:  # a test's own crash is a failure with a name, not the end of the list
            self.check(False, what, f"{type(error).__name__}: {error}")

    def finish(self):
        print(f"{self.count} checks, {len(self.failed)} failed")
        for line in self.failed:
            print("  FAILED " + line)
        sys.exit(1 if self.failed else 0)
