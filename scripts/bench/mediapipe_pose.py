"""Photos per second of MediaPipe Pose on a folder of JPEGs, decoded by OpenCV.

The comparison program for tragus batch. Each process decodes a photo and looks for the person in
it, as a still photo, with the pose net that tragus uses by default (model_complexity 1). The clock
starts when every process has its nets loaded and has done one photo.
"""

import argparse
import json
import multiprocessing
import os
import platform
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import mediapipe
import numpy
from mediapipe.python.solutions.pose import Pose

FLAGS = {1: cv2.IMREAD_COLOR, 2: cv2.IMREAD_REDUCED_COLOR_2, 4: cv2.IMREAD_REDUCED_COLOR_4}
pose = None  # of this process


def warm_up(path, reduce, ready):
    global pose
    # The processes share the cores; threads of OpenCV would only get in their way.
    cv2.setNumThreads(1)
    pose = Pose(static_image_mode=True, model_complexity=1)
    look(path, reduce)
    ready.wait()


def look(path, reduce):
    """Seconds of decoding, seconds of looking, and whether a person was found."""
    start = time.perf_counter()
    # Straight to RGB, which saves turning the colours round afterwards.
    photo = cv2.imread(str(path), FLAGS[reduce] | cv2.IMREAD_COLOR_RGB)
    if photo is None:
        raise ValueError(f"not a photo that OpenCV reads: {path}")
    decoded = time.perf_counter()
    found = pose.process(photo).pose_landmarks is not None
    return decoded - start, time.perf_counter() - decoded, found


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=Path, required=True, help="of JPEGs")
    parser.add_argument("--processes", type=int, default=os.cpu_count(), help="default: one a core")
    parser.add_argument("--repeat", type=int, default=1, help="how often the folder is gone through (default: 1)")
    parser.add_argument(
        "--reduce",
        type=int,
        choices=FLAGS,
        default=1,
        help="decode at a half or a quarter of the size, which OpenCV does faster (default: 1, the full size)",
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the figures here")
    args = parser.parse_args()

    paths = sorted(path for path in args.folder.iterdir() if path.suffix.lower() in (".jpg", ".jpeg"))
    if not paths:
        sys.exit(f"no JPEG in this folder: {args.folder}")
    photos = paths * args.repeat

    # Spawned: a process that is forked after the nets' library was loaded may hang.
    context = multiprocessing.get_context("spawn")
    ready = context.Barrier(args.processes + 1)
    with ProcessPoolExecutor(args.processes, context, warm_up, (paths[0], args.reduce, ready)) as pool:
        looks = pool.map(look, photos, [args.reduce] * len(photos))
        ready.wait(timeout=300)
        start = time.perf_counter()
        decode, infer, found = (sum(column) for column in zip(*looks))
        wall = time.perf_counter() - start

    figures = {
        "photos": len(photos),
        "persons_found": found,
        "processes": args.processes,
        "reduce": args.reduce,
        "wall_s": round(wall, 3),
        "photos_per_s": round(len(photos) / wall, 3),
        "decode_ms": round(1000 * decode / len(photos), 1),
        "infer_ms": round(1000 * infer / len(photos), 1),
        "versions": {
            "python": platform.python_version(),
            "mediapipe": mediapipe.__version__,
            "opencv": cv2.__version__,
            "numpy": numpy.__version__,
        },
    }
    for name, value in figures.items():
        print(f"{name}: {value}")
    if args.json:
        args.json.write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
