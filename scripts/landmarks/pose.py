"""Random postures and reaches of a batch of bodies.

Axes are the body's: x to the subject's left, y backward, z up, metres. A bone's own turn is about
these axes as they stand at rest, and a child's turn is its parent's times its own. A turn about x
by a positive angle bends forward. The arms' directions are set in these axes too, whatever the
trunk does.
"""

from dataclasses import dataclass

import torch

SIDES = (("L", 1.0), ("R", -1.0))


@dataclass
class Posed:
    """Where each bone is: world rotations (B, K, 3, 3) and head positions (B, K, 3)."""

    rotations: torch.Tensor
    positions: torch.Tensor


def rotation(axis, radians):
    """Rotation matrices (..., 3, 3) about `axis` (..., 3) by `radians` (...)."""
    x, y, z = torch.nn.functional.normalize(axis, dim=-1).unbind(-1)
    c, s = torch.cos(radians), torch.sin(radians)
    t = 1 - c
    rows = [
        t * x * x + c, t * x * y - s * z, t * x * z + s * y,
        t * x * y + s * z, t * y * y + c, t * y * z - s * x,
        t * x * z - s * y, t * y * z + s * x, t * z * z + c,
    ]  # fmt: skip
    return torch.stack(rows, -1).reshape(*radians.shape, 3, 3)


def between(start, end):
    """The smallest rotation that takes direction `start` (B, 3) to direction `end`."""
    start = torch.nn.functional.normalize(start, dim=-1)
    end = torch.nn.functional.normalize(end, dim=-1)
    axis = torch.cross(start, end, dim=-1)
    sine, cosine = axis.norm(dim=-1), (start * end).sum(-1)
    any_axis = torch.eye(3, device=start.device)[0].expand_as(axis)
    axis = torch.where((sine < 1e-5)[:, None], any_axis, axis)
    return rotation(axis, torch.atan2(sine, cosine))


class Draw:
    """Random tensors of one value per sample, from one generator."""

    def __init__(self, count, generator):
        self.count, self.generator, self.device = count, generator, generator.device

    def uniform(self, low, high, *shape):
        drawn = torch.empty(self.count, *shape, device=self.device)
        return drawn.uniform_(low, high, generator=self.generator)

    def normal(self, mean, sigma, *shape):
        drawn = torch.empty(self.count, *shape, device=self.device)
        return drawn.normal_(mean, sigma, generator=self.generator)

    def chance(self, probability):
        return self.uniform(0, 1) < probability

    def either(self, probability, then, otherwise):
        return torch.where(self.chance(probability), then, otherwise)


@dataclass
class Arm:
    """One arm of each sample: unit directions of upper arm and forearm (B, 3), how far the upper
    arm is raised (B,), degrees, and how far the elbow is rolled about the upper arm, radians."""

    upper: torch.Tensor
    fore: torch.Tensor
    elevation: torch.Tensor
    roll: torch.Tensor


def about(axis, degrees):
    """Turns (B, 3, 3) about one of the body's axes, 0 to 2."""
    radians = torch.deg2rad(degrees)
    turn = torch.zeros(*degrees.shape, 3, 3, device=degrees.device)
    turn[..., axis, axis] = 1
    first, second = (axis + 1) % 3, (axis + 2) % 3
    turn[..., first, first] = turn[..., second, second] = torch.cos(radians)
    turn[..., second, first] = torch.sin(radians)
    turn[..., first, second] = -torch.sin(radians)
    return turn


def draw_arms(draw):
    """Both arms: hanging, reaching (alike or each on its own), or doing anything else."""
    kind = draw.uniform(0, 1)
    reaching, busy = (kind > 0.42) & (kind < 0.88), kind >= 0.88
    alike = draw.chance(0.7)
    only_left, one_arm = draw.chance(0.5), draw.chance(0.25)
    shared_elevation = draw.either(0.75, draw.uniform(80, 190), draw.uniform(35, 120))
    # The plane of the reach: 0 forwards, 90 sideways.
    shared_plane = draw.either(
        0.42, draw.normal(4, 9), draw.either(0.72, draw.normal(86, 9), draw.uniform(0, 100))
    )
    arms = {}
    for end, sign in SIDES:
        here = reaching & ~(one_arm & (only_left == (end == "R")))
        own = draw.either(0.6, shared_elevation + draw.normal(0, 14), draw.uniform(60, 190))
        elevation = torch.where(alike, shared_elevation + draw.normal(0, 4), own).clamp(20, 192)
        plane = shared_plane + draw.normal(0, 6)
        bend = draw.either(0.7, draw.normal(0, 11).abs(), draw.uniform(0, 60))

        hanging = draw.either(0.85, draw.normal(7, 5), draw.normal(14, 9)).clamp(-22, 40)
        hanging_plane = draw.uniform(-50, 120)
        hanging_bend = draw.either(0.75, draw.normal(14, 9).abs(), draw.uniform(0, 100))
        any_elevation, any_plane, any_bend = (
            draw.uniform(-30, 150), draw.uniform(-40, 110), draw.uniform(0, 135),
        )  # fmt: skip

        elevation = torch.where(here, elevation, torch.where(busy, any_elevation, hanging))
        plane = torch.where(here, plane, torch.where(busy, any_plane, hanging_plane))
        bend = torch.where(here, bend, torch.where(busy, any_bend, hanging_bend))
        arms[end] = directed(draw, elevation, plane, torch.deg2rad(bend), sign, here)
    return arms


def directed(draw, elevation, plane, bend, sign, reaching):
    up_angle, round_angle = torch.deg2rad(elevation), torch.deg2rad(plane)
    upper = torch.stack(
        [
            torch.sin(up_angle) * torch.sin(round_angle) * sign,
            -torch.sin(up_angle) * torch.cos(round_angle),
            -torch.cos(up_angle),
        ],
        -1,
    )
    # A hanging arm clears the hip; a raised one leans out or in a little.
    aside = torch.where(elevation < 40, draw.normal(0.07, 0.05), draw.normal(0.05, 0.09))
    upper = upper + torch.stack([aside * sign, 0 * aside, 0 * aside], -1)
    upper = torch.nn.functional.normalize(upper, dim=-1)
    # The forearm bends up and inwards in a reach, forwards from a hanging arm.
    raised = torch.stack([-0.6 * sign + 0 * bend, -0.3 + 0 * bend, 0.6 + 0 * bend], -1)
    lowered = torch.stack([-0.2 * sign + 0 * bend, -1 + 0 * bend, 0.3 + 0 * bend], -1)
    onward = torch.where(reaching[:, None], raised, lowered) + draw.normal(0, 0.45, 3)
    onward = onward - (onward * upper).sum(-1, keepdim=True) * upper
    onward = torch.nn.functional.normalize(onward, dim=-1)
    fore = torch.cos(bend)[:, None] * upper + torch.sin(bend)[:, None] * onward
    # How far an arm is rolled when it is up nobody can tell from its line alone.
    rolled = -sign * (elevation - 30).clamp(min=0) * draw.uniform(-0.3, 1.15)
    roll = torch.deg2rad(draw.either(0.6, rolled, 0 * rolled) + draw.normal(0, 15))
    return Arm(upper, fore, elevation, roll)


def own_turns(body, draw, arms):
    """Each bone's own turn (B, K, 3, 3), the arms' left to their directions."""
    turns = torch.eye(3, device=draw.device).repeat(draw.count, len(body.names), 1, 1)

    def turn(bone, matrices):
        index = body.names.index(bone)
        turns[:, index] = turns[:, index] @ matrices

    overhead = torch.stack([arm.elevation for arm in arms.values()]).amax(0)
    # Who reaches overhead leans back a little, and who stands leans either way.
    lean = draw.normal(1.5, 4.5) - 0.03 * (overhead - 60).clamp(min=0) * draw.uniform(0, 1.5)
    flexion = draw.either(0.4, draw.normal(14, 13), draw.uniform(-12, 60)).clamp(-15, 60)
    bow = draw.either(0.05, draw.uniform(10, 45), 0 * lean)
    bend, twist = draw.normal(0, 2.5), draw.normal(0, 2.0)
    # Round backs are not to tell the net where the head is, nor the other way about: most necks are
    # bent so that the craniovertebral angle, which goes by this line, is spread evenly.
    angle = draw.uniform(16, 68)
    evenly = (52 - angle - 0.63 * flexion - lean) / 0.56
    neck = draw.either(0.7, evenly, draw.normal(14, 14)).clamp(-32, 56)
    tilt = draw.normal(0, 4.5)
    # Most look ahead, some to the side.
    look = draw.either(0.12, draw.uniform(-50, 50), draw.normal(0, 5))
    gaze = draw.normal(0, 6)

    turn("spine05", about(0, lean + bow) @ about(1, bend / 3))
    turn("spine04", about(0, -0.3 * flexion + draw.normal(0, 3)) @ about(1, bend / 3))
    for bone, share in (("spine03", 0.15), ("spine02", 0.35), ("spine01", 0.5)):
        turn(bone, about(0, share * flexion) @ about(1, bend / 9) @ about(2, twist * share))
    for bone, share in (("neck01", 0.45), ("neck02", 0.3), ("neck03", 0.25)):
        turn(bone, about(0, neck * share) @ about(1, tilt * share) @ about(2, look * share * 0.5))
    level = draw.uniform(0.55, 1.05)
    turn("head", about(0, gaze - level * (neck + lean + 0.7 * flexion)))
    turn("head", about(2, look * 0.5) @ about(1, draw.normal(0, 2)))

    for end, sign in SIDES:
        above = (arms[end].elevation - 30).clamp(min=0)
        rise = above * draw.uniform(0.05, 0.28) + draw.normal(0, 4)
        protraction = draw.either(0.5, draw.normal(9, 9), draw.uniform(-10, 30)) + 0.05 * (arms[end].elevation.clamp(max=100) - 20).clamp(min=0)
        turn("clavicle." + end, about(1, -sign * rise) @ about(2, -sign * protraction))
        turn("shoulder01." + end, about(1, -sign * above * draw.uniform(0.05, 0.2)))
        # Stance: from legs together to a stride.
        stride = draw.either(0.15, draw.normal(0, 16), draw.normal(0, 3))
        turn("upperleg01." + end, about(0, stride) @ about(1, sign * draw.normal(6, 3)))
    return turns


def pose(body, heads, generator):
    """Poses bodies whose bones lie at `heads` (B, K, 3) at rest."""
    draw = Draw(len(heads), generator)
    arms = draw_arms(draw)
    turns = own_turns(body, draw, arms)
    at = {name: index for index, name in enumerate(body.names)}
    rotations, positions = [None] * len(at), [None] * len(at)
    for bone, name in enumerate(body.names):
        parent = body.parents[bone]
        if parent < 0:
            rotations[bone], positions[bone] = turns[:, bone], heads[:, bone]
            continue
        offset = heads[:, bone] - heads[:, parent]
        positions[bone] = positions[parent] + (rotations[parent] @ offset[..., None])[..., 0]
        end = name[-1]

        def towards(direction, tip, parent=parent, bone=bone):
            """The parent's turn, and from there straight to `direction`: the twist stays natural."""
            rest = (rotations[parent] @ (heads[:, at[tip]] - heads[:, bone])[..., None])[..., 0]
            return between(rest, direction) @ rotations[parent]

        if name.startswith("upperarm01"):
            # Half of the roll here and half further down: skin does not wring.
            half = rotation(arms[end].upper, arms[end].roll / 2)
            rotations[bone] = half @ towards(arms[end].upper, "lowerarm01." + end)
        elif name.startswith("upperarm02"):
            rotations[bone] = rotation(arms[end].upper, arms[end].roll / 2) @ rotations[parent]
        elif name.startswith("lowerarm01"):
            rotations[bone] = towards(arms[end].fore, "wrist." + end)
        elif name.startswith("lowerarm02"):
            pronation = torch.deg2rad(draw.uniform(-60, 60))
            rotations[bone] = rotation(arms[end].fore, pronation) @ rotations[parent]
        elif name.startswith("wrist"):
            flap = rotation(draw.normal(0, 1, 3), torch.deg2rad(draw.normal(0, 14)))
            rotations[bone] = flap @ rotations[parent]
        else:
            rotations[bone] = rotations[parent] @ turns[:, bone]
    return Posed(torch.stack(rotations, 1), torch.stack(positions, 1)), arms
