"""`secondplot bench`: alert limits swept over recordings, judged against what really happened."""

import argparse
from pathlib import Path

from daemon.commands import shared

HELP = """Tries alert limits on recordings and says what each setting would have cost and caught: warning time before
close passes, misses, nuisance alerts, time in alarm. Recommends one for a stated wish, or says that none does.

examples:
  secondplot bench recordings/late-turn.nmea.gz --sweep cpa_nm=0.2:1.5:0.1 --sweep tcpa_min=6:24:2
  secondplot bench passage.nmea --at-least-warning 10min --at-most-nuisance 1/h
  secondplot bench passage.nmea --sweep basis=recomputed,reported --sweep probability=0.3,0.5,0.8"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="a recording, an archive, or a folder of them; the hours that `watch --record` wrote are one passage",
    )
    sweep = parser.add_argument_group("what is tried")
    sweep.add_argument(
        "--sweep",
        action="append",
        default=[],
        metavar="KEY=VALUES",
        help="FROM:TO:STEP or a list, repeatable; cpa_nm in all conditions, conditions.harbour.cpa_nm in one,"
        " alerts.RULE.KEY of a rule",
    )
    sweep.add_argument("--rule", action="append", default=[], metavar="RULE", help="judge the alerts of this rule")
    judged = parser.add_argument_group("how it is judged")
    judged.add_argument("--close", type=float, metavar="NM", help="a close pass (default: the condition's CPA limit)")
    judged.add_argument("--within", type=float, metavar="NM", help="encounters within this range (default: 2 NM)")
    judged.add_argument("--late", default="5min", metavar="TIME", help="a shorter warning is late (5min)")
    judged.add_argument(
        "--truth", choices=("exercise", "hindsight"), help="default: an exercise's truth where there is one"
    )
    judged.add_argument(
        "--resample", dest="draw", choices=("encounters", "passages"), help="what the confidence limits draw again"
    )
    judged.add_argument("--seed", type=int, default=20, metavar="N", help="of those draws")
    asked = parser.add_argument_group("what is asked")
    asked.add_argument("--at-least-warning", metavar="TIME", help="nine close passes in ten have it, e.g. 10min")
    asked.add_argument("--at-most-nuisance", metavar="RATE", help="nuisance alerts, e.g. 1/h")
    asked.add_argument("--compare", nargs=2, metavar="SETTING", help="two settings, e.g. 'cpa_nm=0.5,tcpa_min=12'")
    told = parser.add_argument_group("answer")
    told.add_argument("--all", action="store_true", help="every setting in the table, not the best alone")
    told.add_argument("--csv", type=Path, metavar="PATH", help="every setting's figures as CSV")
    told.add_argument("--html", type=Path, metavar="PATH", help="a page with maps and encounters, to be opened offline")
    told.add_argument("--json", action="store_true", help="everything as one JSON object")
    told.add_argument("--quiet", action="store_true", help="no table and no progress")
    how = parser.add_argument_group("reading")
    how.add_argument("--joined", action="store_true", help="all that is named is one passage, in this order")
    how.add_argument("--workers", type=int, metavar="N", help="processes (default: one for each core)")
    how.add_argument("--scheduler", metavar="ADDRESS", help="a Dask cluster's workers; they must see the same files")
    shared.add_reading(parser)
    shared.add_settings(parser)


def run(args: argparse.Namespace) -> int:
    from daemon.bench.making import make

    return make(args)
