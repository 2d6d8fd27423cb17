"""What is named on the command line, as passages: files, folders, the hours of one watch, archives."""

import re
from collections.abc import Sequence
from pathlib import Path

from daemon.debrief.making import is_archive
from daemon.errors import CANNOT_OPEN, UserError
from daemon.sinks.archive_reader import ArchiveReader

ENDINGS = (".nmea", ".nmea.gz", ".log", ".log.gz", ".txt", ".txt.gz")
"""Of a folder these are taken for recordings; a file that is named itself may be called as it likes."""

_HOUR = re.compile(r"secondplot-\d{4}-\d\d-\d\dT\d\dZ\.nmea(\.gz)?$")
"""What `watch --record` calls its files: the hours of one folder belong together."""


class Passage:
    """One passage: a name and its recordings in order, or an archive and which passage of it."""

    def __init__(self, name: str, paths: Sequence[str], passage_id: int | None = None) -> None:
        self.name = name
        self.paths = tuple(paths)
        self.passage_id = passage_id

    @property
    def size(self) -> int:
        """Bytes of all its files."""
        return sum(Path(path).stat().st_size for path in self.paths)


def passages_of(named: Sequence[str], joined: bool = False) -> list[Passage]:
    """Every passage, in the order named. `joined`: all that is named is one. Raises UserError for what is not there."""
    found: list[Passage] = []
    for name in named:
        path = Path(name)
        if path.is_dir():
            found.extend(_of_folder(path))
        elif is_archive(name):
            found.extend(_of_archive(path))
        else:
            found.append(Passage(path.name, (name,)))
    for passage in found:
        for file in passage.paths:
            if not Path(file).is_file():
                raise UserError(f"{file} cannot be read: there is no such file", CANNOT_OPEN)
    if joined and any(passage.passage_id is not None for passage in found):
        raise UserError("--joined is for recordings: the passages of an archive are told apart already")
    if joined:
        return [Passage(found[0].name, [path for passage in found for path in passage.paths])]
    return _told_apart(found)


def _of_folder(folder: Path) -> list[Passage]:
    files = sorted(path for path in folder.iterdir() if path.is_file() and path.name.endswith(ENDINGS))
    hours = [str(path) for path in files if _HOUR.search(path.name)]
    single = [path for path in files if not _HOUR.search(path.name)]
    found = [Passage(path.name, (str(path),)) for path in single]
    for path in sorted(path for path in folder.iterdir() if path.is_file() and is_archive(str(path))):
        found.extend(_of_archive(path))
    if hours:
        found.insert(0, Passage(folder.name or str(folder), hours))
    if not found:
        raise UserError(f"{folder} holds no recording (a file that ends in {', '.join(ENDINGS)})", CANNOT_OPEN)
    return found


def _of_archive(path: Path) -> list[Passage]:
    with ArchiveReader(path) as reader:
        rows = reader.passages()
    if not rows:
        raise UserError(f"{path} holds no passage yet", CANNOT_OPEN)
    return [Passage(f"{path.name}, passage {row.passage_id}", (str(path),), row.passage_id) for row in rows]


def _told_apart(found: list[Passage]) -> list[Passage]:
    """Two files of one name go by their whole path; the same file twice is an error, for it would count twice."""
    named = [(path, passage.passage_id) for passage in found for path in passage.paths]
    for path, number in named:
        if sum(number == another and Path(path).samefile(other) for other, another in named) > 1:
            raise UserError(f"{path} is named twice; every encounter in it would count twice")
    names = [passage.name for passage in found]
    for passage in found:
        if names.count(passage.name) > 1:
            passage.name = passage.paths[0]
    return found
