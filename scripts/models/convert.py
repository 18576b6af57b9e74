#!/usr/bin/env python3
"""Convert the pose networks of an npm package from TFLite to ONNX.

Fetches the package, checks it, converts the person detector and the two pose networks, and writes
the ONNX files and manifest.json. The same package gives the same bytes.
"""

import argparse
import json
import os
import tempfile
from pathlib import Path

# Only the converter of TensorFlow is used; keep its start-up chatter out of the output.
os.environ.setdefault("TF_CPP_MIN_LOG_LEVEL", "3")

import flatbuffers
import numpy as np
import onnx
import tf2onnx
from onnx import TensorProto, helper, numpy_helper
from tensorflow.lite.python import schema_py_generated as tflite

from source import LICENCE, MODELS, PACKAGE, REGISTRY, VERSION, Model, read_originals, sha256

OPSET = 17
INPUT = "image"
SCHEMA = "tragus-models/1"
DEFAULT_OUT = Path(__file__).resolve().parents[2] / "models"


def make_dense(data: bytes) -> bytes:
    """The same network with its sparse weights stored dense and no DENSIFY left."""
    model = tflite.ModelT.InitFromPackedBuf(data)
    (graph,) = model.subgraphs
    builtin = [max(c.builtinCode, c.deprecatedBuiltinCode) for c in model.operatorCodes]

    dense_of = {}
    kept = []
    for op in graph.operators:
        if builtin[op.opcodeIndex] != tflite.BuiltinOperator.DENSIFY:
            kept.append(op)
            continue
        tensor = graph.tensors[op.inputs[0]]
        buffer = model.buffers[tensor.buffer]
        if tensor.type != tflite.TensorType.FLOAT16:
            raise SystemExit(f"expected sparse weights of 16 bits: {tensor.name.decode()}")
        values = np.asarray(buffer.data, np.uint8).view(np.uint16)
        dense = dense_from_sparse(values, tuple(tensor.shape), tensor.sparsity)
        buffer.data = dense.view(np.uint8).ravel()
        tensor.sparsity = None
        dense_of[op.outputs[0]] = op.inputs[0]
    for op in kept:
        op.inputs = np.array([dense_of.get(i, i) for i in op.inputs], np.int32)
    graph.operators = kept

    builder = flatbuffers.Builder(len(data))
    builder.Finish(model.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def dense_from_sparse(values: np.ndarray, shape: tuple[int, ...], sparsity) -> np.ndarray:
    """Decode TFLite's sparse layout: per dimension dense, or compressed rows (segments, indices).

    `positions` holds, for each element stored so far, its flat index over the dimensions passed.
    """
    rank = len(shape)
    if len(sparsity.dimMetadata) != rank or list(sparsity.traversalOrder) != list(range(rank)):
        raise SystemExit("expected sparse weights without blocks, in the order of the dimensions")
    positions = np.zeros(1, np.int64)
    for size, dimension in zip(shape, sparsity.dimMetadata, strict=True):
        if dimension.format == tflite.DimensionType.DENSE:
            positions = (positions[:, None] * size + np.arange(size)).ravel()
        else:
            segments = np.asarray(dimension.arraySegments.values, np.int64)
            indices = np.asarray(dimension.arrayIndices.values, np.int64)
            positions = np.repeat(positions, np.diff(segments)) * size + indices
    if len(positions) != len(values):
        raise SystemExit(f"expected {len(positions)} sparse weights, got {len(values)}")
    dense = np.zeros(int(np.prod(shape)), values.dtype)
    dense[positions] = values
    return dense.reshape(shape)


def to_onnx(data: bytes) -> onnx.ModelProto:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "model.tflite"
        path.write_bytes(data)
        converted, _ = tf2onnx.convert.from_tflite(str(path), opset=OPSET)
    return converted


def tidy(converted: onnx.ModelProto, model: Model) -> onnx.ModelProto:
    """Give tensors plain names and fixed shapes, keep weights at their own 16 bits.

    Everything that could differ from run to run (generated names, the order of weights, the
    producer) is replaced or dropped.
    """
    graph = converted.graph
    (image,) = graph.input
    # The converter keeps the original's names of outputs, but not always their order.
    originals = ["Identity"] + [f"Identity_{i}" for i in range(1, len(model.original_outputs))]
    if sorted(o.name for o in graph.output) != originals:
        raise SystemExit(f"expected outputs {originals}: {model.member}")
    kept = {
        original: output.name
        for original, output in zip(originals, model.original_outputs, strict=True)
        if output
    }

    names = {"": "", image.name: INPUT}
    names.update(kept)
    weights = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    initializers, casts, nodes = [], [], []
    for number, node in enumerate(in_order(graph.node, list(kept))):
        node_name = f"{node.op_type.lower()}_{number}"
        for slot, name in enumerate(node.input):
            if name in names:
                continue
            names[name] = weight_name = f"{node_name}_input_{slot}"
            array = weights[name]
            if node.op_type == "Conv" and is_half(array):
                half_name = f"{weight_name}_half"
                initializers.append(numpy_helper.from_array(array.astype(np.float16), half_name))
                casts.append(
                    helper.make_node(
                        "Cast",
                        [half_name],
                        [weight_name],
                        name=f"{weight_name}_cast",
                        to=TensorProto.FLOAT,
                    )
                )
            else:
                initializers.append(numpy_helper.from_array(array, weight_name))
        for slot, name in enumerate(node.output):
            names.setdefault(name, node_name if slot == 0 else f"{node_name}_output_{slot}")
        renamed = onnx.NodeProto(
            op_type=node.op_type,
            name=node_name,
            input=[names[name] for name in node.input],
            output=[names[name] for name in node.output],
            attribute=sorted(node.attribute, key=lambda attribute: attribute.name),
        )
        nodes.append(renamed)

    tidied = helper.make_model(
        helper.make_graph(
            casts + nodes,
            model.name,
            [helper.make_tensor_value_info(INPUT, TensorProto.FLOAT, model.input_shape)],
            [
                helper.make_tensor_value_info(output.name, TensorProto.FLOAT, output.shape)
                for output in model.outputs
            ],
            initializers,
        ),
        opset_imports=[helper.make_opsetid("", OPSET)],
        ir_version=8,
    )
    onnx.checker.check_model(tidied, full_check=True)
    return tidied


def in_order(nodes: list[onnx.NodeProto], outputs: list[str]) -> list[onnx.NodeProto]:
    """The nodes, each after those it reads from, in an order that depends on the graph alone."""
    maker = {name: node for node in nodes for name in node.output}
    ordered, done = [], set()
    pending = [maker[name] for name in reversed(outputs)]
    while pending:
        node = pending[-1]
        before = [maker[name] for name in node.input if name in maker]
        missing = [other for other in before if other.output[0] not in done]
        if missing:
            pending.extend(reversed(missing))
            continue
        pending.pop()
        if node.output[0] not in done:
            done.add(node.output[0])
            ordered.append(node)
    return ordered


def is_half(array: np.ndarray) -> bool:
    """Whether every weight is exactly a 16-bit float, as all of the originals' weights are."""
    return array.dtype == np.float32 and np.array_equal(
        array.astype(np.float16).astype(np.float32), array
    )


def manifest_entry(model: Model, converted: bytes) -> dict:
    return {
        "name": model.name,
        "file": model.file,
        "sha256": sha256(converted),
        "source": {
            "package": PACKAGE,
            "version": VERSION,
            "registry": REGISTRY,
            "member": model.member,
            "sha256": model.sha256,
        },
        "licence": LICENCE,
        "input": {
            "name": INPUT,
            "shape": model.input_shape,
            "layout": "NHWC",
            "channels": "RGB",
            "low": model.low,
            "high": model.high,
        },
        "outputs": [
            {"name": output.name, "shape": output.shape, "meaning": output.meaning}
            for output in model.outputs
        ],
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--out", type=Path, default=DEFAULT_OUT, help="folder to write into")
    parser.add_argument(
        "--package", type=Path, help="the downloaded package (.tgz); fetched with npm if not given"
    )
    args = parser.parse_args()

    originals = read_originals(args.package)
    args.out.mkdir(parents=True, exist_ok=True)
    entries = []
    for model in MODELS:
        converted = tidy(to_onnx(make_dense(originals[model.name])), model)
        data = converted.SerializeToString(deterministic=True)
        (args.out / model.file).write_bytes(data)
        entries.append(manifest_entry(model, data))
        print(f"{model.file}: {len(data)} bytes, sha256 {sha256(data)}")
    file = args.out / "manifest.json"
    manifest = {"schema": SCHEMA, "models": entries + others(file)}
    file.write_text(json.dumps(manifest, indent=2) + "\n")


def others(manifest: Path) -> list[dict]:
    """Entries of a manifest that is there already for models that are not made here."""
    if not manifest.exists():
        return []
    made_here = {model.name for model in MODELS}
    models = json.loads(manifest.read_text())["models"]
    return [entry for entry in models if entry["name"] not in made_here]


if __name__ == "__main__":
    main()
