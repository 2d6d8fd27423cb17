"""docs/alerts.md says what the code does."""

from alerts.settings import RULES
from tests.alerts.alert_tables import DOCUMENT, renewed


def test_the_tables_are_those_of_the_code() -> None:
    """State table, rules, conditions and identifiers are printed from the code's own tables."""
    text = DOCUMENT.read_text(encoding="utf-8")

    assert renewed(text) == text, "make them again: python -m tests.alerts.alert_tables"


def test_every_rule_is_in_them() -> None:
    text = DOCUMENT.read_text(encoding="utf-8")

    for rule in RULES:
        assert text.count(f"\n| `{rule}` |") >= 2, rule  # rules and identifiers
