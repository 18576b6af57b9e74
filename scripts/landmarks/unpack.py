"""Gets the net back out of its ONNX file, so that a training can go on from what is shipped.

    python unpack.py --data DATA --model models/landmarks.onnx --out OUT/weights.pt

The file holds each batch norm melted into the convolution before it. Here they are told apart again:
what a norm does to the training's pictures is measured, and its scale and shift are set to undo it.
The net that comes out gives what the file gives, and is checked for that.
"""

import argparse
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import numpy_helper
from torch import nn

import net as nets
from body import Body
from scene import Scenes

# Pictures, a batch at a time, on which the norms are measured.
BATCHES, BATCH = 4, 32
# Pixels by which net and file may differ: the file's weights are rounded to half precision.
TOLERANCE = 0.02


def arguments():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True, help="folder with the exported files")
    parser.add_argument("--model", type=Path, required=True, help="the ONNX file")
    parser.add_argument("--out", type=Path, required=True, help="the weights.pt to write")
    return parser.parse_args()


def stored(path):
    """Weights of the file by name; those whose names were lost, in the order of the graph."""
    named, nameless = {}, []
    for tensor in onnx.load(path).graph.initializer:
        values = torch.tensor(numpy_helper.to_array(tensor).astype(np.float32))
        name = tensor.name.removesuffix("_half")
        if name.startswith("net."):
            named[name.removeprefix("net.")] = values
        else:
            nameless.append(values)
    return named, nameless


def normed_convolutions(net):
    """Each convolution with the batch norm that follows it, in the order in which they run."""
    def of_blocks(blocks):
        return [(block.spread, block.norm) for block in blocks]

    return [
        (net.fine[0], net.fine[1]), (net.join[0], net.join[1]), *of_blocks(net.enter),
        (net.to_32[0], net.to_32[1]), *of_blocks(net.at_32),
        (net.to_16[0], net.to_16[1]), *of_blocks(net.at_16), *of_blocks(net.leave),
        (net.to_8[0][0], net.to_8[0][1]),
    ]  # fmt: skip


def filled(net, path):
    """`net` with the weights of the file; its norms do nothing but add what was melted in."""
    named, nameless = stored(path)
    nameless = iter(nameless)
    state = net.state_dict()
    state |= {name: values for name, values in named.items() if name in state}
    net.load_state_dict(state)
    with torch.no_grad():
        for convolution, norm in normed_convolutions(net):
            convolution.weight.copy_(next(nameless))
            if convolution.bias is not None:
                convolution.bias.zero_()
            norm.running_mean.zero_()
            norm.running_var.fill_(1 - norm.eps)
            norm.weight.fill_(1)
            norm.bias.copy_(next(nameless))
        # Products of matrices are stored the other way about.
        for layer in (net.setting, net.setting_coarse, net.error_in, net.gathered_for_turn):
            layer.weight.copy_(next(nameless).T)
    assert next(nameless, None) is None, "the file holds more than the net"
    return net.eval()


def measure_norms(net, batches):
    """Sets each norm's running mean and variance to what it meets, and undoes them."""
    for _, norm in normed_convolutions(net):
        seen = []
        hook = norm.register_forward_pre_hook(lambda _, values, seen=seen: seen.append(values[0]))
        with torch.no_grad():
            for image, setting in batches:
                net(image, setting)
            values = torch.cat(seen).transpose(0, 1).flatten(1)
            mean, variance = values.mean(1), values.var(1)
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(variance)
            norm.weight.copy_(torch.sqrt(variance + norm.eps))
            norm.bias.add_(mean)
        hook.remove()


def check(net, path, image, setting):
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    rows = image.permute(0, 2, 3, 1)
    theirs = [
        session.run(["landmarks"], {"image": rows[k : k + 1].numpy(), "setting": setting[k : k + 1].numpy()})[0]
        for k in range(len(rows))
    ]
    with torch.no_grad():
        ours = net(image, setting)["place"].numpy()
    apart = np.abs(np.concatenate(theirs)[..., :2] - ours).max()
    print(f"net and file differ by {apart:.4f} pixels at most, on {len(rows)} pictures")
    if not apart < TOLERANCE:
        raise SystemExit("the net is not that of the file")


def main():
    options = arguments()
    torch.manual_seed(0)
    net = filled(nets.build(options.data), options.model)
    scenes = Scenes(Body(options.data / "body.npz"), options.data / "backgrounds.npz", seed=5, supersample=1)
    batches = []
    for _ in range(BATCHES):
        image, truth = scenes.draw(BATCH)
        batches.append((image, truth.setting))
    check(net, options.model, *(part[:8] for part in batches[0]))
    measure_norms(net, batches)
    check(net, options.model, *(part[:8] for part in batches[0]))
    options.out.parent.mkdir(parents=True, exist_ok=True)
    torch.save({"average": net.state_dict(), "steps": 0}, options.out)


if __name__ == "__main__":
    main()
