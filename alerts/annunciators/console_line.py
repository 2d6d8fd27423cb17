"""A line on the terminal for each alert that is told; for a watch without a console."""

from collections.abc import Sequence
from typing import TextIO

from alerts.annunciators.face import AnnunciatorError, Telling, line_of
from alerts.notices import Notice


class ConsoleLine:
    """One line for each change of an alert, on a stream that needs no screen."""

    name = "console_line"

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def tell(self, batch: Sequence[Telling]) -> bool:
        try:
            for notice in batch:
                text = line_of(notice) if isinstance(notice, Notice) else f"alert command refused: {notice.reason}"
                # What cannot be shown here (a terminal that knows no degree sign) is shown as '?'.
                encoding = self._stream.encoding or "utf-8"
                self._stream.write(text.encode(encoding, "replace").decode(encoding) + "\n")
            self._stream.flush()
        except (OSError, ValueError) as error:
            raise AnnunciatorError(f"the terminal takes no more lines: {error}") from error
        return True

    def idle(self, now_s: float) -> None:
        """Nothing to do."""

    def close(self) -> None:
        """The stream is not ours."""
