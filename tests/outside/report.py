"""Checks that go on after a failure and print the figures that were reached."""

import contextlib
import io
import multiprocessing
import multiprocessing.connection
import os
import sys
import time


class Report:
    def __init__(self, title=""):
        self.failed = []
        self.count = 0
        if title:
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

    def in_a_row(self, parts):
        """`parts`: (name, what takes a report)."""
        for name, part in parts:
            self.guarded(name, lambda part=part: part(self))

    def side_by_side(self, parts):
        """Runs parts that need nothing of each other, as many at a time as there are processors. What a part prints
        appears when it and those before it are done, so that the lines stand as if they had run in a row. Not for what runs among
        other tests: scripts that play in real time need the other processor."""
        def worker(index, pipe):
            own, text, begin = Report(), io.StringIO(), time.monotonic()
            name, action = parts[index]
            with contextlib.redirect_stdout(text):
                own.guarded(name, lambda: action(own))
            pipe.send((text.getvalue(), own.count, own.failed, time.monotonic() - begin))

        # Forked, since a part is any function; a process of its own for each, so that one that is killed ends no other.
        fork, waiting, running, done, shown = multiprocessing.get_context("fork"), list(range(len(parts))), {}, {}, 0
        while waiting or running:
            while waiting and len(running) < (os.cpu_count() or 1):
                index = waiting.pop(0)
                receiver, sender = fork.Pipe(duplex=False)
                process = fork.Process(target=worker, args=(index, sender))
                process.start()
                sender.close()
                running[receiver] = (index, process)
            for receiver in multiprocessing.connection.wait(list(running)):
                index, process = running.pop(receiver)
                try:
                    done[index] = receiver.recv()
                except EOFError:
                    process.join()
                    done[index] = ("", 1, [f"{parts[index][0]}: ended with {process.exitcode} and told nothing"], 0.0)
                process.join()
                print(f"{len(done)} of {len(parts)} done: {parts[index][0]}, {done[index][3]:.0f} s", file=sys.stderr, flush=True)
            while shown in done:
                text, count, failed, _ = done[shown]
                print(text, end="", flush=True)
                self.count += count
                self.failed += failed
                shown += 1

    def finish(self):
        print(f"{self.count} checks, {len(self.failed)} failed")
        for line in self.failed:
            print("  FAILED " + line)
        sys.exit(1 if self.failed else 0)
