"""What is named on the command line, as passages: files, folders of recordings, and the hours of one watch."""

import re
from collections.abc import Sequence
from pathlib import Path

from daemon.errors import CANNOT_OPEN, UserError

ENDINGS = (".nmea", ".nmea.gz", ".log", ".log.gz", ".txt", ".txt.gz")
"""Of a folder these are taken for recordings; a file that is named itself may be called as it likes."""

_HOUR = re.compile(r"secondplot-\d{4}-\d\d-\d\dT\d\dZ\.nmea(\.gz)?$")
"""What `watch --record` calls its files: the hours of one folder belong together."""


class Passage:
    """One passage: a name and its recordings in order."""

    def __init__(self, name: str, paths: Sequence[str]) -> None:
        self.name = name
        self.paths = tuple(paths)

    @property
    def size(self) -> int:
        """Bytes of all its files."""
        return sum(Path(path).stat().st_size for path in self.paths)


def passages_of(named: Sequence[str], joined: bool = False) -> list[Passage]:
    """Every passage, in the order named. `joined`: all that is named is one. Raises UserError for what is not there."""
    found: list[Passage] = []
    for name in named:
        path = Path(name)
        found.extend(_of_folder(path) if path.is_dir() else [Passage(path.name, (name,))])
    for passage in found:
        for file in passage.paths:
            if not Path(file).is_file():
                raise UserError(f"{file} cannot be read: there is no such file", CANNOT_OPEN)
    if joined:
        return [Passage(found[0].name, [path for passage in found for path in passage.paths])]
    return _told_apart(found)


def _of_folder(folder: Path) -> list[Passage]:
    files = sorted(path for path in folder.iterdir() if path.is_file() and path.name.endswith(ENDINGS))
    hours = [str(path) for path in files if _HOUR.search(path.name)]
    single = [path for path in files if not _HOUR.search(path.name)]
    found = [Passage(path.name, (str(path),)) for path in single]
    if hours:
        found.insert(0, Passage(folder.name or str(folder), hours))
    if not found:
        raise UserError(f"{folder} holds no recording (a file that ends in {', '.join(ENDINGS)})", CANNOT_OPEN)
    return found


def _told_apart(found: list[Passage]) -> list[Passage]:
    """Two files of one name go by their whole path; the same file twice is an error, for it would count twice."""
    paths = [path for passage in found for path in passage.paths]
    for path in paths:
        if sum(Path(path).samefile(other) for other in paths) > 1:
            raise UserError(f"{path} is named twice; every encounter in it would count twice")
    names = [passage.name for passage in found]
    for passage in found:
        if names.count(passage.name) > 1:
            passage.name = passage.paths[0]
    return found
