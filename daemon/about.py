"""What this program is, for the archive, a debrief and `--version`."""

from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of


def program() -> str:
    """Name and installed version."""
    try:
        return f"secondplot {version_of('secondplot')}"
    except PackageNotFoundError:
        return "secondplot, run from its source"
