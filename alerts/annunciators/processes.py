"""Running another program: without a shell, within a time, and with all that it started ended with it."""

import os
import signal
import subprocess
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from typing import IO

from alerts.annunciators.face import AnnunciatorError

WORDS_SHOWN = 160


def run(argv: Sequence[str], time_limit_s: float, stdin: bytes = b"") -> None:
    """Run a program to its end. Raises AnnunciatorError where it cannot be started, fails, or takes too long."""
    with tempfile.TemporaryFile() as said:  # a file, not a pipe: what it says may be long, and is mostly not read
        try:
            process = subprocess.Popen(  # noqa: S603  the user's own words, without a shell
                list(argv),
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=said,
                start_new_session=True,
            )
        except (OSError, ValueError) as error:
            raise AnnunciatorError(f"{argv[0]}: cannot be started: {error}") from error
        try:
            process.communicate(stdin, timeout=time_limit_s)
        except subprocess.TimeoutExpired:
            _end(process)
            raise AnnunciatorError(f"{argv[0]}: ended after {time_limit_s:g} s, its time limit") from None
        if process.returncode != 0:
            raise AnnunciatorError(f"{argv[0]}: failed with code {process.returncode}{_last_words(said)}")


def _last_words(said: IO[bytes]) -> str:
    """The last line of what it said: programs give their reason there, after their libraries' complaints."""
    said.seek(max(0, said.seek(0, os.SEEK_END) - 4 * WORDS_SHOWN))
    lines = said.read().decode("utf-8", "replace").strip().splitlines()
    words = " ".join(lines[-1].split()) if lines else ""
    shown = "".join(c for c in words if c.isprintable())[-WORDS_SHOWN:]
    return f": {shown}" if shown else ""


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the program and its children: they share a session of their own."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    if process.stdin is not None:
        with suppress(OSError):
            process.stdin.close()
    process.wait()
