"""A page in headless Chromium, driven over its debugging pipe: sizes, console, requests, a pointer."""

import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path


class Browser:
    """Speaks the DevTools protocol over file descriptors 3 and 4 (--remote-debugging-pipe)."""

    def __init__(self):
        self.profile = tempfile.mkdtemp(prefix="assay-browser-")
        to_child, self.to_browser = os.pipe()
        self.from_browser, from_child = os.pipe()

        def wire():
            # Both ends may sit on 3 or 4 already: move them out of the way first.
            inlet, outlet = os.dup(to_child), os.dup(from_child)
            os.dup2(inlet, 3)
            os.dup2(outlet, 4)

        # No address can be resolved: a page that asks for anything outside fails visibly, and nothing leaves.
        self.process = subprocess.Popen(
            [shutil.which("chromium"), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
             "--remote-debugging-pipe", f"--user-data-dir={self.profile}", "--no-first-run",
             "--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND"],
            preexec_fn=wire, close_fds=False, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL)
        os.close(to_child)
        os.close(from_child)
        self.count = 0
        self.events = []
        self.rest = b""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = None
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")

    def close(self):
        self.process.kill()
        self.process.wait()
        os.close(self.to_browser)
        os.close(self.from_browser)
        shutil.rmtree(self.profile, ignore_errors=True)

    def read(self):
        while b"\0" not in self.rest:
            part = os.read(self.from_browser, 1 << 20)
            if not part:
                raise RuntimeError("the browser ended")
            self.rest += part
        message, self.rest = self.rest.split(b"\0", 1)
        return json.loads(message)

    def call(self, method, **parameters):
        self.count += 1
        message = {"id": self.count, "method": method, "params": parameters}
        if getattr(self, "session", None):
            message["sessionId"] = self.session
        os.write(self.to_browser, json.dumps(message).encode() + b"\0")
        while True:
            answer = self.read()
            if answer.get("id") == self.count:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def open(self, path, width, height=900):
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600)
        self.call("Page.navigate", url=Path(path).resolve().as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self.read())

    def value(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        if "exceptionDetails" in result:
            raise RuntimeError(result["exceptionDetails"]["text"])
        return result["result"].get("value")

    def point_at(self, x, y):
        self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)

    def complaints(self):
        return [event for event in self.events if event.get("method") in ("Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled")]

    def requests(self):
        return [event["params"]["request"]["url"] for event in self.events if event.get("method") == "Network.requestWillBeSent"]
