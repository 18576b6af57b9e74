"""Writes a trained net as the ONNX file that the program carries, and checks it.

    python export.py --data DATA --weights OUT/weights.pt --model models/landmarks.onnx

Weights are stored in half precision and turned back to single where they are used: half the size,
the same arithmetic. The file is run by ONNX Runtime and compared with the net in single precision.
"""

import argparse
import hashlib
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import TensorProto, helper, numpy_helper

import net as nets
from body import Body
from camera import SETTINGS
from scene import Scenes

OPSET = 17
# Smaller tensors stay as they are.
LEAST_VALUES = 256
# Held-out pictures on which the file is compared with the net.
PICTURES = 12


def arguments():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True, help="folder with the exported files")
    parser.add_argument("--weights", type=Path, required=True, help="weights.pt of a training")
    parser.add_argument("--model", type=Path, required=True, help="the ONNX file to write")
    parser.add_argument("--single", action="store_true", help="keep weights in single precision")
    return parser.parse_args()


def export(net, path):
    shipped = nets.Shipped(net).eval()
    example = (torch.rand(1, nets.SIZE, nets.SIZE, 3), torch.eye(SETTINGS)[:1])
    torch.onnx.export(
        shipped,
        example,
        str(path),
        input_names=["image", "setting"],
        output_names=["landmarks", "turns"],
        opset_version=OPSET,
        do_constant_folding=True,
        dynamo=False,
    )
    return shipped


def halve(model):
    """Keeps the large weights in half precision, each behind a cast."""
    casts = []
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if tensor.data_type != TensorProto.FLOAT or values.size < LEAST_VALUES:
            continue
        if np.abs(values).max() > np.finfo(np.float16).max:
            raise ValueError(f"{tensor.name} does not fit half precision")
        name = tensor.name
        tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), name + "_half"))
        casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    for place, cast in enumerate(casts):
        model.graph.node.insert(place, cast)


def main():
    options = arguments()
    net = nets.build(options.data)
    net.load_state_dict(torch.load(options.weights, map_location="cpu")["average"])
    shipped = export(net, options.model)
    model = onnx.load(options.model)
    if not options.single:
        halve(model)
    model.producer_name = model.producer_version = ""
    onnx.checker.check_model(model)
    onnx.save(model, options.model)

    session = onnxruntime.InferenceSession(str(options.model))
    scenes = Scenes(Body(options.data / "body.npz"), options.data / "backgrounds.npz", seed=5)
    pictures, truth = scenes.draw(PICTURES, held_out=True)
    pictures = pictures.permute(0, 2, 3, 1).contiguous()
    apart = [0.0, 0.0]
    for number in range(PICTURES):
        image, setting = pictures[number : number + 1], truth.setting[number : number + 1]
        landmarks, turns = session.run(None, {"image": image.numpy(), "setting": setting.numpy()})
        with torch.no_grad():
            expected, expected_turns = shipped(image, setting)
        visible = truth.visible[number].numpy()
        off = np.abs(landmarks - expected.numpy())[0, visible, :2]
        apart[0] = max(apart[0], float(off.max(initial=0)))
        apart[1] = max(apart[1], float(np.abs(turns - expected_turns.numpy())[..., 0].max()))
    data = options.model.read_bytes()
    print(f"{len(data)} bytes, SHA-256 {hashlib.sha256(data).hexdigest()}")
    print(
        f"apart from single precision at most {apart[0]:.3f} pixels in visible landmarks and "
        f"{np.degrees(apart[1]):.3f} degrees in turns"
    )


if __name__ == "__main__":
    main()
