#!/usr/bin/env python3
"""The general pose net up to its 64 x 64 features, as a torch module to train on from.

    python pretrained.py export --model ../../models/pose_full.onnx --out backbone.npz

writes the steps and weights and checks the module against onnxruntime. `Backbone` reads that file and
needs only torch and numpy.
"""

import argparse
import json
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as functional
from torch import nn

SIZE = 256
# Features to train on from: name, tensor of the ONNX graph, channels, side.
TAPS = {
    "fine": ("conv_6", 16, 128),  # after the first block
    "early": ("add_18", 24, 64),  # what the decoder's last stage adds in
    "decoder": ("add_181", 48, 64),  # what the heat maps are made from
}
# Largest difference to onnxruntime that rounding explains.
TOLERANCE = 1e-3


class Backbone(nn.Module):
    """Picture (B, 3, 256, 256), RGB 0..1, to features by the names of TAPS.

    `path` is the exported file.
    """

    channels = {name: channels for name, (_, channels, _) in TAPS.items()}

    def __init__(self, path):
        super().__init__()
        stored = np.load(path)
        self.steps = json.loads(str(stored["steps"]))
        self.taps = {name: tensor for name, (tensor, _, _) in TAPS.items()}
        self.convolutions = nn.ModuleDict()
        for step in self.steps:
            if step["kind"] == "convolution":
                name = step["output"]
                weight, bias = stored[f"{name}_weight"], stored[f"{name}_bias"]
                self.convolutions[name] = _convolution(weight.shape, step)
                _fill(self.convolutions[name], weight, bias)
        # A tensor is dropped once nothing needs it any more.
        self._last_use = {source: k for k, step in enumerate(self.steps) for source in step["inputs"]}

    def forward(self, picture):
        values = {self.steps[0]["inputs"][0]: picture}
        for k, step in enumerate(self.steps):
            values[step["output"]] = self._done(step, [values[source] for source in step["inputs"]])
            for source in step["inputs"]:
                if self._last_use[source] == k and source not in self.taps.values():
                    values.pop(source, None)
        return {name: values[tensor] for name, tensor in self.taps.items()}

    def _done(self, step, inputs):
        match step["kind"]:
            case "convolution":
                return self.convolutions[step["output"]](inputs[0])
            case "clip":
                return functional.relu6(inputs[0])
            case "add":
                return inputs[0] + inputs[1]
            case "double":
                return functional.interpolate(inputs[0], scale_factor=2, mode="bilinear", align_corners=False)


def _convolution(shape, step):
    outputs, inputs_of_group, *kernel = shape
    groups = step["groups"]
    return nn.Conv2d(
        inputs_of_group * groups, outputs, kernel, step["stride"], step["padding"], groups=groups
    )


def _fill(convolution, weight, bias):
    with torch.no_grad():
        convolution.weight.copy_(torch.from_numpy(weight.astype(np.float32)))
        convolution.bias.copy_(torch.from_numpy(bias.astype(np.float32)))


class Graph:
    """An ONNX graph, read as the few kinds of step that the backbone is made of."""

    def __init__(self, path):
        import onnx

        graph = onnx.load(path).graph
        self.attributes = lambda node: {a.name: onnx.helper.get_attribute_value(a) for a in node.attribute}
        self.input = graph.input[0].name
        self.constants = {c.name: onnx.numpy_helper.to_array(c) for c in graph.initializer}
        self.nodes = []
        for node in graph.node:
            # Weights are stored in half precision and cast.
            if node.op_type == "Cast" and node.input[0] in self.constants:
                self.constants[node.output[0]] = self.constants[node.input[0]]
            else:
                self.nodes.append(node)

    def needed_for(self, tensors):
        needed, kept = set(tensors), []
        for node in reversed(self.nodes):
            if needed.intersection(node.output):
                kept.append(node)
                needed.update(node.input)
        return kept[::-1]

    def backbone(self, tensors):
        """(steps, arrays) that lead from the picture to `tensors`."""
        steps, arrays = [], {}
        source_of, padding_of = {}, {}
        for node in self.needed_for(tensors):
            data = [name for name in node.input if name and name not in self.constants]
            output, attributes = node.output[0], self.attributes(node)
            if node.op_type in ("Pad", "Transpose"):
                # Padding joins the convolution that follows; torch has the channels first already.
                source_of[output] = source_of.get(data[0], data[0])
                padding_of[output] = padding_of.get(data[0], 0)
                if node.op_type == "Pad":
                    padding_of[output] += self._padding(node, data[0])
                continue
            step = {"output": output, "inputs": [source_of.get(name, name) for name in data]}
            if node.op_type == "Conv":
                step |= self._convolution(attributes, padding_of.get(data[0], 0))
                arrays[f"{output}_weight"], arrays[f"{output}_bias"] = (
                    self.constants[n] for n in node.input[1:3]
                )
            elif any(name in padding_of for name in data):
                raise SystemExit(f"{output}: padding before a {node.op_type}")
            elif node.op_type == "Clip":
                expect(output, [float(self.constants[n]) for n in node.input[1:3]], [0.0, 6.0])
                step["kind"] = "clip"
            elif node.op_type == "Add":
                expect(output, len(data), 2)
                step["kind"] = "add"
            elif node.op_type == "Resize":
                expect(output, self.constants[node.input[2]].tolist(), [1.0, 1.0, 2.0, 2.0])
                expect(output, attributes["mode"], b"linear")
                expect(output, attributes["coordinate_transformation_mode"], b"half_pixel")
                step["kind"] = "double"
            else:
                raise SystemExit(f"{output}: no step for a {node.op_type}")
            steps.append(step)
        return steps, arrays

    def _padding(self, node, source):
        begin, end = np.split(self.constants[node.input[1]], 2)
        rows = 1 if source == self.input else 2  # the picture has its channels last
        expect(node.output[0], begin.tolist(), end.tolist())
        expect(node.output[0], begin[rows], begin[rows + 1])
        return int(begin[rows])

    def _convolution(self, attributes, padding):
        own = attributes.get("pads", [0, 0, 0, 0])
        expect("pads", len(set(own)), 1)
        expect("dilations", list(attributes["dilations"]), [1, 1])
        return {
            "kind": "convolution",
            "stride": list(attributes["strides"]),
            "padding": padding + own[0],
            "groups": attributes["group"],
        }


def expect(where, found, wanted):
    if found != wanted:
        raise SystemExit(f"{where}: expected {wanted}, found {found}")


def of_onnxruntime(path, picture):
    """The tapped features of `picture` (1, 3, 256, 256) by onnxruntime."""
    import onnx
    import onnxruntime

    model = onnx.load(path)
    for tensor, _, _ in TAPS.values():
        model.graph.output.append(onnx.helper.make_tensor_value_info(tensor, onnx.TensorProto.FLOAT, None))
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    tensors = [tensor for tensor, _, _ in TAPS.values()]
    values = session.run(tensors, {session.get_inputs()[0].name: picture.permute(0, 2, 3, 1).numpy()})
    return dict(zip(TAPS, values))


def check(onnx_path, out, seed):
    """Compare with onnxruntime on a random picture; stop if they differ."""
    picture = torch.rand(1, 3, SIZE, SIZE, generator=torch.Generator().manual_seed(seed))
    backbone = Backbone(out).eval()
    with torch.no_grad():
        ours = backbone(picture)
    theirs = of_onnxruntime(onnx_path, picture)
    for name, (_, channels, side) in TAPS.items():
        expect(name, tuple(ours[name].shape), (1, channels, side, side))
        difference = np.abs(ours[name].numpy() - theirs[name]).max()
        largest = np.abs(theirs[name]).max()
        print(
            f"{name}: {channels} x {side} x {side}, largest value {largest:.2f}, difference {difference:.1e}"
        )
        if not difference < TOLERANCE:
            raise SystemExit(f"{name} differs by {difference}")
    print(f"{sum(p.numel() for p in backbone.parameters()):,} weights")


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    command = parser.add_subparsers(dest="command", required=True).add_parser(
        "export", help="write the backbone file"
    )
    command.add_argument(
        "--model", type=Path, required=True, help="the general pose net, models/pose_full.onnx"
    )
    command.add_argument("--out", type=Path, required=True, help="the .npz to write")
    command.add_argument("--seed", type=int, default=0, help="of the picture that both are compared on")
    arguments = parser.parse_args()
    steps, arrays = Graph(arguments.model).backbone(tensor for tensor, _, _ in TAPS.values())
    np.savez_compressed(arguments.out, steps=json.dumps(steps), **arrays)
    check(arguments.model, arguments.out, arguments.seed)


if __name__ == "__main__":
    main()
