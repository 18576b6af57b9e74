"""Where the weights come from: one npm package, pinned by version and checksums."""

import hashlib
import subprocess
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

PACKAGE = "@mediapipe/pose"
VERSION = "0.5.1675469404"
REGISTRY = "npm"
LICENCE = "Apache-2.0"


@dataclass(frozen=True)
class Output:
    """One output tensor."""

    name: str
    shape: tuple[int, ...]
    meaning: str


@dataclass(frozen=True)
class Model:
    """One network: the member of the package that holds it, and its contract."""

    name: str
    member: str
    sha256: str
    side: int
    low: float
    high: float
    # In the order of the original; None is left out, with every node that it alone needs.
    original_outputs: tuple[Output | None, ...]

    @property
    def outputs(self) -> tuple[Output, ...]:
        return tuple(output for output in self.original_outputs if output)

    @property
    def file(self) -> str:
        return f"{self.name}.onnx"

    @property
    def input_shape(self) -> tuple[int, ...]:
        return (1, self.side, self.side, 3)


DETECTOR_OUTPUTS = (
    Output(
        "boxes",
        (1, 2254, 12),
        "per anchor, in pixels of the input and relative to the anchor's centre: box centre x, y, "
        "width, height, then four points x, y; point 0 is mid-hip, point 1 gives the size and "
        "rotation of the body",
    ),
    Output("scores", (1, 2254, 1), "per anchor, logit that a person is there"),
)

POSE_OUTPUTS = (
    Output(
        "points",
        (1, 195),
        "39 points of x, y, z in pixels of the input, then logits of visibility and presence",
    ),
    Output("person_score", (1, 1), "probability that the input shows a person"),
    # The silhouette: no measure uses it, and it takes a third to a half of the net's time.
    None,
    Output("heatmaps", (1, 64, 64, 39), "per point and cell of 4 x 4 pixels, logit of the point"),
    Output("world_points", (1, 117), "39 points of x, y, z in metres, origin at mid-hip"),
)

MODELS = (
    Model(
        "person_detector",
        # The packed file is the detector and nothing else.
        "pose_solution_packed_assets.data",
        "a63c614bef30d35947f13be361820b1e4e3bec9cfeebf4d11216a18373108e85",
        224,
        -1.0,
        1.0,
        DETECTOR_OUTPUTS,
    ),
    Model(
        "pose_full",
        "pose_landmark_full.tflite",
        "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
        256,
        0.0,
        1.0,
        POSE_OUTPUTS,
    ),
    Model(
        "pose_heavy",
        "pose_landmark_heavy.tflite",
        "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe",
        256,
        0.0,
        1.0,
        POSE_OUTPUTS,
    ),
)


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def read_originals(package: Path | None) -> dict[str, bytes]:
    """The original networks by model name, from a downloaded package or, without one, from npm."""
    if package is not None:
        return _unpack(package)
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            ["npm", "pack", "--silent", f"{PACKAGE}@{VERSION}", "--pack-destination", folder],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        (archive,) = Path(folder).glob("*.tgz")
        return _unpack(archive)


def _unpack(archive: Path) -> dict[str, bytes]:
    originals = {}
    with tarfile.open(archive) as tar:
        for model in MODELS:
            data = tar.extractfile(f"package/{model.member}").read()
            if sha256(data) != model.sha256:
                raise SystemExit(
                    f"wrong checksum: expected {model.sha256}, got {sha256(data)}: {model.member}"
                )
            originals[model.name] = data
    return originals
