"""A whole page in one HTML file that needs nothing else: no network, no fonts, no other file.

A content security policy in the page itself allows its own style and script, by their hashes, and nothing more: even a
text that got past escaping could load or run nothing.
"""

import base64
import hashlib
import json
from collections.abc import Sequence
from typing import Any

from daemon.pictures.drawing import DARK, LIGHT, style, variables


def paper(title: str, body: str, rules: str, script: str, moves: bool = True) -> str:
    """The file. `title` and `body` are escaped already; the script stands in it where it `moves`."""
    sheet = _style(rules)
    moving = f"<script>{script}</script>" if moves else ""
    policy = (
        f"default-src 'none'; style-src {_hash(sheet)}; script-src {_hash(script)}; base-uri 'none'; form-action 'none'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta name="color-scheme" content="light dark"><title>{title}</title><style>{sheet}</style></head>'
        f"<body>{body}{moving}</body></html>\n"
    )


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], kind: str = "", chosen: int | None = None) -> str:
    """A table of cells that are HTML already, one row of which may be the chosen one; it may scroll sideways."""
    head = "".join(f'<th scope="col">{one}</th>' for one in heads)
    body = ""
    for number, row in enumerate(rows):
        mark = ' class="chosen"' if number == chosen else ""
        body += f"<tr{mark}>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>"
    return f'<div class="wide"><table{kind}><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def data(name: str, value: Any) -> str:
    """Values for the page's script, as JSON that cannot end its own element."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c").replace("&", "\\u0026")
    return f'<script type="application/json" id="{name}">{text}</script>'


def _style(rules: str) -> str:
    light, dark = variables(LIGHT), variables(DARK)
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}{rules}{style()}"


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"
