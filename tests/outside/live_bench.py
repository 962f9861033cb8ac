"""A live bench without hardware: JACK's dummy driver with its own server name, and the virtual bench as its client.

The server runs without real time and in synchronous mode: it waits for its clients, so that a slow machine makes the
bench slow and not wrong. What cannot be started is a failure: both come with the packages that tests need.
"""

import json
import os
import pty
import re
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from . import program

VIRTUAL_BENCH = os.environ.get("ASSAY_VIRTUAL_BENCH", "")
ASSAY = program.PROGRAM
RATE = 48000
RAIL, GAIN, OHM = 0.6, 4.0, 4.0  # of the virtual bench in most tests; sample values, ohm


class LiveBench:
    """`with LiveBench(rate_hz=48000) as bench:`; commands of the virtual bench by bench.tell("gain 0.5")."""

    def __init__(self, rate_hz=48000, period=512, name="virtual-bench", arguments=(), timeout_ms=5000):
        self.rate_hz, self.period, self.name, self.arguments = rate_hz, period, name, list(arguments)
        self.timeout_ms = timeout_ms  # ten of them the server waits for a client that is gone
        self.server_name = f"assay-test-{os.getpid()}"
        self.environment = {**os.environ, "JACK_DEFAULT_SERVER": self.server_name, "JACK_NO_START_SERVER": "1",
                            "JACK_NO_AUDIO_RESERVATION": "1", "LC_ALL": "C.UTF-8"}
        self.server = self.client = None

    def __enter__(self):
        if not shutil.which("jackd"):
            raise AssertionError("jackd is not installed: package jackd2 of .ci/packages-test.txt")
        self.log = tempfile.TemporaryFile("w+")
        self.server = subprocess.Popen(
            ["jackd", "--no-realtime", "-S", "-p", "64", "-t", str(self.timeout_ms), "-n", self.server_name, "-d", "dummy", "-r",
             str(self.rate_hz), "-p", str(self.period), "-C", "2", "-P", "2"],
            stdout=self.log, stderr=self.log, stdin=subprocess.DEVNULL, env=self.environment)
        try:
            self.client = self.start_client(self.name, self.arguments)
        except BaseException:
            self.__exit__()
            raise
        return self

    def start_client(self, name, arguments=()):
        """The server needs a moment; until then the client is refused."""
        for _ in range(50):
            if self.server.poll() is not None:
                break
            client = subprocess.Popen([VIRTUAL_BENCH, "--name", name, *arguments], stdin=subprocess.PIPE, text=True,
                                      stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=self.environment)
            if client.stdout.readline().strip() == "ready":
                return client
            client.wait()
            time.sleep(0.1)
        self.log.seek(0)
        raise AssertionError(f"the JACK server cannot be used here: {self.log.read()[-600:]}")

    def tell(self, command, client=None):
        client = client or self.client
        client.stdin.write(command + "\n")
        client.stdin.flush()

    def last_sound_s(self):
        """Seconds on the monotonic clock at which the virtual bench last got sound."""
        self.tell("last")
        return float(self.client.stdout.readline())

    def start(self, *command):
        return subprocess.Popen([*map(str, command)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True, env=self.environment, errors="replace")

    def run(self, *command, timeout=120, answers=None):
        return subprocess.run([*map(str, command)], stdin=subprocess.DEVNULL, capture_output=True, text=True,
                              timeout=timeout, env=self.environment, errors="replace")

    def __exit__(self, *_):
        # The client leaves by itself when its input ends. A server that loses a client by a signal hangs, and one that
        # is killed keeps its place in JACK's list of eight.
        if self.client is not None:
            self.client.stdin.close()
            self.end(self.client, signal_first=False)
        if self.server is not None:
            self.end(self.server, signal_first=True)
        for process in (self.client, self.server):
            if process is not None and process.stdout is not None:
                process.stdout.close()

    @staticmethod
    def end(process, signal_first):
        if signal_first:
            process.terminate()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


class Seen:
    """What a terminal showed, as text, and how the program ended."""

    def __init__(self, status, text):
        self.status, self.text = status, text


def at_terminal(bench, command, answers, timeout_s=120):
    """Runs a command on a terminal of its own (all three streams) and answers its questions in order. answers: (pattern
    of the question, what is typed, what is done at the bench before, or None). A question that does not come ends
    the run by the time limit; its pattern stands at the end of the text then."""
    master, slave = pty.openpty()
    process = subprocess.Popen([*map(str, command)], stdin=slave, stdout=slave, stderr=slave, env=bench.environment,
                               start_new_session=True)
    os.close(slave)
    text, since, waiting = "", 0, list(answers)
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        if not select.select([master], [], [], 0.1)[0]:
            continue
        try:
            more = os.read(master, 65536)
        except OSError:  # the last holder of the terminal has closed it
            break
        text += more.decode(errors="replace")
        if waiting and re.search(waiting[0][0], text[since:], re.DOTALL) and text.rstrip(" ").endswith(":"):
            _, typed, act = waiting.pop(0)
            if act is not None:
                act()
            since = len(text)
            os.write(master, (typed + "\n").encode())
    else:
        process.kill()
    os.close(master)
    if waiting:
        text += f"\n(never asked: {waiting[0][0]})"
    return Seen(process.wait(), text.replace("\r\n", "\n"))


def bench_text(channels=1, **load_more):
    names = ["a", "b"][:channels]
    return program.bench_text(
        sound={"playback_device": "virtual-bench", "record_device": "virtual-bench", "sample_rate_hz": RATE},
        outputs=[{"name": f"drive-{n}", "channel": k + 1, "volts_at_full_scale": program.OUTPUT_V, "maximum_dbfs": -8.0}
                 for k, n in enumerate(names)],
        inputs=[program.probe(f"probe-{n}", k + 1) for k, n in enumerate(names)],
        loads=[program.load(f"load-{n}", OHM, f"probe-{n}", rated_power_w=50, driven_by=[f"drive-{n}"], **load_more)
               for n in names])


def power_test(test="power", loads=("load-a",), **more):
    return {"id": test, "measure": "clipping-power", "loads": list(loads), "from_dbfs": -30,
            "distortion_limits_percent": [1], **more}


class Folder:
    def __init__(self, name, tests, channels=1, more_bench=""):
        self.path = Path(tempfile.mkdtemp(prefix=f"assay-{name}-"))
        self.job, self.bench, self.into = self.path / "job.toml", self.path / "bench.toml", self.path / "session"
        self.job.write_text(program.job_text(tests))
        self.bench.write_text(bench_text(channels) + more_bench)

    def command(self, *more):
        return (ASSAY, "run", self.job, "--bench", self.bench, "--into", self.into, *more)

    def session(self):
        return json.loads((self.into / "session.json").read_text())

    def __enter__(self):
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.path, ignore_errors=True)
