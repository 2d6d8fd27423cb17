"""Measure the method: print every figure beside its bound, and write the table into docs/method.md.

python -m tests.benchmarks.motion                  all figures, full runs (some minutes)
python -m tests.benchmarks.motion imo --share 0.1  one figure, a tenth of the runs
python -m tests.benchmarks.motion --write          all figures, and docs/method.md with its pictures anew
"""

import argparse
import sys

from tests.benchmarks.motion.figures import ALL
from tests.benchmarks.motion.report import line, write


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.motion", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("figures", nargs="*", metavar="FIGURE", help=f"which: {', '.join(ALL)} (default: all)")
    parser.add_argument("--share", type=float, default=1.0, help="share of the full number of runs (default 1)")
    parser.add_argument("--write", action="store_true", help="write docs/method.md (needs all figures)")
    args = parser.parse_args()
    unknown = set(args.figures) - set(ALL)
    if unknown or (args.write and args.figures):
        parser.error(f"no such figure: {', '.join(sorted(unknown))}" if unknown else "--write takes all figures")
    measured = []
    for name in args.figures or ALL:
        measure, runs = ALL[name]
        for figure in measure(max(20, int(runs * args.share))):
            print(line(figure), flush=True)
            measured.append(figure)
    if args.write:
        write(measured, args.share)
    return 1 if any(figure.met is False for figure in measured) else 0


if __name__ == "__main__":
    sys.exit(main())
