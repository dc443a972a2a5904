"""A headless Chromium spoken to over its DevTools pipe: no driver, no port, nothing but the standard library."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
ANSWER_S = 30.0
FLAGS = (
    "--headless=new", "--remote-debugging-pipe", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-default-apps", "--disable-sync", "--disable-extensions",
    "--disable-dev-shm-usage", "--mute-audio", "--hide-scrollbars",
)  # fmt: skip
SOFTWARE_GL = ("--enable-unsafe-swiftshader", "--use-angle=swiftshader")


class Browser:
    """One Chromium process. Use as a context manager."""

    def __init__(self, profile: Path, *flags: str) -> None:
        assert CHROMIUM is not None, "no chromium on this machine"
        to_child, self._out = os.pipe()
        self._in, from_child = os.pipe()
        root = ["--no-sandbox"] if os.geteuid() == 0 else []
        command = [CHROMIUM, *FLAGS, *root, *flags, f"--user-data-dir={profile}", "about:blank"]
        shell = f'exec "$@" 3<&{to_child} 4>&{from_child}'
        self._process = subprocess.Popen(
            ["/bin/bash", "-c", shell, "sh", *command],
            pass_fds=(to_child, from_child), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_child)
        os.close(from_child)
        self._buffer, self._number = b"", 0
        self.events: list[dict[str, Any]] = []

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *fault: object) -> None:
        try:
            self.call("Browser.close")
            self._process.wait(10)
        except (OSError, TimeoutError, RuntimeError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait()
        os.close(self._out)
        os.close(self._in)

    def call(self, method: str, session: str | None = None, **params: Any) -> dict[str, Any]:
        """Send a command and return its result; events that arrive meanwhile are kept."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if session is not None:
            message["sessionId"] = session
        raw = json.dumps(message).encode() + b"\0"
        while raw:
            raw = raw[os.write(self._out, raw) :]
        limit = time.monotonic() + ANSWER_S
        while True:
            answer = self._read(limit)
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def _read(self, limit: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._in], [], [], max(limit - time.monotonic(), 0))
            if not ready:
                raise TimeoutError("the browser does not answer")
            chunk = os.read(self._in, 1 << 20)
            if not chunk:
                raise OSError("the browser ended")
            self._buffer += chunk
        text, self._buffer = self._buffer.split(b"\0", 1)
        return json.loads(text)

    def page(self, file: Path, *, wide: int = 1280, high: int = 900, mobile: bool = False) -> Page:
        """Open a file in a new page and wait until it has loaded."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session)
        for domain in ("Page", "Runtime", "Network", "Log"):
            page.call(f"{domain}.enable")
        page.call("Emulation.setDeviceMetricsOverride", width=wide, height=high, deviceScaleFactor=1, mobile=mobile)
        page.call("Page.navigate", url=file.resolve().as_uri())
        page.until("document.readyState === 'complete'")
        return page


class Page:
    """One open page."""

    def __init__(self, browser: Browser, session: str) -> None:
        self._browser, self._session = browser, session

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        return self._browser.call(method, self._session, **params)

    def ask(self, script: str) -> Any:
        """Return the value of an expression; promises are waited for."""
        got = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in got:
            raise RuntimeError(got["exceptionDetails"]["exception"].get("description", "fault in the page"))
        return got["result"].get("value")

    def until(self, script: str, limit_s: float = 20.0) -> None:
        """Wait until an expression is true."""
        stop = time.monotonic() + limit_s
        while not self.ask(script):
            if time.monotonic() > stop:
                raise TimeoutError(f"never true: {script}")
            time.sleep(0.03)

    def text(self, selector: str) -> str:
        return str(self.ask(f"document.querySelector({json.dumps(selector)}).textContent"))

    def press(self, selector: str) -> None:
        """Click an element with the mouse, where it stands."""
        x, y = self.ask(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            " e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect();"
            " return [r.x + r.width / 2, r.y + r.height / 2]; })()"
        )
        self.click(x, y)

    def click(self, x: float, y: float) -> None:
        self.mouse("mouseMoved", x, y)
        self.mouse("mousePressed", x, y, button="left", clickCount=1)
        self.mouse("mouseReleased", x, y, button="left", clickCount=1)

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def key(self, key: str, code: int, text: str = "") -> None:
        more = {"text": text} if text else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", key=key, windowsVirtualKeyCode=code, **more)
        self.call("Input.dispatchKeyEvent", type="keyUp", key=key, windowsVirtualKeyCode=code)

    def slide(self, selector: str, value: float) -> None:
        """Set a slider as a user does: value and input event."""
        self.ask(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)}); e.value = {value};"
            " e.dispatchEvent(new Event('input', {bubbles: true})); })()"
        )

    def settled(self) -> None:
        """Wait until what was asked for has been drawn."""
        self.ask("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def picture(self, *, whole: bool = False) -> bytes:
        """Return a PNG of what is on the screen, or of the whole page."""
        return base64.b64decode(self.call("Page.captureScreenshot", captureBeyondViewport=whole)["data"])

    def pdf(self) -> bytes:
        return base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=False)["data"])

    def said(self) -> list[str]:
        """Return what stands in the console: exceptions, errors, warnings and messages."""
        found = []
        for event in self._mine():
            params = event.get("params", {})
            if event["method"] == "Runtime.exceptionThrown":
                found.append(params["exceptionDetails"].get("exception", {}).get("description", "exception"))
            elif event["method"] == "Runtime.consoleAPICalled":
                found.append(" ".join(str(a.get("value", a.get("description"))) for a in params["args"]))
            elif event["method"] == "Log.entryAdded":
                found.append(params["entry"]["text"])
        return found

    def asked_for(self) -> list[str]:
        """Return every address the page asked for."""
        sent = (e["params"]["request"]["url"] for e in self._mine() if e["method"] == "Network.requestWillBeSent")
        return list(sent)

    def _mine(self) -> list[dict[str, Any]]:
        self.call("Runtime.evaluate", expression="0")
        return [e for e in self._browser.events if e.get("sessionId") == self._session and "method" in e]
