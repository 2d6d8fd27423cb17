"""The annunciators of a live watch, and the test of the alerting itself."""

import argparse
import sys
from collections.abc import Callable
from typing import TextIO

from alerts.annunciators import staff
from alerts.annunciators.desk import Desk
from alerts.annunciators.settings import Annunciators
from alerts.events import Instant, Moment
from daemon.clock import Clock, HostClock
from daemon.commands import shared
from daemon.config import load
from daemon.errors import CANNOT_OPEN, UserError


def open_desk(settings: Annunciators, clock: Clock, terminal: TextIO, *, console_is_open: bool) -> Desk:
    """Engage the annunciators that are on; what a person must know at once is said on the terminal."""
    try:
        engaged = staff.engage(settings, terminal, _seconds(clock), console_is_open=console_is_open)
    except ValueError as error:
        raise UserError(f"annunciators.sentences.uri: {error}") from error
    for warning in engaged.warnings:
        print(f"secondplot: WARNING: {warning}", file=terminal)
    return Desk(engaged.annunciators, _seconds(clock))


def _seconds(clock: Clock) -> Callable[[], float]:
    return clock.mono_s


def self_test(args: argparse.Namespace) -> int:
    """`watch --self-test`: one alert of each priority through every annunciator; which worked. Needs no feed.

    Exit code 0 where all work, 3 where one does not.
    """
    config = load(args.config, shared.overrides(args))
    clock = HostClock()
    desk = open_desk(config.annunciators, clock, sys.stderr, console_is_open=False)
    results = staff.self_test(desk, Moment(clock.mono_s(), Instant(clock.utc_ms())))
    desk.close()
    for line in staff.report(results):
        print(line)
    return CANNOT_OPEN if not results or any(one.problem for one in results) else 0
