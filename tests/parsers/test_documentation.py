"""docs/sentences.md says what the decoder does."""

import re
from pathlib import Path

from parsers.ais import LEAST_BITS
from parsers.decode import SENTENCES
from parsers.framing import LIMIT
from parsers.parts import AGE_S, KEPT
from parsers.text import NAME_LENGTH

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "sentences.md").read_text(encoding="utf-8")


def test_every_sentence_read_is_in_the_table_and_no_other() -> None:
    """By formatter, with the meaning that the decoder's own table gives."""
    table = PAGE.partition("## Sentences read")[2].partition("\n## ")[0]
    rows = dict(re.findall(r"^\| ([A-Z]{3}) \| ([^|]+) \|", table, re.MULTILINE))

    assert rows == {formatter: kind.meaning for formatter, kind in SENTENCES.items()}


def test_the_page_has_the_figures_of_the_code() -> None:
    """Limits and AIS types."""
    assert f"at most {LIMIT} bytes" in PAGE
    assert f"{NAME_LENGTH} characters are" in PAGE
    assert f"within {AGE_S:.0f} s, at most {KEPT} messages" in PAGE
    assert f"(types {', '.join(str(kind) for kind in sorted(LEAST_BITS))})" in PAGE
