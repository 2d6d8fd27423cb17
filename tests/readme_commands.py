"""Prints one of the README's two set-up commands: `run` or `test`. CI runs what a newcomer is told to run.

Needs nothing but the standard library: it is used before anything is installed.
"""

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"


def commands() -> dict[str, str]:
    """The first command block after each of the headings that name them."""
    text = README.read_text(encoding="utf-8")
    found = re.findall(r"<!-- (run|test) -->\n```sh\n(.+?)\n```", text, flags=re.DOTALL)
    return dict(found)


if __name__ == "__main__":
    print(commands()[sys.argv[1]])
