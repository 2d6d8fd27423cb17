"""The moment that is asked for: `10:42`, `10:42:30`, an ISO date and time, or `+12` minutes from the start."""

from datetime import UTC, datetime

from daemon.errors import UserError
from daemon.worksheet.points import clock_s

DAY_MS = 86_400_000


class When:
    """A moment in the data's own UTC. A clock time is its first coming after the data begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self._minutes: float | None = None
        self._clock_s: float | None = None
        self._utc_ms: int | None = None
        self._read(text.strip())

    def _read(self, text: str) -> None:
        try:
            if text.startswith("+"):
                self._minutes = float(text[1:])
            elif "T" in text or "-" in text:
                moment = datetime.fromisoformat(text)
                self._utc_ms = round((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp() * 1000)
            else:
                self._clock_s = clock_s(text)
        except (ValueError, UserError):
            raise UserError(f"--at {text!r}: write 10:42, 10:42:30, 2027-05-14T10:42:30Z or +12 (minutes)") from None

    def utc_ms(self, first_utc_ms: int) -> int:
        """The moment, for data that begins at a given one."""
        if self._utc_ms is None and self._minutes is not None:
            self._utc_ms = first_utc_ms + round(60_000 * self._minutes)
        elif self._utc_ms is None:
            assert self._clock_s is not None
            wanted = first_utc_ms // DAY_MS * DAY_MS + round(1000 * self._clock_s)
            self._utc_ms = wanted if wanted >= first_utc_ms else wanted + DAY_MS
        return self._utc_ms

    def has_come(self, utc_ms: int) -> bool:
        """Whether data of this moment is at or past it; the first call tells where the data begins."""
        return utc_ms >= self.utc_ms(utc_ms)
