#!/usr/bin/env python3
"""Pack photos of rooms and streets into one file of equal squares, as backgrounds.

    python backgrounds.py export --photos FOLDER --out backgrounds.npz

The file holds `pictures` (N, 3, side, side), RGB 0..255, and `names` (N,), the files they are from.
"""

import argparse
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

SUFFIXES = {".jpg", ".jpeg", ".png", ".webp"}


def squares(picture, side):
    """Squares that cover a picture along its longer side: one, or two where it is much longer."""
    picture = ImageOps.exif_transpose(picture).convert("RGB")
    shrink = side / min(picture.size)
    width, height = (max(side, round(length * shrink)) for length in picture.size)
    picture = picture.resize((width, height), Image.Resampling.LANCZOS)
    spare = max(width, height) - side
    starts = [0, spare] if spare > side / 3 else [spare // 2]
    for start in starts:
        left, top = (start, 0) if width > height else (0, start)
        yield np.asarray(picture.crop((left, top, left + side, top + side)))


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    command = parser.add_subparsers(dest="command", required=True).add_parser("export", help="write the file")
    command.add_argument("--photos", type=Path, required=True, help="folder of photos")
    command.add_argument("--out", type=Path, required=True, help="the .npz to write")
    command.add_argument("--side", type=int, default=320, help="of the squares, in pixels")
    command.add_argument("--most", type=int, help="at most this many photos, drawn at random")
    command.add_argument("--seed", type=int, default=0, help="of that draw")
    arguments = parser.parse_args()

    paths = sorted(path for path in arguments.photos.iterdir() if path.suffix.lower() in SUFFIXES)
    if not paths:
        parser.error(f"no photos in {arguments.photos}")
    if arguments.most is not None and arguments.most < len(paths):
        drawn = np.random.default_rng(arguments.seed).permutation(len(paths))[: arguments.most]
        paths = [paths[k] for k in sorted(drawn)]
    pictures, names = [], []
    for path in paths:
        with Image.open(path) as picture:
            for square in squares(picture, arguments.side):
                pictures.append(square.transpose(2, 0, 1))
                names.append(path.name)
    np.savez_compressed(arguments.out, pictures=np.stack(pictures), names=np.array(names))
    size = arguments.out.stat().st_size / 1e6
    print(f"{arguments.out}: {len(pictures)} squares of {len(paths)} photos, {size:.1f} MB")


if __name__ == "__main__":
    main()
