"""Sound: tone patterns, played by a player that is found on this machine."""

import shlex
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from alerts.annunciators import processes, tones
from alerts.annunciators.bell import STROKES, Bell
from alerts.annunciators.face import AnnunciatorError, Telling, to_sound
from alerts.annunciators.settings import Sound as SoundSettings
from alerts.plotting.terms import Priority

PLAYERS: tuple[tuple[str, ...], ...] = (
    # General-purpose players, those first that share the card with other programs.
    ("pw-play",),
    ("paplay",),
    ("aplay", "-q"),
    ("afplay",),
    ("play", "-q"),
)

NO_PLAYER = (
    "no sound player found on this machine (looked for "
    + ", ".join(player[0] for player in PLAYERS)
    + "); the bell rings instead. Install one, or name your own in annunciators.sound.command"
)


def find_player(command: str, which: Callable[[str], str | None] = shutil.which) -> tuple[str, ...]:
    """The player's words, ready for a file's name; empty where there is none. Your own command must exist, too."""
    candidates = PLAYERS if command == "auto" else (tuple(shlex.split(command)),)
    for player in candidates:
        if player and (path := which(player[0])):
            return (path, *player[1:])
    return ()


class Sound:
    """Plays the most urgent of what is to be heard. When it cannot, it says so and the bell rings instead."""

    name = "sound"

    def __init__(self, settings: SoundSettings, bell: Bell) -> None:
        self._settings = settings
        self._bell = bell
        self._folder = tempfile.TemporaryDirectory(prefix="secondplot-sound-")
        self._files: dict[Priority, Path] = {}
        self.player = find_player(settings.command)
        for priority in Priority:
            pattern = tones.pattern_of(priority, settings)
            if pattern is not None:
                path = Path(self._folder.name) / f"{priority}.wav"
                path.write_bytes(tones.wav_of(tones.samples_of(pattern, settings.volume)))
                self._files[priority] = path

    @property
    def warning(self) -> str:
        """What a person must know at the start; empty when a player was found."""
        if self.player:
            return ""
        if self._settings.command == "auto":
            return NO_PLAYER
        return f"annunciators.sound.command: {self._settings.command!r} is not found; the bell rings instead"

    def tell(self, batch: Sequence[Telling]) -> bool:
        notice = to_sound(batch)
        if notice is None or notice.alert.priority not in self._files:
            return False
        try:
            self._play(self._files[notice.alert.priority])
        except AnnunciatorError:
            self._bell.ring(STROKES[notice.alert.priority])
            raise
        return True

    def _play(self, path: Path) -> None:
        if not self.player:
            raise AnnunciatorError(self.warning)
        try:
            processes.run([*self.player, str(path)], self._settings.time_limit_s)
        except AnnunciatorError as error:
            raise AnnunciatorError(f"no sound, the bell rings instead; {error}") from error

    def idle(self, now_s: float) -> None:
        """Nothing to do."""

    def close(self) -> None:
        self._folder.cleanup()
