"""Make 12-megapixel JPEGs to time programs on, from the demo photos.

The recipe is that of photo.rs: a demo photo enlarged to 3000x4000 pixels, with the grain of a
phone's sensor, without which it would decode much faster than a real one; JPEG of quality 92,
colour at half resolution (4:2:0), as phones write them; no EXIF data.
"""

import argparse
from pathlib import Path

import numpy as np
from PIL import Image

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
SIZE = (3000, 4000)
GRAIN = 8
JPEG = {"quality": 92, "subsampling": "4:2:0"}


def enlarged(path, rng):
    with Image.open(path) as photo:
        large = np.asarray(photo.convert("RGB").resize(SIZE, Image.Resampling.BICUBIC))
    grain = rng.integers(-GRAIN, GRAIN + 1, large.shape, dtype=np.int16)
    return Image.fromarray((large.astype(np.int16) + grain).clip(0, 255).astype(np.uint8))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="where the photos go")
    parser.add_argument("--count", type=int, default=60, help="how many (default: 60)")
    parser.add_argument("--seed", type=int, default=1, help="of the grain (default: 1)")
    args = parser.parse_args()

    sources = sorted(DEMO.glob("visits/*/*.jpg"))
    args.folder.mkdir(parents=True, exist_ok=True)
    sizes = []
    for number in range(args.count):
        # A seed a photo: the same photo comes out whatever the count.
        rng = np.random.default_rng([args.seed, number])
        path = args.folder / f"photo-{number:04}.jpg"
        enlarged(sources[number % len(sources)], rng).save(path, **JPEG)
        sizes.append(path.stat().st_size)
    print(f"{args.count} photos in {args.folder}, mean {sum(sizes) / len(sizes) / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
