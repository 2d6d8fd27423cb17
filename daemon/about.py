"""What this program is, for the archive and `--version`."""

from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of


def version() -> str:
    """The installed version; `uninstalled` where the program runs from a bare checkout."""
    try:
        return version_of("secondplot")
    except PackageNotFoundError:
        return "uninstalled"
