"""The terminal's bell: as many strokes as the sound has tones."""

import threading
from collections.abc import Sequence
from typing import TextIO

from alerts.annunciators.face import AnnunciatorError, Telling, to_sound
from alerts.plotting.terms import Priority

STROKES = {Priority.ALARM: 3, Priority.WARNING: 2, Priority.CAUTION: 0}
APART_S = 0.3
"""Terminals swallow strokes that come faster."""


class Bell:
    """The terminal's bell: three strokes for an alarm, two for a warning, none for a caution."""

    name = "bell"

    def __init__(self, stream: TextIO, apart_s: float = APART_S) -> None:
        self._stream = stream
        self._apart_s = apart_s
        self._closed = threading.Event()

    def tell(self, batch: Sequence[Telling]) -> bool:
        notice = to_sound(batch)
        if notice is not None:
            self.ring(STROKES[notice.alert.priority])
        return notice is not None

    def ring(self, strokes: int) -> None:
        try:
            for stroke in range(strokes):
                if stroke:
                    self._closed.wait(self._apart_s)
                self._stream.write("\a")
                self._stream.flush()
        except (OSError, ValueError) as error:
            raise AnnunciatorError(f"the terminal cannot ring: {error}") from error

    def idle(self, now_s: float) -> None:
        """Nothing to do."""

    def close(self) -> None:
        self._closed.set()
