"""A real headless Chromium, driven over the DevTools protocol on a pipe (no further packages)."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any, Self

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)


def chromium() -> str | None:
    """Return the path of Chromium, or None where the machine has none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    """One page in one browser. Remembers console messages and requests."""

    def __init__(self, *flags: str) -> None:
        path = chromium()
        if path is None:
            raise RuntimeError("Chromium is not installed")
        self._profile = tempfile.TemporaryDirectory(
            prefix="report-browser-", ignore_cleanup_errors=True
        )
        to_browser, self._write = os.pipe()
        self._read, from_browser = os.pipe()

        def wire() -> None:
            # The protocol wants its two ends at descriptors 3 and 4.
            high_in, high_out = os.dup(to_browser), os.dup(from_browser)
            os.dup2(high_in, 3)
            os.dup2(high_out, 4)

        self._process = subprocess.Popen(
            [path, *FLAGS, *flags, f"--user-data-dir={self._profile.name}", "about:blank"],
            preexec_fn=wire,  # noqa: PLW1509 - only dup2 runs between fork and exec
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)
        self._buffer = b""
        self._next = 0
        self._session: str | None = None
        self._events: list[dict[str, Any]] = []
        targets = self.call("Target.getTargets")["targetInfos"]
        page = next(t for t in targets if t["type"] == "page")
        attached = self.call("Target.attachToTarget", targetId=page["targetId"], flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._write)
        os.close(self._read)
        self._profile.cleanup()

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """Send one command and return its result."""
        self._next += 1
        message: dict[str, Any] = {"id": self._next, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._receive()
            if answer.get("id") == self._next:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']['message']}")
                return dict(answer["result"])
            self._events.append(answer)

    def _receive(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            piece = os.read(self._read, 1 << 16)
            if not piece:
                raise RuntimeError("Chromium has gone away")
            self._buffer += piece
        line, self._buffer = self._buffer.split(b"\0", 1)
        return dict(json.loads(line))

    def open(self, page: Path, width: int, *, dark: bool = False, height: int = 800) -> None:
        """Load a file at a width in CSS pixels, in one colour scheme."""
        self.visit(page.as_uri(), width, dark=dark, height=height)

    def visit(self, url: str, width: int, *, dark: bool = False, height: int = 800) -> None:
        """Load an address as `open` loads a file."""
        self._events.clear()
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=width < 600,
        )  # fmt: skip
        self.call("Page.navigate", url=url)
        while not any(e.get("method") == "Page.loadEventFired" for e in self._events):
            self._events.append(self._receive())

    def until(self, script: str, seconds: float = 30.0) -> Any:
        """Return the value of an expression in the page as soon as it is true."""
        end = time.monotonic() + seconds
        while not (value := self.evaluate(script)):
            if time.monotonic() > end:
                raise TimeoutError(f"{script}: not within {seconds:.0f} s")
            time.sleep(0.05)
        return value

    def choose_file(self, selector: str, *paths: Path) -> None:
        """Choose files in an input of the page."""
        root = self.call("DOM.getDocument")["root"]["nodeId"]
        node = self.call("DOM.querySelector", nodeId=root, selector=selector)["nodeId"]
        self.call("DOM.setFileInputFiles", nodeId=node, files=[str(path) for path in paths])

    def network(self, *, offline: bool = False, bytes_a_second: int = -1) -> None:
        """Take the network away, or slow uploads down; -1 = as fast as it goes."""
        self.call(
            "Network.emulateNetworkConditions",
            offline=offline, latency=0, downloadThroughput=-1, uploadThroughput=bytes_a_second,
        )  # fmt: skip

    def evaluate(self, script: str) -> Any:
        """Return the value of an expression in the page."""
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def complaints(self) -> list[str]:
        """Return console messages, exceptions and log entries since the page was opened."""
        names = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        return [json.dumps(e["params"]) for e in self._events if e.get("method") in names]

    def requests(self) -> list[str]:
        """Return every URL asked for since the page was opened."""
        return [
            e["params"]["request"]["url"]
            for e in self._events
            if e.get("method") == "Network.requestWillBeSent"
        ]

    def screenshot(self) -> bytes:
        """Return the whole page as PNG."""
        answer = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        return base64.b64decode(answer["data"])

    def pdf(self) -> bytes:
        """Return the page as printed, A4."""
        answer = self.call(
            "Page.printToPDF", paperWidth=8.27, paperHeight=11.69, printBackground=True
        )
        return base64.b64decode(answer["data"])
