"""Trains the landmark net on pictures made as it goes; on one or several GPUs, or a CPU.

    python train.py --data DATA --out OUT --seconds 500 --until 0.5
    python train.py --data DATA --out OUT --seconds 500 --from 0.5 --until 1 --resume OUT/state.pt
    torchrun --nproc-per-node 2 train.py ...

A training may be cut into runs: each covers the part of the schedule between --from and --until,
and leaves the state that the next one resumes.
"""

import argparse
import copy
import json
import math
import os
import time
from pathlib import Path

import torch
from torch import distributed

import net as nets
from body import Body
from scene import Scenes, again

# The most pictures kept for a second use, in batches.
KEPT = 40
DRAWN_AT_ONCE = 2
SAVED_EVERY_SECONDS = 120
WARM_UP_STEPS = 200
LARGEST_GRADIENT = 5.0
BACKBONE_RATE = 0.25


def arguments():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True, help="folder with the exported files")
    parser.add_argument("--out", type=Path, required=True, help="folder for what comes out")
    parser.add_argument("--seconds", type=float, default=60, help="how long to train")
    parser.add_argument("--from", dest="start", type=float, default=0.0,
                        help="part of the schedule that is behind")  # fmt: skip
    parser.add_argument("--until", type=float, default=1.0, help="and at the end of this run")
    parser.add_argument("--resume", type=Path, help="state.pt or weights.pt of an earlier run")
    parser.add_argument("--batch", type=int, default=128, help="pictures a step and device")
    parser.add_argument("--uses", type=int, default=2, help="steps for each picture made")
    parser.add_argument("--rate", type=float, default=2e-3, help="largest learning rate")
    parser.add_argument("--seed", type=int, default=1, help="of weights and pictures")
    parser.add_argument("--supersample", type=int, default=2, help="rendered pixels a pixel")
    return parser.parse_args()


class Average:
    """The running mean of the weights: what is kept of the net."""

    def __init__(self, net):
        self.net = copy.deepcopy(net).eval()
        self.steps = 0

    @torch.no_grad()
    def follow(self, net):
        self.steps += 1
        rate = 1 - min(0.999, self.steps / (self.steps + 19))
        torch._foreach_lerp_(list(self.net.parameters()), list(net.parameters()), rate)
        for mine, theirs in zip(self.net.buffers(), net.buffers()):
            if mine.dtype.is_floating_point:
                mine.lerp_(theirs, rate)


class Trainer:
    def __init__(self, options, device, rank, ranks):
        self.options, self.device, self.rank, self.ranks = options, device, rank, ranks
        torch.manual_seed(options.seed)
        self.net = nets.build(options.data).to(device)
        if device.type == "cuda":
            self.net = self.net.to(memory_format=torch.channels_last)
        backbone = list(self.net.backbone.parameters())
        known = {id(p) for p in backbone}
        head = [p for p in self.net.parameters() if id(p) not in known]
        self.optimiser = torch.optim.AdamW(
            [
                {"params": backbone, "base": options.rate * BACKBONE_RATE},
                {"params": head, "base": options.rate},
            ],
            lr=options.rate,
            weight_decay=1e-3,
            betas=(0.9, 0.98),
            fused=device.type == "cuda",
        )
        self.average = Average(self.net)
        self.steps = 0
        if options.resume:
            self.resume(torch.load(options.resume, map_location=device))
        body = Body(options.data / "body.npz", device)
        backgrounds = options.data / "backgrounds.npz"
        seed = 1_000_003 * options.seed + 7919 * rank + int(1e6 * options.start)
        self.scenes = Scenes(body, backgrounds, seed, supersample=options.supersample)
        self.chooser = torch.Generator().manual_seed(seed)
        self.fresh, self.kept = [], []
        # Between processors, so that keeping time never waits for the GPUs.
        self.clock = distributed.new_group(backend="gloo") if ranks > 1 else None

    def resume(self, state):
        if "optimiser" in state:
            self.net.load_state_dict(state["net"])
            self.optimiser.load_state_dict(state["optimiser"])
            self.steps = state["steps"]
        else:
            self.net.load_state_dict(state["average"])
        self.average.net.load_state_dict(state["average"])
        self.average.steps = state["steps"]

    def save(self):
        whole = {
            "net": self.net.state_dict(),
            "optimiser": self.optimiser.state_dict(),
            "average": self.average.net.state_dict(),
            "steps": self.steps,
        }
        torch.save(whole, self.options.out / "state.pt")
        torch.save({k: whole[k] for k in ("average", "steps")}, self.options.out / "weights.pt")

    def pictures(self):
        """A fresh batch, or an earlier one seen anew."""
        if self.steps % self.options.uses and self.kept:
            pick = int(torch.randint(len(self.kept), (), generator=self.chooser))
            image, truth = self.kept[pick]
            order = self.scenes.body.mirrored_order
            return again(image.float(), truth, order, self.scenes.generator)
        if not self.fresh:
            # Drawing many at once keeps the GPU busy.
            image, truth = self.scenes.draw(DRAWN_AT_ONCE * self.options.batch)
            image = image.half() if self.device.type == "cuda" else image
            parts = torch.arange(len(image), device=self.device).split(self.options.batch)
            self.fresh = [(image[part], truth.only(part)) for part in parts]
        image, truth = self.fresh.pop()
        place = self.steps // self.options.uses % KEPT
        self.kept[place : place + 1] = [(image, truth)]
        return image.float(), truth

    def step(self, progress):
        rate = (0.5 * (1 + math.cos(math.pi * progress)) * 0.99 + 0.01) * min(
            1, (self.steps + 1) / WARM_UP_STEPS
        )
        for group in self.optimiser.param_groups:
            group["lr"] = group["base"] * rate
        image, truth = self.pictures()
        if self.device.type == "cuda":
            image = image.contiguous(memory_format=torch.channels_last)
        self.net.train()
        with torch.autocast("cuda", torch.bfloat16, enabled=self.device.type == "cuda"):
            out = self.net(image, truth.setting)
        total, parts = nets.loss(out, vars(truth), progress)
        self.optimiser.zero_grad(set_to_none=True)
        total.backward()
        self.settle_gradients()
        self.optimiser.step()
        self.average.follow(self.net)
        self.steps += 1
        return parts

    def settle_gradients(self):
        """The same gradients on all devices, none too large; a batch gone wrong teaches nothing.
        Nothing here waits for the GPU."""
        gradients = [p.grad for p in self.net.parameters() if p.grad is not None]
        flat = torch.cat([gradient.flatten() for gradient in gradients])
        if self.ranks > 1:
            distributed.all_reduce(flat)
            flat /= self.ranks
        size = flat.norm()
        flat = flat * (LARGEST_GRADIENT / (size + 1e-6)).clamp(max=1)
        flat = torch.where(torch.isfinite(size), flat, torch.zeros_like(flat))
        parts = flat.split([gradient.numel() for gradient in gradients])
        for gradient, part in zip(gradients, parts):
            gradient.copy_(part.view_as(gradient))

    def progress(self, started):
        """How far the schedule is, the same on all devices; `None` when this run's time is up."""
        options = self.options
        share = torch.tensor((time.time() - started) / options.seconds)
        if self.ranks > 1:
            distributed.broadcast(share, 0, group=self.clock)
        if share > 1:
            return None
        return options.start + (options.until - options.start) * float(share)

    def train(self):
        options, started, log = self.options, time.time(), []
        begun, saved = self.steps, started
        while (progress := self.progress(started)) is not None:
            parts = self.step(progress)
            done = self.steps - begun
            if self.rank == 0 and (done in (1, 10, 50) or done % 200 == 0):
                row = {name: round(value.item(), 3) for name, value in parts.items()}
                row |= {"step": self.steps, "seconds": round(time.time() - started, 1)}
                row["progress"] = round(progress, 3)
                log.append(row)
                print(json.dumps(row), flush=True)
            if self.rank == 0 and time.time() - saved > SAVED_EVERY_SECONDS:
                saved = time.time()
                self.save()
        if self.rank == 0:
            self.save()
            told = {name: value for name, value in vars(options).items() if not isinstance(value, Path)}
            told |= {"resume": options.resume is not None, "devices": self.ranks}
            (options.out / f"log-{options.start:g}-{options.until:g}.json").write_text(
                json.dumps({"options": told, "log": log}, indent=1)
            )


def main():
    options = arguments()
    options.out.mkdir(parents=True, exist_ok=True)
    ranks, rank = int(os.environ.get("WORLD_SIZE", 1)), int(os.environ.get("LOCAL_RANK", 0))
    device = torch.device(f"cuda:{rank}" if torch.cuda.is_available() else "cpu")
    if device.type == "cuda":
        torch.cuda.set_device(device)
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
    if ranks > 1:
        distributed.init_process_group("nccl" if device.type == "cuda" else "gloo")
    Trainer(options, device, rank, ranks).train()
    if ranks > 1:
        distributed.destroy_process_group()


if __name__ == "__main__":
    main()
