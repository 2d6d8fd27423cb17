"""A page as a browser shows it: headless Chromium, with a profile of its own."""

import html
import re
import shutil
import subprocess
from pathlib import Path

from msgspec import Struct

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


class Seen(Struct):
    """A page as the browser left it: its elements after the script ran, and what the browser complained of."""

    dom: str
    complaints: list[str]

    def text(self, pattern: str) -> str:
        found = re.search(pattern, self.dom, re.DOTALL)
        assert found, pattern
        return html.unescape(re.sub(r"<[^>]+>", " ", found.group(1)))


def browse(file: Path, profile: Path) -> Seen:
    assert CHROMIUM is not None
    words = [
        CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        f"--user-data-dir={profile}", "--enable-logging=stderr", "--v=0", "--virtual-time-budget=2000",
        "--dump-dom", file.as_uri(),
    ]  # fmt: skip
    done = subprocess.run(words, capture_output=True, text=True, timeout=90, check=True)
    return Seen(done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line])
