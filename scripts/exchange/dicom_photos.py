"""Writes fixtures/formats/dicom: one small picture in the ways in which DICOM files keep a photo.

    python dicom_photos.py

Pillow scales a demo photo of a rendered person, pydicom writes the files and their run lengths;
photo.png beside them is the picture itself, palette.png what 256 colours leave of it.
"""

import io
from pathlib import Path

import numpy as np
from PIL import Image
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.pixels import convert_color_space
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEGBaseline8Bit,
    JPEGLosslessSV1,
    RLELossless,
)

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "fixtures/demo/visits/2026-03-10-intake/front.jpg"
FOLDER = ROOT / "fixtures/formats/dicom"
SIZE = (72, 96)

PHOTOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.4"
ENDOSCOPIC = "1.2.840.10008.5.1.4.1.1.77.1.1"
CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
MANY_WORDS = "1.2.840.10008.5.1.4.1.1.7.3"
RADIOGRAPH = "1.2.840.10008.5.1.4.1.1.1"


def file_of(name, pixels, photometric, *, kind=PHOTOGRAPHIC, syntax=ExplicitVRLittleEndian, **more):
    """A file with what its readers need; `pixels` as rows × columns (× samples), or bytes."""
    dataset = Dataset()
    dataset.file_meta = FileMetaDataset()
    dataset.file_meta.TransferSyntaxUID = syntax
    dataset.SOPClassUID = kind
    dataset.SOPInstanceUID = f"2.25.{sum(map(ord, name))}"
    dataset.StudyInstanceUID = dataset.SeriesInstanceUID = "2.25.1"
    dataset.PatientName = dataset.PatientID = ""
    dataset.Modality = "XC"
    dataset.Columns, dataset.Rows = SIZE
    dataset.PhotometricInterpretation = photometric
    dataset.SamplesPerPixel = 1 if photometric.startswith(("MONO", "PALETTE")) else 3
    if dataset.SamplesPerPixel == 3:
        dataset.PlanarConfiguration = 0
    dataset.BitsAllocated = dataset.BitsStored = 8
    if isinstance(pixels, np.ndarray) and pixels.dtype.itemsize == 2:
        dataset.BitsAllocated = dataset.BitsStored = 16
    dataset.HighBit = dataset.BitsStored - 1
    dataset.PixelRepresentation = 0
    for keyword, value in more.items():
        setattr(dataset, keyword, value)
    dataset.PixelData = pixels if isinstance(pixels, bytes) else pixels.tobytes()
    if syntax == RLELossless:
        dataset.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
        dataset.compress(RLELossless, generate_instance_uid=False)
    if syntax in (JPEGBaseline8Bit, JPEGLosslessSV1):
        dataset["PixelData"].is_undefined_length = True
    dataset.save_as(FOLDER / f"{name}.dcm", enforce_file_format=True)


def jpeg(image, **options):
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=95, **options)
    return encapsulate([buffer.getvalue()])


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    image = Image.open(SOURCE).convert("RGB").resize(SIZE, Image.LANCZOS)
    image.save(FOLDER / "photo.png", optimize=True)
    rgb = np.asarray(image)
    ybr = convert_color_space(rgb, "RGB", "YBR_FULL")
    grey = np.asarray(image.convert("L"))

    file_of("rgb", rgb, "RGB")
    file_of("rgb_implicit_planes", rgb.transpose(2, 0, 1), "RGB", kind=CAPTURE,
            syntax=ImplicitVRLittleEndian, PlanarConfiguration=1)
    file_of("ybr_full", ybr, "YBR_FULL", kind=ENDOSCOPIC)
    pairs = ybr.reshape(SIZE[1], SIZE[0] // 2, 2, 3)
    means = pairs[..., 1:].mean(axis=2).round().astype(np.uint8)
    file_of("ybr_full_422", np.concatenate([pairs[..., 0], means], axis=2), "YBR_FULL_422")
    file_of("rle", rgb, "RGB", syntax=RLELossless)
    file_of("rle_ybr_full", ybr, "YBR_FULL", syntax=RLELossless)
    file_of("jpeg", jpeg(image, subsampling="4:2:2"), "YBR_FULL_422", syntax=JPEGBaseline8Bit)
    file_of("jpeg_grey", jpeg(image.convert("L")), "MONOCHROME2", syntax=JPEGBaseline8Bit)
    # Twelve bits of sixteen; the window takes in all of them.
    twelve = ((grey.astype(np.uint32) * 4095 + 127) // 255).astype(np.uint16)
    file_of("grey_12_bits", twelve, "MONOCHROME2", kind=MANY_WORDS, BitsStored=12, HighBit=11,
            WindowCenter="2048", WindowWidth="4096", NumberOfFrames=1)
    file_of("grey_16_bits_rle", grey.astype(np.uint16) * 257, "MONOCHROME2", kind=MANY_WORDS,
            syntax=RLELossless)
    file_of("grey_signed", (grey.astype(np.int16) - 128) * 256, "MONOCHROME2", kind=MANY_WORDS,
            PixelRepresentation=1)
    file_of("grey_inverted", 255 - grey, "MONOCHROME1", kind=CAPTURE)
    quantized = image.quantize(256, dither=Image.Dither.NONE)
    quantized.convert("RGB").save(FOLDER / "palette.png", optimize=True)
    palette = np.array(quantized.getpalette()).reshape(-1, 3).astype(np.uint16) * 257
    tables = {}
    for channel, colour in enumerate(["Red", "Green", "Blue"]):
        tables[f"{colour}PaletteColorLookupTableDescriptor"] = [len(palette), 0, 16]
        tables[f"{colour}PaletteColorLookupTableData"] = palette[:, channel].tobytes()
    file_of("palette", np.asarray(quantized), "PALETTE COLOR", kind=CAPTURE, **tables)
    # Lying on its right side as stored: rows run towards the feet, columns to the right.
    file_of("lying", np.rot90(rgb), "RGB", PatientOrientation=["F", "R"], Rows=SIZE[0],
            Columns=SIZE[1], PixelSpacing=["1.5", "1.5"], PixelSpacingCalibrationType="FIDUCIAL",
            FocalLengthIn35mmFilm="26")

    # What is refused.
    file_of("two_frames", np.stack([rgb, rgb]), "RGB",
            kind="1.2.840.10008.5.1.4.1.1.7.4", NumberOfFrames=2)
    file_of("radiograph", grey, "MONOCHROME2", kind=RADIOGRAPH)
    file_of("jpeg_lossless", encapsulate([b"\xff\xd8\xff\xd9"]), "RGB", syntax=JPEGLosslessSV1)
    file_of("deflated", rgb, "RGB", syntax=DeflatedExplicitVRLittleEndian)
    file_of("big_endian", rgb, "RGB", syntax=ExplicitVRBigEndian)


if __name__ == "__main__":
    main()
