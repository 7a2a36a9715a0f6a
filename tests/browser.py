"""A real Chromium driven over its DevTools protocol, with nothing but the standard library.

The browser is started with two pipes, which it takes as descriptors 3 and 4: JSON messages go in on
the one and come out on the other, each ended by a zero byte (`--remote-debugging-pipe`). It gets an
empty profile of its own, and only the process that was started here is ended.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-extensions", "--mute-audio", "--hide-scrollbars", "--remote-debugging-pipe"),
    *("--no-default-browser-check", "--disable-dev-shm-usage", "--force-color-profile=srgb"),
)
AS_3_AND_4 = """
import fcntl, os, sys
reads, writes = (fcntl.fcntl(int(end), fcntl.F_DUPFD, 10) for end in sys.argv[1:3])
os.dup2(reads, 3)
os.dup2(writes, 4)
os.execvp(sys.argv[3], sys.argv[3:])
"""
"""The child puts its ends of the pipes where the browser looks for them, and becomes it."""
KEYS = {
    "Enter": (13, "\r"),
    "Tab": (9, ""),
    "Escape": (27, ""),
    "Backspace": (8, ""),
    "ArrowLeft": (37, ""),
    "ArrowUp": (38, ""),
    "ArrowRight": (39, ""),
    "ArrowDown": (40, ""),
    "End": (35, ""),
    "Home": (36, ""),
    "PageDown": (34, ""),
}
"""Windows key codes and texts of keys that write no letter."""


def program() -> str:
    """Return the browser's path; the test that asks is skipped where there is none."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no chromium: the Debian package chromium holds it")
    return found


@dataclass
class Browser:
    """A browser that was started, and a page in it.

    Attributes
    ----------
    process : Popen
    to, back : int
        Descriptors of the pipes.
    events : list of dict
        All events that the page reported, in their order.
    """

    process: subprocess.Popen[bytes]
    to: int
    back: int
    events: list[dict[str, Any]] = field(default_factory=list)
    session: str | None = None
    _last: int = 0
    _unread: bytes = b""

    def send(self, method: str, within_s: float = 60, **params: Any) -> dict[str, Any]:
        """Send a command and return its answer."""
        self._last += 1
        message = {"id": self._last, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        return self._answer(self._last, time.monotonic() + within_s)

    def _answer(self, number: int, deadline: float) -> dict[str, Any]:
        while True:
            message = self._message(deadline)
            if "method" in message:
                self.events.append(message)
            elif message.get("id") == number:
                if "error" in message:
                    raise RuntimeError(message["error"])
                return message["result"]

    def _message(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._unread:
            left = deadline - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                raise TimeoutError("the browser doesn't answer")
            self._unread += os.read(self.back, 1 << 20)
        text, _, self._unread = self._unread.partition(b"\0")
        return json.loads(text)

    def open(self, address: str, wide: int = 1280, tall: int = 800, **screen: Any) -> None:
        """Open a page on a screen of so many pixels and wait until it is loaded."""
        if self.session is None:
            target = self.send("Target.createTarget", url="about:blank")["targetId"]
            attached = self.send("Target.attachToTarget", targetId=target, flatten=True)
            self.session = attached["sessionId"]
            for domain in ("Page", "Runtime", "Network", "Log"):
                self.send(f"{domain}.enable")
        self.screen(wide, tall, **screen)
        self.send("Page.navigate", url="about:blank")
        self.events.clear()
        self.send("Page.navigate", url=address)
        self.wait("document.readyState === 'complete' && location.href !== 'about:blank'")

    def screen(self, wide: int, tall: int, dense: float = 1, mobile: bool = False) -> None:
        """Set the size of the screen."""
        given = {"width": wide, "height": tall, "deviceScaleFactor": dense, "mobile": mobile}
        self.send("Emulation.setDeviceMetricsOverride", **given)

    def run(self, script: str) -> Any:
        """Return the value of a script's expression; a promise is waited for."""
        given = {"expression": script, "returnByValue": True, "awaitPromise": True}
        answer = self.send("Runtime.evaluate", **given)
        if "exceptionDetails" in answer:
            raise RuntimeError(answer["exceptionDetails"])
        return answer["result"].get("value")

    def wait(self, condition: str, within_s: float = 30) -> None:
        """Wait until an expression is true."""
        deadline = time.monotonic() + within_s
        while not self.run(condition):
            if time.monotonic() > deadline:
                raise TimeoutError(f"never true: {condition}")
            time.sleep(0.02)

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        """Send one event of the mouse: Moved, Pressed, Released or Wheel."""
        self.send("Input.dispatchMouseEvent", type=f"mouse{kind}", x=x, y=y, **more)

    def click(self, x: float, y: float) -> None:
        """Click a place of the page."""
        self.mouse("Moved", x, y)
        for kind in ("Pressed", "Released"):
            self.mouse(kind, x, y, button="left", clickCount=1)

    def key(self, name: str, shift: bool = False) -> None:
        """Press and let go a key, named as KeyboardEvent.key names it."""
        code, text = KEYS.get(name, (ord(name.upper()) if len(name) == 1 else 0, name))
        given = {"key": name, "windowsVirtualKeyCode": code, "modifiers": 8 if shift else 0}
        down = {"type": "keyDown", "text": text} if text else {"type": "rawKeyDown"}
        self.send("Input.dispatchKeyEvent", **given, **down)
        self.send("Input.dispatchKeyEvent", **given, type="keyUp")

    def write(self, text: str) -> None:
        """Write a text where the focus is."""
        self.send("Input.insertText", text=text)

    def picture(self, path: Path) -> None:
        """Write what the screen shows as PNG."""
        path.write_bytes(base64.b64decode(self.send("Page.captureScreenshot")["data"]))

    def paper(self, **how: Any) -> bytes:
        """Return the page as printed, a PDF."""
        given = {"printBackground": True, "preferCSSPageSize": True, **how}
        return base64.b64decode(self.send("Page.printToPDF", **given)["data"])

    def requests(self) -> list[str]:
        """Return the addresses that the page asked for, those that lie in itself left out."""
        sent = [one for one in self.events if one["method"] == "Network.requestWillBeSent"]
        addresses = [one["params"]["request"]["url"] for one in sent]
        return [one for one in addresses if not one.startswith(("data:", "about:"))]

    def complaints(self) -> list[str]:
        """Return errors and warnings that the page or the browser put on the console."""
        found = []
        for one in self.events:
            if one["method"] == "Runtime.consoleAPICalled" and one["params"]["type"] != "log":
                found.append(str(one["params"]["args"]))
            if one["method"] == "Log.entryAdded":
                found.append(f"{one['params']['entry']['level']}: {one['params']['entry']['text']}")
            if one["method"] == "Runtime.exceptionThrown":
                found.append(str(one["params"]["exceptionDetails"]))
        return found


@contextmanager
def browser(profile: Path) -> Iterator[Browser]:
    """Start a browser with an empty profile, and end it.

    Parameters
    ----------
    profile : Path
        An empty folder.
    """
    reads, to = os.pipe()
    back, writes = os.pipe()
    command = [program(), *FLAGS, f"--user-data-dir={profile}", "about:blank"]
    process = subprocess.Popen(
        [sys.executable, "-c", AS_3_AND_4, str(reads), str(writes), *command],
        pass_fds=(reads, writes),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(reads)
    os.close(writes)
    started = Browser(process, to, back)
    try:
        yield started
    finally:
        _end(started)


def _end(started: Browser) -> None:
    """Ask the browser to close, and end the process that was started where it doesn't."""
    started.session = None
    try:
        started.send("Browser.close", within_s=10)
        started.process.wait(timeout=10)
    except (TimeoutError, OSError, RuntimeError, ValueError, subprocess.TimeoutExpired):
        started.process.kill()
        started.process.wait()
    os.close(started.to)
    os.close(started.back)
