"""docs/alerts.md leaves no rule out."""

from alerts.settings import RULES
from docs.alert_tables import DOCUMENT


def test_every_rule_is_in_its_tables() -> None:
    """In that of the rules and in that of the identifiers, at least."""
    text = DOCUMENT.read_text(encoding="utf-8")

    for rule in RULES:
        assert text.count(f"\n| `{rule}` |") >= 2, rule
