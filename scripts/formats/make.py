"""One small picture in the formats that photos come in, written by other people's libraries.

Run in this folder's environment: python make.py ../../fixtures/formats
The picture is a demo photo at 72 by 96 pixels in 64 colours, so that a palette holds it exactly.
Files of 16 bits carry a jitter below what 8 bits show: whoever rounds gets the same picture.
"""

import sys
from pathlib import Path

import imagecodecs
import numpy as np
import pillow_heif
import tifffile
from PIL import Image

HERE = Path(__file__).parent
DEMO = HERE / "../../fixtures/demo/visits/2026-03-10-intake/side-reach.jpg"
EXIF_TURNED = 6  # "turn it a quarter clockwise to see it upright"
ORIENTATION = 0x0112


def deep(values: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """The same values in 16 bits, each off by less than half a step of 8 bits."""
    jitter = random.integers(-120, 121, values.shape)
    return np.clip(values.astype(np.int64) * 257 + jitter, 0, 65535).astype(np.uint16)


def main(folder: Path) -> None:
    random = np.random.default_rng(7)
    folder.mkdir(parents=True, exist_ok=True)
    photo = Image.open(DEMO).convert("RGB")
    small = photo.resize((72, 96), Image.Resampling.LANCZOS)
    palette = small.quantize(64, dither=Image.Dither.NONE)
    picture = palette.convert("RGB")
    grey = picture.convert("L")
    rgb, luma = np.asarray(picture), np.asarray(grey)

    picture.save(folder / "picture.png")
    grey.save(folder / "grey.png")

    def tiff(name: str, data: np.ndarray, **options: object) -> None:
        tifffile.imwrite(folder / name, data, metadata=None, software=None, **options)

    def png(name: str, data: np.ndarray) -> None:
        (folder / name).write_bytes(imagecodecs.png_encode(data, level=9))

    # PNG
    png("rgb16.png", deep(rgb, random))
    png("grey16.png", deep(luma, random))
    palette.save(folder / "palette.png")
    # The upper half is clear, over colours that nobody sees.
    alpha = np.full(luma.shape, 255, np.uint8)
    alpha[:48] = 0
    alpha[48:50] = 128
    rgba = np.dstack([rgb, alpha])
    Image.fromarray(rgba).save(folder / "alpha.png")
    png("alpha16.png", np.dstack([rgb, alpha]).astype(np.uint16) * 257)
    Image.fromarray(np.dstack([luma, alpha]), "LA").save(folder / "grey-alpha.png")

    # TIFF by Pillow, which uses libtiff
    picture.save(folder / "lzw.tif", compression="tiff_lzw")
    picture.save(folder / "packbits.tif", compression="packbits")
    palette.save(folder / "palette.tif", compression="tiff_lzw")
    picture.save(folder / "jpeg.tif", compression="jpeg", quality=95)
    picture.convert("CMYK").save(folder / "cmyk.tif", compression="tiff_lzw")
    Image.fromarray(rgba).save(folder / "alpha.tif", compression="tiff_lzw")
    picture.convert("1").save(folder / "fax.tif", compression="group4")

    # TIFF by tifffile
    tiff("deflate16.tif", deep(rgb, random), photometric="rgb", compression="zlib", predictor=True)
    tiff("grey16.tif", deep(luma, random), photometric="minisblack", compression="zlib")
    tiff("big.tif", rgb, photometric="rgb", bigtiff=True, compression="lzw")
    tiff("big-endian16.tif", deep(rgb, random), photometric="rgb", byteorder=">", compression="zlib")
    tiff("tiles.tif", rgb, photometric="rgb", tile=(48, 48), compression="zlib")
    tiff("planes.tif", np.moveaxis(rgb, 2, 0), photometric="rgb", planarconfig="separate",
         compression="zlib")
    tiff("float.tif", rgb.astype(np.float32) / 255, photometric="rgb", compression="zlib")
    premultiplied = rgba.copy()
    premultiplied[..., :3] = np.rint(rgb * (alpha[..., None] / 255)).astype(np.uint8)
    tiff("premultiplied.tif", premultiplied, photometric="rgb", extrasamples=["assocalpha"],
         compression="zlib")

    # HEIC and AVIF by libheif: the photo at half its size, to be measured.
    pillow_heif.register_heif_opener()
    half = photo.resize((photo.width // 2, photo.height // 2), Image.Resampling.LANCZOS)
    half.save(folder / "upright.heic", quality=60)
    turned(half, folder / "turned.heic")
    half.save(folder / "upright.avif", quality=60)
    levels = np.asarray(half).astype(np.uint16) * 257
    deeper = pillow_heif.from_bytes("RGB;16", half.size, levels.tobytes())
    deeper.save(folder / "deep.heic", quality=60)
    clear = half.copy()
    clear.putalpha(Image.new("L", half.size, 255))
    clear.paste((0, 0, 0, 0), (0, 0, half.width, half.height // 4))
    clear.save(folder / "alpha.heic", quality=60)


def turned(upright: Image.Image, path: Path) -> None:
    """As a phone writes it: pixels as the sensor has them, and the turn told twice."""
    block = upright.getexif()
    block[ORIENTATION] = EXIF_TURNED
    stored = upright.transpose(Image.Transpose.ROTATE_90)
    stored.save(path, quality=60, exif=block.tobytes())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
