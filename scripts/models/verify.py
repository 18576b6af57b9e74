#!/usr/bin/env python3
"""Compare the converted networks with the originals, or write down what the originals see.

`compare` runs both on noise, on drawn figures and on given photos, prints the largest difference
of each output relative to the largest value that the output takes, and fails above 0.001.
`dump` writes the originals' inputs and outputs for one photo as .npy files.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np
import onnxruntime
from ai_edge_litert.interpreter import Interpreter, OpResolverType
from PIL import Image, ImageDraw, ImageFilter

from crop import detector_square, person_square
from source import MODELS, Model, read_originals, sha256

LIMIT = 1e-3
DEFAULT_MODELS = Path(__file__).resolve().parents[2] / "models"


class Original:
    """The network as published, run by the reference kernels of its own runtime."""

    def __init__(self, model: Model, data: bytes):
        # Without delegates, which may compute in 16 bits where the processor can.
        self._interpreter = Interpreter(
            model_content=data,
            experimental_op_resolver_type=OpResolverType.BUILTIN_WITHOUT_DEFAULT_DELEGATES,
        )
        self._interpreter.allocate_tensors()
        self._input = self._interpreter.get_input_details()[0]["index"]
        self._outputs_by_name = {
            output.name: details["index"]
            for output, details in zip(
                model.original_outputs, self._interpreter.get_output_details(), strict=True
            )
            if output
        }

    def run(self, image: np.ndarray) -> dict[str, np.ndarray]:
        self._interpreter.set_tensor(self._input, image)
        self._interpreter.invoke()
        return {
            name: self._interpreter.get_tensor(index)
            for name, index in self._outputs_by_name.items()
        }


def scaled(image: np.ndarray, model: Model) -> np.ndarray:
    """From [0, 1] to the range of the model's input."""
    return (image * (model.high - model.low) + model.low).astype(np.float32)


def figure(side: int, rng: np.random.Generator) -> Image.Image:
    """A standing figure of plain shapes in front of a shaded wall: picture-like, and no one."""
    large = 4 * side
    wall = np.linspace(rng.uniform(60, 120), rng.uniform(150, 220), large)
    canvas = Image.fromarray(
        np.repeat(np.tile(wall[:, None, None], (1, large, 1)), 3, axis=2).astype(np.uint8)
    )
    draw = ImageDraw.Draw(canvas)
    skin, shirt, trousers = (tuple(int(v) for v in rng.integers(20, 235, 3)) for _ in range(3))
    x, y = rng.uniform(0.4, 0.6), rng.uniform(0.45, 0.55)
    height = rng.uniform(0.7, 0.9)

    def at(dx: float, dy: float) -> tuple[float, float]:
        return ((x + dx * height) * large, (y + dy * height) * large)

    def limb(points: list[tuple[float, float]], width: float, colour: tuple[int, ...]) -> None:
        draw.line([at(*p) for p in points], colour, int(width * height * large), joint="curve")

    for mirror in (-1, 1):
        spread = rng.uniform(0.08, 0.2) * mirror
        limb([(0.1 * mirror, -0.3), (spread, -0.14), (spread * 1.1, 0.0)], 0.045, skin)
        limb([(0.05 * mirror, 0.0), (0.06 * mirror, 0.24), (0.06 * mirror, 0.48)], 0.075, trousers)
    draw.rectangle([*at(-0.1, -0.33), *at(0.1, 0.03)], shirt)
    limb([(0, -0.4), (0, -0.3)], 0.06, skin)
    draw.ellipse([*at(-0.055, -0.5), *at(0.055, -0.36)], skin)
    small = canvas.filter(ImageFilter.GaussianBlur(3)).resize((side, side))
    noisy = np.asarray(small, np.float32) + rng.normal(0, 4, (side, side, 3))
    return Image.fromarray(noisy.clip(0, 255).astype(np.uint8))


def inputs(model: Model, photos: list[Image.Image], rng: np.random.Generator) -> list[np.ndarray]:
    images = [rng.random(model.input_shape, np.float32) for _ in range(2)]
    pictures = [figure(model.side, rng) for _ in range(4)]
    pictures += [photo.resize((model.side, model.side)) for photo in photos]
    images += [np.asarray(picture, np.float32)[None] / 255 for picture in pictures]
    return [scaled(image, model) for image in images]


def check_manifest(folder: Path, model: Model, entry: dict) -> onnxruntime.InferenceSession:
    """Open the model after checking that file, manifest and contract say the same."""
    path = folder / entry["file"]
    if sha256(path.read_bytes()) != entry["sha256"]:
        raise SystemExit(f"checksum differs from the manifest: {path}")
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    (image,) = session.get_inputs()
    found = [(t.name, tuple(t.shape)) for t in (image, *session.get_outputs())]
    manifest = [(t["name"], tuple(t["shape"])) for t in (entry["input"], *entry["outputs"])]
    contract = [("image", model.input_shape), *((o.name, o.shape) for o in model.outputs)]
    if not found == manifest == contract:
        raise SystemExit(f"expected {contract}, manifest says {manifest}, found {found}: {path}")
    return session


def compare(args: argparse.Namespace) -> int:
    manifest = json.loads((args.models / "manifest.json").read_text())
    entries = {entry["name"]: entry for entry in manifest["models"]}
    originals = read_originals(args.package)
    photos = [Image.open(path).convert("RGB") for path in args.photo]
    worst = 0.0
    for model in MODELS:
        session = check_manifest(args.models, model, entries[model.name])
        original = Original(model, originals[model.name])
        difference = dict.fromkeys((output.name for output in model.outputs), 0.0)
        largest = dict(difference)
        for image in inputs(model, photos, np.random.default_rng(args.seed)):
            expected = original.run(image)
            converted = session.run(list(expected), {"image": image})
            for (name, tensor), got in zip(expected.items(), converted, strict=True):
                difference[name] = max(difference[name], float(abs(got - tensor).max()))
                largest[name] = max(largest[name], float(abs(tensor).max()))
        for name in difference:
            relative = difference[name] / largest[name]
            worst = max(worst, relative)
            print(
                f"{model.name:16} {name:13} relative {relative:.1e}"
                f"  largest difference {difference[name]:.1e}  largest value {largest[name]:.3g}"
            )
    if not worst <= LIMIT:
        print(f"relative difference {worst:.1e} is above {LIMIT}", file=sys.stderr)
        return 1
    return 0


def dump(args: argparse.Namespace) -> int:
    originals = read_originals(args.package)
    photo = Image.open(args.photo).convert("RGB")
    args.folder.mkdir(parents=True, exist_ok=True)

    def run(model: Model, image: np.ndarray) -> dict[str, np.ndarray]:
        tensors = Original(model, originals[model.name]).run(image)
        for name, tensor in {"image": image, **tensors}.items():
            np.save(args.folder / f"{model.name}.{name}.npy", tensor)
        return tensors

    detector, *poses = MODELS
    whole = detector_square(photo)
    found = run(detector, scaled(whole.cut(photo), detector))
    person = person_square(found["boxes"], found["scores"], whole)
    crop = person.cut(photo)
    for pose in poses:
        run(pose, scaled(crop, pose))
    crops = {
        "photo_size": photo.size,
        "photo_from_detector_input": whole.photo_from_crop.tolist(),
        "photo_from_pose_input": person.photo_from_crop.tolist(),
    }
    (args.folder / "crops.json").write_text(json.dumps(crops, indent=2) + "\n")
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    package = argparse.ArgumentParser(add_help=False)
    package.add_argument(
        "--package", type=Path, help="the downloaded package (.tgz); fetched with npm if not given"
    )

    command = commands.add_parser("compare", parents=[package], help="compare with the originals")
    command.add_argument("--models", type=Path, default=DEFAULT_MODELS, help="folder of the models")
    command.add_argument("--photo", type=Path, nargs="*", default=[], help="photos to try as well")
    command.add_argument("--seed", type=int, default=0)
    command.set_defaults(run=compare)

    command = commands.add_parser("dump", parents=[package], help="write raw tensors of one photo")
    command.add_argument("photo", type=Path)
    command.add_argument("folder", type=Path)
    command.set_defaults(run=dump)

    args = parser.parse_args()
    return args.run(args)


if __name__ == "__main__":
    sys.exit(main())
