"""Smooth noise, and blurs whose width differs from picture to picture.

A blur is two multiplications by band matrices, one for each direction: with a width of its own for
every picture that is faster than convolutions in groups.
"""

import torch
import torch.nn.functional as functional


def per_picture(values, dimensions=4):
    """Values (B,) or (B, C) shaped to meet (B, C, H, W), or (B, H, W) if `dimensions` is 3."""
    if values.dim() == 1 and dimensions == 4:
        values = values[:, None]
    return values.reshape(*values.shape, *[1] * (dimensions - values.dim()))


def gaussian_matrix(sigma, size):
    """Blurring matrices (B, size, size) of `sigma` (B,) pixels; edges repeat by normalisation."""
    at = torch.arange(size, device=sigma.device, dtype=torch.float32)
    offset = at[:, None] - at[None]
    return torch.softmax(-0.5 * (offset / sigma.clamp_min(0.1)[:, None, None]) ** 2, -1)


def along_both(image, rows, columns):
    """`rows` (B, H', H) from the left and `columns` (B, W', W) from the right of (B, C, H, W)."""
    return rows[:, None] @ image @ columns.transpose(1, 2)[:, None]


def blurred(image, sigma):
    """`image` (B, C, H, W) with a Gaussian of `sigma` (B,) pixels."""
    height, width = image.shape[-2:]
    return along_both(image, gaussian_matrix(sigma, height), gaussian_matrix(sigma, width))


def cloud(draw, channels, cells, size):
    """Smooth noise (B, channels, size, size) of unit spread, about `cells` lumps across."""
    lumps = draw.normal(0, 1, channels, cells, cells)
    return functional.interpolate(lumps, size=(size, size), mode="bilinear", align_corners=False)


def periodic_noise(channels, cells, dimensions, generator):
    """Noise (channels, cells + 1, ...) whose opposite faces are alike, for `lookup`."""
    noise = torch.randn(
        channels, *[cells] * dimensions, device=generator.device, generator=generator
    )
    for axis in range(1, dimensions + 1):
        noise = torch.cat([noise, noise.narrow(axis, 0, 1)], axis)
    return noise


def lookup(noise, coordinates):
    """Periodic noise (C, ...) at coordinates (B, D, *rest), period 1: (B, C, *rest)."""
    wrapped = 2 * (coordinates - coordinates.floor()) - 1
    count, dimensions = wrapped.shape[:2]
    rest = wrapped.shape[2:]
    grid = wrapped.flatten(2).transpose(1, 2).reshape(count, *[1] * (dimensions - 1), -1, dimensions)
    value = functional.grid_sample(
        noise[None].expand(count, *noise.shape), grid, mode="bilinear", align_corners=True
    )
    return value.reshape(count, noise.shape[0], *rest)
