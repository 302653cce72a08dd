"""A headless Chromium driven through its DevTools protocol over two pipes (standard library only)."""
import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--hide-scrollbars", "--remote-debugging-pipe"]


class Chromium:
    def __init__(self):
        self.profile = tempfile.mkdtemp(prefix="spw-page-")
        to_read, self.to = os.pipe()
        self.back, from_write = os.pipe()
        # the browser reads commands from descriptor 3 and answers on 4
        place = f'exec "$0" "$@" 3<&{to_read} 4>&{from_write}'
        self.process = subprocess.Popen(
            ["bash", "-c", place, "chromium", *FLAGS, f"--user-data-dir={self.profile}", "about:blank"],
            pass_fds=(to_read, from_write), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(from_write)
        self.next, self.rest, self.events, self.session = 1, b"", [], None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Log", "Runtime"):
            self.call(domain + ".enable")

    def close(self):
        try:
            self.session = None
            self.call("Browser.close")
        except (OSError, RuntimeError):
            pass
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        shutil.rmtree(self.profile, ignore_errors=True)

    def message(self, until):
        while b"\0" not in self.rest:
            left = until - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                raise RuntimeError("the browser does not answer")
            part = os.read(self.back, 1 << 20)
            if not part:
                raise RuntimeError("the browser has gone")
            self.rest += part
        text, self.rest = self.rest.split(b"\0", 1)
        return json.loads(text)

    def call(self, method, **params):
        number, self.next = self.next, self.next + 1
        command = {"id": number, "method": method, "params": params}
        if self.session:
            command["sessionId"] = self.session
        data = json.dumps(command).encode() + b"\0"
        while data:
            data = data[os.write(self.to, data):]
        until = time.monotonic() + 60
        while True:
            message = self.message(until)
            if message.get("id") == number:
                if "error" in message:
                    raise RuntimeError(f"{method}: {message['error']['message']}")
                return message["result"]
            self.events.append(message)

    def open(self, path, width=1280, dark=False, media=""):
        self.events = []
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1,
                  mobile=width < 600)
        self.call("Emulation.setEmulatedMedia", media=media,
                  features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])
        self.call("Page.navigate", url="file://" + os.path.abspath(path))
        until = time.monotonic() + 60
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self.message(until))
        self.run("document.fonts.ready.then(() => true)")

    def run(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True,
                           awaitPromise=True)
        if "exceptionDetails" in result:
            raise RuntimeError(json.dumps(result["exceptionDetails"])[:600])
        return result["result"].get("value")

    def noises(self):
        """Console messages, exceptions, and requests for anything but the page itself."""
        out, documents = [], 0
        for e in self.events:
            method, params = e.get("method", ""), e.get("params", {})
            if method == "Log.entryAdded":
                out.append("log: " + params["entry"]["text"])
            elif method == "Runtime.consoleAPICalled":
                out.append("console: " + json.dumps(params["args"])[:200])
            elif method == "Runtime.exceptionThrown":
                out.append("exception")
            elif method == "Network.requestWillBeSent":
                documents += 1
                if params.get("type") != "Document" or documents > 1:
                    out.append("request: " + params["request"]["url"][:200])
        return out

    def screenshot(self, path):
        size = self.call("Page.getLayoutMetrics")["cssContentSize"]
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True,
                         clip={"x": 0, "y": 0, "width": size["width"], "height": size["height"],
                               "scale": 1})
        with open(path, "wb") as f:
            f.write(base64.b64decode(shot["data"]))

    def pdf(self, path, width_in, height_in):
        made = self.call("Page.printToPDF", paperWidth=width_in, paperHeight=height_in,
                         printBackground=True, preferCSSPageSize=False)
        with open(path, "wb") as f:
            f.write(base64.b64decode(made["data"]))
