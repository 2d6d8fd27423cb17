"""What stands on the screen: the watchkeeper's questions answered, at any size, and nothing stale as a plain number."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs
from rich.cells import cell_len

from alerts.events import Alert, Note, OwnShip, Plot
from alerts.plotting.terms import AlertState, BearingTrend, Passing
from daemon import words
from daemon.console.board import Board, Snapshot
from daemon.console.keys import Keys, split
from daemon.console.lines import Limits, Look
from daemon.console.pages import HELP, help_page, page
from daemon.console.palette import ASCII, PALETTES, UNICODE
from daemon.console.state import Page, Prompt, View
from daemon.control import Request
from tests.daemon.contrasts import contrast
from tests.daemon.passages import FLEET, alert, board_after, moment, own_ship, passage

LIMITS = Limits("open water", 0.5, 12.0)


def snapshot_after(seconds: int, elapsed_s: float = 0.0) -> Snapshot:
    keys = frozenset(vessel.key for vessel in FLEET)
    return board_after(seconds).snapshot(elapsed_s, keys)


def view_of(snapshot: Snapshot, shown: Page = Page.WATCH) -> View:
    view = View(("open water", "coastal"))
    view.page, view.order = shown, list(snapshot.rows)
    return view


def look(width: int = 80, height: int = 24, palette: str = "day") -> Look:
    return Look(width, height, PALETTES[palette], UNICODE)


def text_of(snapshot: Snapshot, view: View | None = None, how: Look | None = None) -> str:
    return "\n".join(line.plain for line in page(snapshot, view or view_of(snapshot), LIMITS, how or look()))


class TestWatchPage:
    def test_it_answers_whether_anything_closes_on_a_steady_bearing(self) -> None:
        assert "STEADY BEARING, CLOSING: TEAL CPA 0.0" in text_of(snapshot_after(300))

    def test_it_says_how_many_were_judged_when_nothing_does(self) -> None:
        """A quiet answer carries what it rests on: how many were judged, how many could not be."""
        board = board_after(470)
        for name in ("radar-07", "radar-12"):
            del board._targets[name]
        snapshot = board.snapshot(0.0)

        assert "None of 2 judged closes steady or passes inside; 1 in doubt; 1 not updated." in text_of(snapshot)

    def test_a_quiet_answer_is_whole_at_any_width(self) -> None:
        """What could not be judged stands at its end: that must not be cut off."""
        board = board_after(470)
        for name in ("radar-07", "radar-12"):
            del board._targets[name]
        text = text_of(board.snapshot(0.0), how=look(40))

        said = "None of 2 judged closes steady or passes inside; 1 in doubt; 1 not updated."
        assert said in re.sub(r"\s+", " ", text)

    def test_an_urgent_answer_is_whole_at_any_width(self) -> None:
        board = board_after(300)
        plot = board._targets["radar-07"].plot
        board.take(moment(300), [structs.replace(plot, name="HERON OF THE MARSHES")])
        text = re.sub(r"\s+", " ", text_of(board.snapshot(0.0), how=look(60)))

        assert re.search(r"CLOSING: HERON OF THE MARSHES CPA 0\.\d\d NM in \d+\.\d min", text)

    def test_a_target_that_draws_but_passes_inside_the_limit_is_no_quiet_answer(self) -> None:
        """A drift that is certain but small takes nobody clear (Rule 7(d)(ii))."""
        board = board_after(300)
        plot = board._targets["radar-07"].plot
        drawing = structs.replace(plot, bearing_trend=BearingTrend.DRAWING_AHEAD, passing=Passing.AHEAD)
        board.take(moment(300), [drawing])

        assert "PASSES INSIDE THE LIMIT: TEAL CPA 0.0" in text_of(board.snapshot(0.0))

    def test_a_bearing_that_is_not_settled_is_not_called_steady(self) -> None:
        """A collision course is one by its CPA; how its bearing draws may not be known yet."""
        board = board_after(300)
        plot = board._targets["radar-07"].plot
        early = structs.replace(plot, bearing_trend=BearingTrend.UNSETTLED, passing=Passing.COLLISION_COURSE)
        board.take(moment(300), [early])
        text = text_of(board.snapshot(0.0))

        assert "COLLISION COURSE: TEAL CPA 0.0" in text
        assert "STEADY" not in text.splitlines()[3]

    def test_it_says_that_nothing_can_be_said_without_targets(self) -> None:
        board = Board()
        board.take(moment(0), [own_ship(0)])

        assert "nothing can be said" in text_of(board.snapshot(0.0))

    def test_no_figure_of_a_target_is_left_when_the_stream_stands_still(self) -> None:
        """After a minute without data no CPA stands on the screen, only where the targets were last."""
        text = text_of(snapshot_after(300, elapsed_s=60.0))

        assert "NO CURRENT TARGET DATA" in text
        assert text.count("NOT UPDATED") == len(FLEET)
        assert not re.search(r"\d\.\d\d–\d\.\d\d", text)

    def test_a_value_that_grew_old_is_a_word(self) -> None:
        text = text_of(snapshot_after(300, elapsed_s=15.0))

        assert "HDG STALE 15 s" in text
        assert "HDG 045°T" not in text

    def test_a_missing_sensor_is_a_word(self) -> None:
        board = Board()
        board.take(moment(0), [OwnShip(time=moment(0).time, sog_age_s=40.0)])
        text = text_of(board.snapshot(0.0))

        assert "HDG none" in text
        assert "SOG LOST 40 s" in text

    def test_a_settling_target_has_dashes(self) -> None:
        text = text_of(snapshot_after(20))
        row = next(line for line in text.splitlines() if "radar-03" in line)

        assert "unsettled" in row
        assert not re.search(r"\d\.\d\d–", row)

    def test_an_unacknowledged_alert_stands_first_and_whole(self) -> None:
        lines = text_of(snapshot_after(470)).splitlines()
        at = next(i for i, line in enumerate(lines) if line.startswith("── alerts"))

        assert lines[at + 1].startswith("WARNING not ack'd 08:07:30 radar-15 lost for 30 s")
        assert lines[at + 2].startswith("ALARM   ack'd     08:05:00 "), "the time at which its figures were true"

    def test_ages_and_units_stand_beside_the_numbers(self) -> None:
        text = text_of(snapshot_after(300))

        assert "HDG 045°T 0.1 s" in text
        assert "SOG 8.0 kn 0.6 s" in text
        assert "CPA 0.5 NM, TCPA 12 min" in text

    def test_what_is_cut_of_an_alert_is_seen_to_be_cut(self) -> None:
        board = board_after(470)
        state = AlertState.ACTIVE_UNACKNOWLEDGED
        board.take(moment(470), [alert(470, number, None, "long " * 40, state, "feed_silent") for number in (91, 92)])

        assert text_of(board.snapshot(0.0)).count("long …") == 2

    def test_what_is_cut_of_any_line_is_seen_to_be_cut(self) -> None:
        """A note, the feeds, a name: what has no room ends in a mark, in ASCII too."""
        board = board_after(470)
        board.take(moment(471), [Note(time=moment(471).time, text="word " * 40, author="skipper")])
        snapshot = board.snapshot(0.0)

        assert next(one for one in text_of(snapshot).splitlines() if one.startswith("Note ")).endswith("…")
        ascii_text = text_of(snapshot, how=Look(80, 24, PALETTES["day"], ASCII))
        assert next(one for one in ascii_text.splitlines() if one.startswith("Note ")).endswith("~")

    def test_two_long_names_are_not_cut_to_the_same_whole_name(self) -> None:
        """A cut name shows its cut, and a wide screen has room for the whole."""
        board = board_after(300)
        for key, name in (("radar-03", "GREY SHANK I"), ("radar-11", "GREY SHANK II")):
            board.take(moment(300), [structs.replace(board._targets[key].plot, name=name)])
        snapshot = board.snapshot(0.0)
        table = text_of(snapshot).split("bearing is")[1].split("\nmin ")[0]
        wide = text_of(snapshot, how=look(100))

        assert table.count("GREY SHAN… ") == 2
        assert "GREY SHANK I  " in wide
        assert "GREY SHANK II " in wide

    def test_a_narrow_screen_keeps_the_side_on_which_a_target_passes(self) -> None:
        """Bearing, CPA, TCPA and side stand whole on 60 columns; the limits and the set's answer stand on the page."""
        lines = text_of(snapshot_after(300), how=look(60, 20)).splitlines()
        head = next(one for one in lines if "bearing is" in one)

        assert head.split() == ["target", "brg", "rng", "NM", "bearing", "is", "CPA", "NM", "in", "min", "passes"]
        assert re.search(r"TEAL +\d{3}°T .*(collision|ahead|astern)", "\n".join(lines))

    @pytest.mark.parametrize("width", [60, 72, 80, 120])
    def test_the_caution_stands_whole_at_the_top(self, width: int) -> None:
        """Under a long condition's name as well."""
        limits = Limits("restricted visibility", 1.25, 20.0)
        snapshot = snapshot_after(300)
        lines = [one.plain for one in page(snapshot, view_of(snapshot), limits, look(width))]

        assert any("aid to look-out only" in one for one in lines[:5])
        assert any("restricted visibility: CPA 1.25 NM, TCPA 20 min" in one for one in lines[:2])

    def test_a_target_whose_alarm_is_over_is_not_marked_as_an_alarm(self) -> None:
        """It waits to be acknowledged; its line is no red bar beside those that still hold."""
        board = board_after(300)
        for event in (alert(301, number, "radar-11", "x", AlertState.RECTIFIED_UNACKNOWLEDGED, rule)
                      for number, rule in ((50, "closest_approach"), (51, "steady_bearing"))):  # fmt: skip
            board.take(moment(301), [event])
        text = text_of(board.snapshot(0.0))

        assert re.search(r"^\? radar-11", text, re.M)
        assert re.search(r"^ALARM   over ack\?", text, re.M)

    def test_no_target_that_an_alert_holds_gives_its_line_to_a_drift_strip(self) -> None:
        """Five held targets and more on 80 x 24: all five are seen, with no key pressed."""
        board = board_after(300)
        for number in range(20):
            named = structs.replace(board._targets["radar-11"].plot, target=f"radar-{number + 40}")
            board.take(moment(300), [named])
        names = [f"radar-{number}" for number in range(40, 45)]
        state = AlertState.ACTIVE_UNACKNOWLEDGED
        for number, name in enumerate(names):
            board.take(moment(300), [alert(300, 60 + number, name, "x", state, "closest_approach")])
        snapshot = board.snapshot(0.0)
        view = view_of(snapshot)
        view.order = [*names, *[key for key in snapshot.rows if key not in names]]

        assert all(re.search(f"^! {name} ", text_of(snapshot, view), re.M) for name in names)

    def test_the_cautions_are_whole_on_a_narrow_screen(self) -> None:
        snapshot = snapshot_after(1)
        said = re.sub(r"\s+", " ", text_of(snapshot, view_of(snapshot, Page.CAUTIONS), look(40, 20)))

        assert all(caution in said for caution in words.CAUTIONS)

    def test_an_alarm_told_as_lost_is_not_read_as_lost_when_the_target_is_seen_again(self) -> None:
        """The line of the target and that of its alarm stand on one screen: they must not contradict each other."""
        board = board_after(300)
        raised = alert(300, 70, "radar-07", "radar-07: LOST, last known CPA 0.09 NM", AlertState.ACTIVE_UNACKNOWLEDGED,
                       "closest_approach")  # fmt: skip
        board.take(moment(300), [structs.replace(raised, values={"lost": True})])

        assert "radar-07: SEEN AGAIN, had been LOST" in text_of(board.snapshot(0.0))
        assert "radar-07: LOST, last known" in text_of(board.snapshot(60.0))

    def test_the_bottom_line_names_the_keys_that_work_there(self) -> None:
        snapshot = snapshot_after(300)

        assert text_of(snapshot).splitlines()[-1].endswith("q end")
        assert text_of(snapshot, view_of(snapshot, Page.HELP)).splitlines()[-1] == "Any key goes back to the targets."

    def test_a_settled_track_is_not_to_be_read_as_a_steady_bearing(self) -> None:
        snapshot = snapshot_after(300)
        view = view_of(snapshot, Page.TARGET)
        view.chosen = "radar-07"

        assert "track settled, " in text_of(snapshot, view)
        assert "NOT UPDATED, " in text_of(snapshot_after(300, elapsed_s=60.0), view)

    def test_the_cause_of_a_difference_is_read_to_its_end(self) -> None:
        board = board_after(300)
        cause = "both targets' reported motion differs from ours by the same 2.4 kn toward 273°T, along our heading: "
        cause += "the set's speed input looks 2.4 kn too low"
        board.take(moment(300), [structs.replace(board._targets["radar-07"].plot, check_cause=cause)])
        snapshot = board.snapshot(0.0)
        view = view_of(snapshot, Page.TARGET)
        view.chosen = "radar-07"

        assert cause in re.sub(r"\s+", " ", text_of(snapshot, view))

    def test_a_small_page_of_a_target_keeps_its_alerts(self) -> None:
        snapshot = snapshot_after(300)
        view = view_of(snapshot, Page.TARGET)
        view.chosen = "radar-07"

        assert "ALARM" in text_of(snapshot, view, look(60, 12))


class TestAnySize:
    @settings(max_examples=60, derandomize=True, deadline=None)
    @given(st.integers(20, 200), st.integers(4, 70), st.sampled_from(list(Page)), st.sampled_from([30, 470]))
    def test_a_page_is_as_many_lines_as_the_terminal_and_none_is_too_wide(
        self, width: int, height: int, shown: Page, seconds: int
    ) -> None:
        snapshot = snapshot_after(seconds)
        view = view_of(snapshot, shown)
        view.chosen = "radar-07"
        lines = page(snapshot, view, LIMITS, look(width, height))

        assert len(lines) == height
        assert max(cell_len(line.plain) for line in lines) <= width

    @pytest.mark.parametrize("palette", PALETTES)
    def test_every_palette_says_the_same(self, palette: str) -> None:
        """Nothing is told by colour alone: the words do not depend on the palette."""
        snapshot = snapshot_after(470)

        assert text_of(snapshot, how=look(palette=palette)) == text_of(snapshot)

    def test_a_terminal_that_knows_ascii_only_gets_ascii_only(self) -> None:
        text = text_of(snapshot_after(470), how=Look(80, 24, PALETTES["monochrome"], ASCII))

        assert text.isascii()
        assert "072 T" in text
        assert "POS 50 36.74'N" in text

    def test_the_night_palette_has_no_colour_but_red(self) -> None:
        """Every colour of it has more red than twice its green or blue, so that night sight is kept."""
        for role in ("text", "faint", "title", "good", "stale", "alarm", "warning", "caution", "chosen"):
            style = PALETTES["night"].style(role)
            for colour in (style.color, style.bgcolor):
                assert colour is not None and colour.triplet is not None
                red, green, blue = colour.triplet
                assert red >= 2 * max(green, blue)

    def test_the_night_palette_can_be_read(self) -> None:
        """Dim, but no word is lost in the dark: twice the luminance of its ground at least (WCAG's ratio, half of what
        it asks of large letters; no source for a dark-adapted eye)."""
        for role in ("text", "faint", "title", "good", "stale", "alarm", "warning", "caution", "chosen"):
            style = PALETTES["night"].style(role)
            assert style.color is not None and style.color.triplet is not None
            assert style.bgcolor is not None and style.bgcolor.triplet is not None

            assert contrast(style.color.triplet.hex, style.bgcolor.triplet.hex) >= 2.0, role

    def test_no_data_is_as_loud_as_a_warning(self) -> None:
        """The first line must not whisper that nothing can be said."""
        snapshot = snapshot_after(300, elapsed_s=60.0)
        first = next(one for one in page(snapshot, view_of(snapshot), LIMITS, look()) if "NO CURRENT" in one.plain)

        assert first.spans[0].style == PALETTES["day"].style("warning")


class TestHostileText:
    HOSTILE = "\x1b[2J\x1b]0;x\x07[bold]A\u202eB\u0301\u0301\u0301\u0301\r\n\x00"

    def test_a_hostile_name_is_harmless(self) -> None:
        """Escapes, markup, direction overrides and line ends from the wire reach the screen as question marks."""
        board = board_after(300)
        now, events = next((m, e) for m, e in passage(301) if any(isinstance(x, Plot) for x in e))
        plot = next(event for event in events if isinstance(event, Plot))
        board.take(now, [structs.replace(plot, name=self.HOSTILE, check_cause=self.HOSTILE)])
        board.take(now, [alert(300, 9, None, self.HOSTILE, AlertState.ACTIVE_UNACKNOWLEDGED, "cross_check")])
        text = text_of(board.snapshot(0.0, frozenset([plot.target])))

        assert all(character.isprintable() or character == "\n" for character in text)
        assert len(text.splitlines()) == 24

    def test_no_letter_carries_a_pile_of_marks(self) -> None:
        """A hundred marks on one letter would climb over the alerts above; two are what writing needs."""
        assert words.clean("A" + "\u0301" * 100 + "B", 200) == "A\u0301\u0301B"

    def test_clean_keeps_what_people_write(self) -> None:
        assert words.clean("  SØLVFISK II – 東風 ") == "SØLVFISK II – 東風"
        assert words.clean("é" * 10, 10) == "é" * 10

    def test_clean_marks_what_it_cuts(self) -> None:
        """Half a number is another number: 'CPA 0.40' cut from 'CPA 0.40 NM in 3.0 min' must not read as whole."""
        assert words.clean("é" * 100, 10) == "é" * 9 + "…"


class TestKeys:
    def pressed(self, data: bytes, view: View) -> list[Request]:
        asked: list[Request] = []
        keys = Keys(view, asked.append, "day")
        for key in split(data):
            keys.press(key)
        return asked

    def test_acknowledge_names_the_alert_that_stood_on_the_screen(self) -> None:
        snapshot = snapshot_after(300)
        view = view_of(snapshot)
        view.first_alert = 7

        assert self.pressed(b"a", view) == [Request("ack", id=7)]

    def test_a_note_is_typed_mended_and_sent(self) -> None:
        snapshot = snapshot_after(300)

        assert self.pressed("nregn påx\x7f!\r".encode(), view_of(snapshot)) == [Request("note", text="regn på!")]

    def test_escape_gives_a_note_up(self) -> None:
        snapshot = snapshot_after(300)

        assert self.pressed(b"nrain\x1b", view_of(snapshot)) == []

    def test_a_condition_is_chosen_by_its_number(self) -> None:
        snapshot = snapshot_after(300)

        assert self.pressed(b"c2", view_of(snapshot)) == [Request("condition", text="coastal")]
        assert self.pressed(b"c9", view_of(snapshot)) == []

    def test_quitting_asks_first(self) -> None:
        snapshot = snapshot_after(300)

        assert self.pressed(b"qn", view_of(snapshot)) == []
        assert self.pressed(b"qy", view_of(snapshot)) == [Request("quit")]

    def test_arrows_choose_and_enter_opens(self) -> None:
        """Both forms of the arrow keys, and a sequence we do not know in between, which is dropped whole."""
        snapshot = snapshot_after(300)
        view = view_of(snapshot)
        self.pressed(b"\x1b[B\x1b[1;5C\x1bOB\r", view)

        assert view.chosen == view.order[1]
        assert view.page is Page.TARGET

    @settings(max_examples=100, derandomize=True, deadline=None)
    @given(st.binary(max_size=60))
    def test_no_bytes_from_a_terminal_break_it(self, data: bytes) -> None:
        snapshot = snapshot_after(1)
        view = view_of(snapshot)
        asked = self.pressed(data, view)

        assert all(request.verb in {"ack", "silence", "note", "condition", "quit"} for request in asked)
        assert view.prompt in Prompt


def test_an_alert_event_for_every_state_has_a_line() -> None:
    for state in AlertState:
        board = Board()
        raised: Alert = alert(0, 1, "radar-07", "text", state, "closest_approach")
        board.take(moment(0), [raised])

        assert ("ALARM" in text_of(board.snapshot(0.0))) is (state is not AlertState.NORMAL)


def test_no_line_of_the_help_is_cut_at_80_columns() -> None:
    """What a key or word means is read at its end as well."""
    lines = [line.plain for line in help_page(look())]

    for key, what in HELP:
        assert any(line.endswith(what) for line in lines if line.strip().startswith(key)), what
