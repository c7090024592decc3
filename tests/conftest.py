"""For pages and pictures: a browser over its pipe, and the contrast of two colours."""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PATIENCE_S = 120


class Browser:
    """Headless Chromium spoken to over file descriptors 3 and 4: messages are JSON, each ended by a zero byte."""

    def __init__(self, program: str, profile: Path) -> None:
        command_read, self._write = os.pipe()
        self._read, answer_write = os.pipe()

        def connect() -> None:
            # Both are lifted out of the way first: one of them may be 3 or 4 itself.
            lifted = os.dup2(command_read, 203), os.dup2(answer_write, 204)
            os.dup2(lifted[0], 3)
            os.dup2(lifted[1], 4)

        self._process = subprocess.Popen(
            [
                program, "--headless=new", "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
                "--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND",
                "--no-first-run", "--hide-scrollbars", "--disable-background-networking",
                f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank",
            ],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, close_fds=False, preexec_fn=connect,
        )  # fmt: skip
        os.close(command_read)
        os.close(answer_write)
        self._rest, self._number, self.events = b"", 0, []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = None
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    _session: str | None = None

    def ask(self, method: str, **parameters) -> dict:
        """Call a method of the DevTools protocol and wait for its answer."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer)
                return answer["result"]
            self.events.append(answer)

    def _next(self) -> dict:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._read], [], [], PATIENCE_S)
            assert ready, f"no answer from the browser within {PATIENCE_S} s"
            part = os.read(self._read, 1 << 20)
            assert part, "the browser ended"
            self._rest += part
        message, self._rest = self._rest.split(b"\0", 1)
        return json.loads(message)

    def show(self, page: Path, width: int, height: int = 900) -> None:
        """Load a page in a window of that width and wait for it."""
        self.events.clear()
        narrow = width < 700
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=2 if narrow else 1, mobile=narrow,
        )  # fmt: skip
        self.ask("Page.navigate", url=page.resolve().as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._next())

    def value(self, expression: str):
        """What an expression comes to in the page."""
        answer = self.ask("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def close(self) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._write)
        os.close(self._read)


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip("no Chromium here (Debian: apt install chromium)")
    opened = Browser(program, tmp_path_factory.mktemp("browser"))
    yield opened
    opened.close()


def luminance(colour: str) -> float:
    """Relative luminance of a hex colour as WCAG 2.1 defines it (its threshold 0.03928 is kept)."""
    coded = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in coded)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.fixture(scope="session")
def contrast() -> Callable[[str, str], float]:
    """Contrast ratio of two hex colours, WCAG 2.1: from 1 to 21."""

    def ratio(one: str, other: str) -> float:
        light, dark = sorted((luminance(one), luminance(other)), reverse=True)
        return (light + 0.05) / (dark + 0.05)

    return ratio
