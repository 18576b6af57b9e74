"""A long batch, watched: does its memory stay flat, and does it close what it opens?

Links the photos of the fixtures, and those of folders given by --more, into one folder until there are
COUNT of them; one in 40 is broken: cut off, with a sector of zeros, or no photo at all. Then runs
`tragus batch` on it, and reads its memory and its open files from /proc (Linux) as it runs.

    python long_run.py target/release/tragus SCRATCH --options "--runtime libonnxruntime.so"
"""

import argparse
import csv
import itertools
import os
import random
import shlex
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
SETS = ("demo", "truth", "aids", "cases", "formats")
ENDINGS = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".dcm"}
BROKEN_ONE_IN = 40
COLUMNS = ("s", "resident_mb", "open_files", "threads")


def broken(photo, dice):
    photo = bytearray(photo)
    way = dice.randrange(3)
    if way == 0:
        return photo[: dice.randrange(len(photo))]
    if way == 1:
        start = dice.randrange(len(photo)) // 512 * 512
        photo[start : start + 512] = bytes(min(512, len(photo) - start))
        return photo
    return dice.randbytes(2000)


def fill(folder, sources, count):
    dice = random.Random(1)
    turns = itertools.islice(itertools.cycle(sources), count)
    for number, source in enumerate(turns):
        # Folders of 1,000, as a camera makes them.
        path = folder / f"{number // 1000:03}" / f"{number:06}{source.suffix}"
        path.parent.mkdir(exist_ok=True)
        if number % BROKEN_ONE_IN == BROKEN_ONE_IN - 1:
            path.write_bytes(broken(source.read_bytes(), dice))
            continue
        try:
            os.link(source, path)
        except OSError:
            shutil.copyfile(source, path)


def state(pid, seconds):
    """A row of COLUMNS; `None` once the program has ended."""
    try:
        status = Path(f"/proc/{pid}/status").read_text()
        files = len(os.listdir(f"/proc/{pid}/fd"))
    except OSError:
        return None
    fields = dict(line.split(":", 1) for line in status.splitlines())
    if "VmRSS" not in fields:
        return None
    resident = int(fields["VmRSS"].split()[0]) / 1000
    return round(seconds, 1), round(resident, 1), files, int(fields["Threads"])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("tragus", type=Path, help="the program")
    parser.add_argument("scratch", type=Path, help="an empty folder for photos, table and figures, best on the same disk")
    parser.add_argument("--count", type=int, default=20_000, metavar="N", help="photos (default: 20000)")
    parser.add_argument("--more", type=Path, action="append", default=[], metavar="FOLDER", help="of photos, beside those of the fixtures")
    parser.add_argument("--every", type=float, default=10, metavar="S", help="seconds between two looks (default: 10)")
    parser.add_argument("--options", type=shlex.split, default=[], metavar="WORDS", help="for tragus batch")
    args = parser.parse_args()

    folders = [FIXTURES / name for name in SETS] + args.more
    sources = sorted(
        path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in ENDINGS
    )
    random.Random(0).shuffle(sources)
    photos = args.scratch / "photos"
    photos.mkdir(parents=True)
    fill(photos, sources, args.count)

    command = [args.tragus, "batch", photos, "--out", args.scratch / "scores.csv", *args.options]
    rows, begun = [], time.monotonic()
    with open(args.scratch / "said.txt", "w") as said, open(args.scratch / "long_run.csv", "w") as file:
        table = csv.writer(file)
        table.writerow(COLUMNS)
        program = subprocess.Popen(command, stdout=said, stderr=said)
        while program.poll() is None:
            row = state(program.pid, time.monotonic() - begun)
            if row:
                rows.append(row)
                table.writerow(row)
                file.flush()
            time.sleep(args.every)
    # 1: the work was done, and something could not be measured.
    if program.returncode not in (0, 1):
        sys.exit(f"exit code {program.returncode}, see {args.scratch / 'said.txt'}")
    print(f"{args.count} photos of {len(sources)} different files in {time.monotonic() - begun:.0f} s")
    print("tenth  resident MB, median and most  open files, most")
    for tenth in range(10):
        part = rows[len(rows) * tenth // 10 : len(rows) * (tenth + 1) // 10]
        if part:
            _, resident, files, _ = zip(*part)
            print(f"{tenth + 1:5}  {statistics.median(resident):18.0f} {max(resident):7.0f} {max(files):17}")


if __name__ == "__main__":
    main()
