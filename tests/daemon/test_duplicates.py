"""The same sentence by two feeds is taken once, and no sentence is ever lost by it."""

from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.feeds.duplicates import MOST, Duplicates

HDT = "$HEHDT,123.4,T*2B"


def taken(duplicates: Duplicates, steps: list[tuple[str, float]], text: str = HDT) -> list[bool]:
    return [not duplicates.is_duplicate(feed, text, at_s) for feed, at_s in steps]


def test_two_feeds_with_the_same_sentences() -> None:
    """Each occurrence once, from whoever is first."""
    steps = [("serial", 0.0), ("mux", 0.1), ("serial", 1.0), ("mux", 1.1), ("mux", 2.0), ("serial", 2.1)]

    assert taken(Duplicates(), steps) == [True, False, True, False, True, False]


def test_one_feed_that_repeats_itself() -> None:
    """A steady heading ten times a second is ten sentences a second."""
    assert all(taken(Duplicates(), [("serial", number / 10) for number in range(50)]))


def test_the_second_feed_takes_over_at_once() -> None:
    """The first dies: the other's next sentence is taken, within no time."""
    steps = [("serial", 0.0), ("mux", 0.1), ("mux", 0.2), ("mux", 0.3)]

    assert taken(Duplicates(), steps) == [True, False, True, True]


def test_three_feeds() -> None:
    """Both copies go."""
    assert taken(Duplicates(), [("a", 0.0), ("b", 0.1), ("c", 0.2), ("a", 1.0)]) == [True, False, False, True]


def test_a_late_copy_is_a_sentence_of_its_own() -> None:
    """Outside the window nothing is taken for a copy."""
    assert taken(Duplicates(window_s=2.0), [("a", 0.0), ("b", 2.5)]) == [True, True]


def test_other_texts_are_left_alone() -> None:
    """One digit makes another sentence."""
    duplicates = Duplicates()

    assert not duplicates.is_duplicate("a", HDT, 0.0)
    assert not duplicates.is_duplicate("b", HDT.replace("3", "4"), 0.0)


def test_a_flood_of_different_texts_is_bounded() -> None:
    """A million different sentences in one window: at most MOST are remembered."""
    duplicates = Duplicates()
    for number in range(20_000):
        duplicates.is_duplicate("a", str(number), 0.0)

    assert len(duplicates) == MOST


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("xyz"), st.floats(0, 1)), max_size=60))
def test_every_occurrence_is_taken_from_somebody(steps: list[tuple[str, str, float]]) -> None:
    """For any traffic: of each text at least as many are taken as the busiest single feed has sent."""
    duplicates, at_s = Duplicates(), 0.0
    sent: dict[tuple[str, str], int] = {}
    accepted: dict[str, int] = {}
    for feed, text, pause_s in steps:
        at_s += pause_s
        sent[feed, text] = sent.get((feed, text), 0) + 1
        accepted[text] = accepted.get(text, 0) + (not duplicates.is_duplicate(feed, text, at_s))

    for (_, text), number in sent.items():
        assert accepted[text] >= number
