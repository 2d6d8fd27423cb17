"""Long recordings for benchmarks, made once by the exercise and kept in the folder for temporary files."""

import tempfile
from pathlib import Path

from daemon.exercise.generate import write
from daemon.exercise.traffic import long_passage

FOLDER = Path(tempfile.gettempdir()) / "secondplot-benchmarks"


def recording(hours: float, targets: int) -> Path:
    """Own ship at 12 sentences a second and so many targets at one TTM each 2.5 s. The same bytes each time."""
    path = FOLDER / f"{hours:g}-hours-{targets}-targets.nmea"
    if not path.exists():
        FOLDER.mkdir(exist_ok=True)
        unfinished = path.with_suffix(".unfinished")
        write(long_passage(hours, targets), unfinished)
        unfinished.rename(path)
    return path
