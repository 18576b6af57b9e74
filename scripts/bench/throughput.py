"""Photos per second of whole programs, side by side and without their start.

Every program is run on the first photos of a folder and on all of them. The difference of the two
times is that of the other photos: starting, loading nets and warming up fall out, for every
program in the same way. Rounds alternate between the programs; the median counts. The processor
time of a photo, told beside it, hardly changes when other programs keep the machine busy.

    python throughput.py PHOTOS --program tragus "tragus batch {photos} --out {scratch}/s.parquet"
"""

import argparse
import json
import os
import resource
import shlex
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path


def spent_on(command, photos, scratch):
    """Seconds on the clock, and of the processors."""
    words = [word.format(photos=photos, scratch=scratch) for word in shlex.split(command)]
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    run = subprocess.run(words, capture_output=True, text=True, errors="replace")
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    # 1: tragus did its work, and something could not be measured.
    if run.returncode not in (0, 1):
        sys.exit(f"exit code {run.returncode}: {shlex.join(words)}\n{run.stderr}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path, help="folder of JPEGs")
    parser.add_argument(
        "--program",
        nargs=2,
        action="append",
        required=True,
        metavar=("NAME", "COMMAND"),
        help="{photos} stands for the folder, {scratch} for one to write into",
    )
    parser.add_argument("--first", type=int, default=10, metavar="N", help="photos of the short run (default: 10)")
    parser.add_argument("--rounds", type=int, default=3, metavar="N", help="default: 3")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the figures here")
    args = parser.parse_args()
    paths = sorted(path for path in args.photos.iterdir() if path.suffix.lower() in (".jpg", ".jpeg"))
    if len(paths) <= args.first:
        sys.exit(f"expected more than {args.first} JPEGs, got {len(paths)}: {args.photos}")

    times = {name: [] for name, _ in args.program}
    with tempfile.TemporaryDirectory() as scratch:
        few, all_of_them = Path(scratch) / "few", Path(scratch) / "all"
        for folder, some in ((few, paths[: args.first]), (all_of_them, paths)):
            folder.mkdir()
            for path in some:
                shutil.copy(path, folder)
        for _ in range(args.rounds):
            for name, command in args.program:
                spent = []
                for folder in (few, all_of_them):
                    with tempfile.TemporaryDirectory() as out:
                        spent.append(spent_on(command, folder, out))
                times[name].append(spent)

    figures = {"photos": len(paths), "first": args.first, "load": os.getloadavg(), "programs": {}}
    more = len(paths) - args.first
    for name, rounds in times.items():
        rates = [more / (whole[0] - part[0]) for part, whole in rounds]
        processor_ms = statistics.median(1000 * (whole[1] - part[1]) / more for part, whole in rounds)
        figures["programs"][name] = {
            "photos_per_s": round(statistics.median(rates), 2),
            "rounds": [round(rate, 2) for rate in rates],
            "processor_ms_per_photo": round(processor_ms),
            "whole_run_s": round(statistics.median(whole[0] for _, whole in rounds), 2),
        }
        each = ", ".join(f"{rate:.2f}" for rate in rates)
        print(f"{name}: {statistics.median(rates):.2f} photos a second (rounds {each}), {processor_ms:.0f} ms of processor a photo")
    if args.json:
        args.json.write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
