"""Build the wheel, install it into a fresh environment, and check what it runs on.

Ends with exit code 0 when every check held.
"""

import argparse
import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
PHOTOS = HERE.parents[1] / "fixtures" / "demo" / "intake"
COLUMNS = "photo,person,view,task,measure,side,value,sigma,unit,status,reason".split(",")


def build(folder):
    command = [sys.executable, "-m", "maturin", "build", "--release", "--out", folder]
    subprocess.run(command, cwd=HERE, check=True)
    (wheel,) = folder.glob("*.whl")
    return wheel


def batch(program, out, **environment):
    """Scores of the photos as bytes, and the runtime that the program says it used.

    The environment holds nothing else, not even a PATH on which a Python could be found."""
    command = [program, "batch", PHOTOS, "--out", out]
    run = subprocess.run(command, env=environment, capture_output=True, text=True)
    if run.returncode not in (0, 1):
        sys.exit(f"exit code {run.returncode}: {program}\n{run.stderr}")
    told = re.search("nets on the (.+) runtime,", run.stderr)
    if not told:
        sys.exit(f"the program does not say which runtime it used:\n{run.stderr}")
    return out.read_bytes(), told[1], run.stderr


def check(holds, words):
    print(("ok: " if holds else "FAILED: ") + words)
    return holds


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wheel", type=Path, help="test this wheel instead of building one")
    args = parser.parse_args()

    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        wheel = args.wheel or build(scratch / "wheel")
        place = scratch / "environment"
        venv.create(place, with_pip=True)
        programs = place / ("Scripts" if os.name == "nt" else "bin")
        python, suffix = (programs / "python.exe", ".exe") if os.name == "nt" else (programs / "python", "")
        subprocess.run([python, "-m", "pip", "install", "--quiet", wheel], check=True)
        program = programs / f"tragus{suffix}"

        scores, used, _ = batch(program, scratch / "installed.csv")
        rows = list(csv.DictReader(scores.decode().splitlines()))
        photos = {path.name for path in PHOTOS.glob("*.jpg")}
        measured = [row for row in rows if row["value"]]
        held = [
            check(list(rows[0]) == COLUMNS, "the columns are as documented"),
            check({row["photo"] for row in rows} == photos, f"{len(rows)} rows, of all {len(photos)} photos"),
            check(bool(measured) and all(row["sigma"] for row in measured), f"{len(measured)} values, all with sigma"),
            check(Path(used).is_relative_to(place), f"runtime: {used}"),
        ]

        # The same program where it can find nothing.
        alone = scratch / "alone" / program.name
        alone.parent.mkdir()
        shutil.copy2(program, alone)
        named, by_name, _ = batch(alone, scratch / "named.csv", ORT_DYLIB_PATH=used)
        held.append(check(by_name == used and named == scores, "the same scores with ORT_DYLIB_PATH"))
        _, without, _ = batch(alone, scratch / "alone.csv")
        held.append(check(without == "built in", "elsewhere the built-in runtime"))

        # 1.23 lacks the interface that the program is built for.
        subprocess.run([python, "-m", "pip", "install", "--quiet", "--no-deps", "onnxruntime==1.23.2"], check=True)
        _, fallback, said = batch(program, scratch / "old.csv")
        held.append(check(fallback == "built in" and "passed over" in said, "too old a library is passed over, and said"))
    sys.exit(0 if all(held) else "a check failed")


if __name__ == "__main__":
    main()
