"""A real browser, driven by what it calls its devtools protocol: looked at, touched and photographed."""

import base64
import json
import os
import shutil
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DEADLINE_S = 60.0
OPTIONS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
    "--disable-extensions", "--disable-background-networking", "--remote-debugging-port=0",
    "--remote-allow-origins=*",
)  # fmt: skip


def until(asked, what, deadline_s=DEADLINE_S):
    """The first answer of `asked` that is true; a condition is waited for, never a time."""
    ends = time.monotonic() + deadline_s
    while True:
        found = asked()
        if found:
            return found
        assert time.monotonic() < ends, f"waited {deadline_s:g} s for {what}"
        time.sleep(0.05)


@contextmanager
def browser(folder):
    """A browser that runs until the end, with nothing in its storage."""
    data = Path(folder) / "browser"
    process = subprocess.Popen(
        [CHROMIUM, *OPTIONS, f"--user-data-dir={data}", "about:blank"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        told = data / "DevToolsActivePort"
        until(lambda: told.is_file() and told.read_text().count("\n") == 1, "the browser")
        port, path = told.read_text().split("\n")
        yield Browser(f"ws://127.0.0.1:{port}{path}")
    finally:
        process.terminate()
        process.wait(20)


class Browser:
    """The connection to one browser; each page is a session of its own in it."""

    def __init__(self, url):
        from websocket import create_connection

        self._socket = create_connection(url, timeout=DEADLINE_S, suppress_origin=True)
        self._number = 0
        self.events = []
        self._contexts = []
        self.swallows = ""
        """What comes back from here never reaches the page: it went out, and the connection broke."""

    def call(self, method, session=None, **parameters):
        self._number += 1
        number = self._number
        sent = {"id": number, "method": method, "params": parameters}
        self._socket.send(json.dumps(sent | ({"sessionId": session} if session else {})))
        while True:
            found = json.loads(self._socket.recv())
            if found.get("id") == number:
                assert "error" not in found, (method, found["error"])
                return found["result"]
            self.events.append(found)
            if found.get("method") == "Fetch.requestPaused":
                self._let_go(found["params"], found["sessionId"])

    def _let_go(self, paused, session):
        is_swallowed = self.swallows and paused["request"]["url"].endswith(self.swallows)
        method = "Fetch.failRequest" if is_swallowed else "Fetch.continueRequest"
        more = {"errorReason": "ConnectionReset"} if is_swallowed else {}
        self._number += 1
        sent = {"id": self._number, "method": method, "sessionId": session}
        self._socket.send(json.dumps({**sent, "params": {"requestId": paused["requestId"], **more}}))

    def put_away(self):
        """Close every page, with its storage."""
        while self._contexts:
            self.call("Target.disposeBrowserContext", browserContextId=self._contexts.pop())
        self.events.clear()
        self.swallows = ""

    def page(self, width, height=780):
        """A new phone of this size, in CSS pixels: its storage is empty and no other's."""
        context = self.call("Target.createBrowserContext")["browserContextId"]
        self._contexts.append(context)
        target = self.call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return Page(self, session, width, height)


class Page:
    """One page: opened, waited for, touched as a finger does."""

    def __init__(self, browser, session, width, height):
        self._browser, self._session = browser, session
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2, mobile=True
        )
        self.call("Emulation.setTouchEmulationEnabled", enabled=True)

    def call(self, method, **parameters):
        return self._browser.call(method, self._session, **parameters)

    def open(self, url):
        self.call("Page.navigate", url=url)
        self.until("document.readyState === 'complete'")

    def value(self, script):
        found = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, (script, found["exceptionDetails"])
        return found["result"].get("value")

    def until(self, script, deadline_s=DEADLINE_S):
        try:
            return until(lambda: self.value(script), script, deadline_s)
        except AssertionError as error:
            raise AssertionError(f"{error}; the page says: {self.words('body')}") from None

    def words(self, selector):
        return self.value(f"document.querySelector({json.dumps(selector)})?.innerText ?? ''")

    def says(self, selector, words):
        """Wait until an element says so: a tap becomes a click only after it has been let go."""
        self.until(
            f"document.querySelector({json.dumps(selector)}).textContent.includes({json.dumps(words)})"
        )

    def shows(self, name):
        """Wait until the element of that id is there to be seen."""
        self.until(f"!document.getElementById({json.dumps(name)}).hidden")

    def hides(self, name):
        self.until(f"document.getElementById({json.dumps(name)}).hidden")

    def touch(self, selector):
        """A tap in the middle of an element, scrolled to, that must be there and not be covered."""
        at = self.until(f"""(() => {{
            const e = document.querySelector({json.dumps(selector)});
            if (!e || e.disabled || e.closest('[hidden]')) return null;
            e.scrollIntoView({{block: 'center'}});
            const b = e.getBoundingClientRect(), x = b.x + b.width / 2, y = b.y + b.height / 2;
            return e.contains(document.elementFromPoint(x, y)) ? {{x, y}} : null; }})()""")
        self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[at])
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def type(self, words):
        """A reading on the keypad, and Store."""
        for key in words:
            self.touch(f'.keys [data-key="{ {"-": "±"}.get(key, key) }"]')
        self.touch('.keys [data-key="Store"]')

    def connect(self, is_connected):
        self.call(
            "Network.emulateNetworkConditions",
            offline=not is_connected, latency=0, downloadThroughput=-1, uploadThroughput=-1,
        )  # fmt: skip

    def swallow_answers(self, path):
        """From now on what the machine answers there is lost on the way; none again: nothing is."""
        self._browser.swallows = path
        self.call("Fetch.enable", patterns=[{"requestStage": "Response"}])

    def complaints(self):
        """What the browser had to say of the page: errors, and whatever its policy kept out."""
        found = []
        for event in self._browser.events:
            entry = event.get("params", {}).get("entry", {})
            if event.get("sessionId") != self._session:
                continue
            if event.get("method") == "Runtime.exceptionThrown":
                found.append(event["params"]["exceptionDetails"]["text"])
            elif entry.get("level") == "error":
                found.append(f"{entry['text']} {entry.get('url', '')}")
        return found

    def photograph(self, name, folder):
        """The whole page as PNG; kept where whoever wants to look finds it."""
        self.value("scrollTo(0, 0)")
        data = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)["data"]
        picture = Path(folder) / f"{name}.png"
        picture.write_bytes(base64.b64decode(data))
        kept = os.environ.get("WAYLOG_SCREENSHOTS")
        if kept:
            Path(kept).mkdir(parents=True, exist_ok=True)
            shutil.copy(picture, Path(kept) / picture.name)
        return picture
