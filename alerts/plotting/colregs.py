"""What the rules of an encounter say, by number: the geometry's text for the debrief and the target page.

Paraphrased, never an order. The vessels' duties are the rules'; that a target is power-driven, under way and not
hampered is what no radar shows.
"""

from alerts.plotting.terms import Encounter

# Paraphrased from the text in 33 CFR part 83 (same numbering as the international rules).
_IN_SIGHT = "between power-driven vessels in sight of one another; Rules 9, 10, 12 and 18 may change it"
_RULES: dict[Encounter, tuple[str, str]] = {
    Encounter.HEAD_ON: (
        "14(a)",
        "power-driven vessels meeting on reciprocal or nearly reciprocal courses with risk of collision each alter to "
        "starboard, so that each passes on the port side of the other",
    ),
    Encounter.IN_DOUBT_HEAD_ON: (
        "14(c)",
        "a vessel in any doubt whether a head-on situation exists assumes that it does: each then alters to starboard",
    ),
    Encounter.CROSSING_FROM_STARBOARD: (
        "15",
        "the target is on our starboard side; of two crossing with risk of collision, the vessel which has the other "
        "on her own starboard side keeps out of the way and, if the case admits, avoids crossing ahead "
        "(give-way: Rule 16)",
    ),
    Encounter.CROSSING_FROM_PORT: (
        "15",
        "the target is on our port side; of two crossing with risk of collision, the vessel which has the other on her "
        "own starboard side keeps out of the way, and the other keeps her course and speed, and acts when the give-way "
        "vessel does not (stand-on: Rule 17; not to port for a vessel on her own port side, 17(c))",
    ),
    Encounter.OVERTAKING_US: (
        "13(a), (b)",
        "the target comes up from more than 22.5° abaft our beam; the overtaking vessel keeps out of the way until "
        "past and clear (13(d)), and the other keeps her course and speed (stand-on: Rule 17)",
    ),
    Encounter.BEING_OVERTAKEN: (
        "13(a), (b)",
        "we come up on the target from more than 22.5° abaft her beam; the overtaking vessel keeps out of the way "
        "until past and clear (13(d)) (give-way: Rule 16)",
    ),
    Encounter.IN_DOUBT_OVERTAKING: (
        "13(c)",
        "a vessel in any doubt whether she is overtaking another assumes that she is, and keeps out of the way",
    ),
    Encounter.RULE_19_FORWARD: (
        "19(d)(i)",
        "detected by radar alone, forward of the beam, with close quarters or risk of collision: action in ample time, "
        "and an alteration to port is avoided so far as possible; no vessel stands on. 19(e): where close quarters "
        "forward of the beam cannot be avoided, least speed at which she keeps her course, or all way off",
    ),
    Encounter.RULE_19_OVERTAKEN: (
        "19(d)(i)",
        "detected by radar alone and being overtaken: the avoidance of an alteration to port does not extend to her; "
        "action in ample time; no vessel stands on",
    ),
    Encounter.RULE_19_ABAFT: (
        "19(d)(ii)",
        "detected by radar alone, abeam or abaft the beam, with close quarters or risk of collision: action in ample "
        "time, and an alteration towards her is avoided so far as possible; no vessel stands on",
    ),
}


def rule_number(encounter: Encounter) -> str | None:
    """The rule whose geometry the word is, e.g. "14(a)"; None where no rule of encounters applies."""
    entry = _RULES.get(encounter)
    return entry[0] if entry else None


def rule_text(encounter: Encounter) -> str | None:
    """The rule by number and what it says of this geometry, for debrief and target page; never an order.

    None for a target that is stationary, opening or unsettled.
    """
    entry = _RULES.get(encounter)
    if entry is None:
        return None
    number, text = entry
    in_sight = "" if number.startswith("19") else f" ({_IN_SIGHT})"
    return f"Rule {number}: {text}{in_sight}."
