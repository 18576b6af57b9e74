"""Runs the whole way in small, on a CPU, in about a minute: train, resume, evaluate, export.

    python smoke.py --data DATA --out OUT

It shows that the parts fit, not that the net learns: a few steps teach nothing.
"""

import argparse
import json
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def run(script, *options):
    command = [sys.executable, str(HERE / script), *map(str, options)]
    print("$", script, *options, flush=True)
    subprocess.run(command, check=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True, help="folder with the exported files")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    data = ["--data", options.data]
    small = ["--batch", 4, "--supersample", 1]
    run("train.py", *data, "--out", options.out, *small, "--seconds", 12, "--until", 0.5)
    state = options.out / "state.pt"
    run("train.py", *data, "--out", options.out, *small, "--seconds", 12, "--from", 0.5, "--resume", state)
    weights = ["--weights", options.out / "weights.pt"]
    run("evaluate.py", *data, *weights, "--out", options.out, "--pictures", 24, "--batch", 6)
    run("export.py", *data, *weights, "--model", options.out / "landmarks.onnx")

    figures = json.loads((options.out / "figures.json").read_text())
    pictures = sum(part["pictures"] for part in figures["settings"].values())
    assert pictures == 24, f"24 pictures were to be measured, not {pictures}"
    print(f"All parts ran; the net is at {options.out / 'landmarks.onnx'}.")


if __name__ == "__main__":
    main()
