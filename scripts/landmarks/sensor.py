"""What a phone does to a scene: its photo's resolution, lens, exposure, noise, sharpening and JPEG.

The net sees a crop that was looked up in a photo whose pixels are mostly coarser than the crop's.
So the scene is first brought to the photo's pixels, spoilt there, and then looked up again.
"""

import math

import torch

from filters import along_both, per_picture

BLOCK = 8
# Luminance steps of the JPEG standard's example table (ISO/IEC 10918-1, annex K).
LUMINANCE_STEPS = (
    (16, 11, 10, 16, 24, 40, 51, 61), (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56), (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77), (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101), (72, 92, 95, 98, 112, 100, 103, 99),
)  # fmt: skip
LUMA = (0.299, 0.587, 0.114)


class Sensor:
    def __init__(self, size, device):
        self.size = size
        # One block more than the crop, so that blocks may begin before it.
        self.cells = size + BLOCK
        frequency = torch.arange(BLOCK, device=device, dtype=torch.float32)
        cosines = torch.cos((2 * frequency[None] + 1) * frequency[:, None] * math.pi / (2 * BLOCK))
        cosines = cosines * math.sqrt(2 / BLOCK)
        cosines[0] /= math.sqrt(2)
        # Both directions at once, over the 64 pixels of a block.
        self.transform = torch.kron(cosines, cosines)
        luminance = torch.tensor(LUMINANCE_STEPS, device=device, dtype=torch.float32).flatten()
        self.steps = torch.stack([luminance, 1.6 * luminance, 1.6 * luminance])
        red, green, blue = LUMA
        self.to_ycc = torch.tensor(
            [[red, green, blue],
             [-red / 1.772, -green / 1.772, (1 - blue) / 1.772],
             [(1 - red) / 1.402, -green / 1.402, -blue / 1.402]],
            device=device,
        )  # fmt: skip
        self.to_rgb = torch.linalg.inv(self.to_ycc)

    def coarseness(self, draw, millimetres_per_pixel):
        """Photo pixels in crop pixels (B,): from 1 to 8 mm, mostly 3 to 7."""
        wide = torch.exp(draw.uniform(0.0, math.log(8)))
        usual = torch.exp(draw.uniform(math.log(3), math.log(7)))
        return draw.either(0.5, usual, wide) / millimetres_per_pixel

    def expose(self, draw, image):
        """White balance, contrast, saturation, tone curve, vignette."""
        image = image * (1 + draw.normal(0, 0.05, 3, 1, 1)) + draw.normal(0, 0.025, 1, 1, 1)
        mean = image.mean((2, 3), keepdim=True)
        image = mean + (image - mean) * draw.uniform(0.75, 1.25, 1, 1, 1)
        grey = image.mean(1, keepdim=True)
        vivid = draw.either(0.96, draw.uniform(0.7, 1.3), torch.zeros(draw.count, device=draw.device))
        image = grey + (image - grey) * per_picture(vivid)
        return image.clamp(0, 1) ** torch.exp(draw.normal(0, 0.2, 1, 1, 1))

    def take(self, draw, image, millimetres_per_pixel):
        """The crop (B, 3, S, S), from 0 to 1, as looked up in a photo of `image`."""
        image = self.expose(draw, image)
        coarse = self.coarseness(draw, millimetres_per_pixel)
        # A photo finer than the crop is halved before it is looked up: nothing is gained from it.
        pitch = coarse.clamp(1.0, 8.0)
        fine = (1 / coarse).clamp_min(1.0)
        start = -draw.uniform(0, BLOCK, 2) * pitch[:, None]
        lens = draw.uniform(0.30, 0.65)
        moved = draw.either(0.06, draw.uniform(0.3, 1.5), 0 * lens)
        angle = draw.uniform(0, 2 * math.pi)
        poor = draw.either(0.12, draw.uniform(0.2, 1.6), 0 * lens)
        spread_y = torch.sqrt((lens * pitch) ** 2 + (moved * angle.sin()) ** 2 + poor**2)
        spread_x = torch.sqrt((lens * pitch) ** 2 + (moved * angle.cos()) ** 2 + poor**2)
        sharpen = draw.either(0.6, draw.uniform(0.0, 0.35), 0 * lens)
        rows = self.down(start[:, 1], pitch, spread_y, sharpen)
        columns = self.down(start[:, 0], pitch, spread_x, sharpen)
        photo = along_both(image, rows, columns)
        photo = self.grain(draw, photo, fine)
        photo = self.jpeg(draw, photo.clamp(0, 1), fine)
        back = along_both(photo, self.up(start[:, 1], pitch), self.up(start[:, 0], pitch))
        return back.clamp(0, 1)

    def centres(self, start, pitch):
        """Of the photo's pixels, in pixels of the crop (B, cells)."""
        cell = torch.arange(self.cells, device=start.device) + 0.5
        return start[:, None] + cell * pitch[:, None]

    def down(self, start, pitch, spread, sharpen):
        """Crop to photo (B, cells, size), blurred, then sharpened along the line."""
        centre = self.centres(start, pitch).clamp(0, self.size)
        pixel = torch.arange(self.size, device=start.device) + 0.5
        offset = (pixel - centre[..., None]) / spread[:, None, None]
        matrix = torch.softmax(-0.5 * offset**2, -1)
        neighbours = (matrix.roll(1, 1) + matrix.roll(-1, 1)) / 2
        return matrix + sharpen[:, None, None] * (matrix - neighbours)

    def up(self, start, pitch):
        """Photo to crop, bilinear (B, size, cells)."""
        pixel = torch.arange(self.size, device=start.device) + 0.5
        offset = (pixel[:, None] - self.centres(start, pitch)[:, None]) / pitch[:, None, None]
        weight = (1 - offset.abs()).clamp_min(0)
        return weight / weight.sum(-1, keepdim=True).clamp_min(1e-6)

    def grain(self, draw, photo, fine):
        """Noise, more of it in the dark, less where many photo pixels make one of the crop's."""
        strength = (draw.uniform(0, 1) ** 3 * 0.045 + 0.002) / fine
        dark = 1.3 - 0.6 * photo.mean(1, keepdim=True)
        return photo + draw.normal(0, 1, *photo.shape[1:]) * per_picture(strength) * dark

    def jpeg(self, draw, photo, fine):
        """Rounds the blocks' frequencies as a JPEG of random quality does."""
        count, cells = draw.count, self.cells
        ycc = torch.einsum("ij,bjhw->bihw", self.to_ycc, photo) * 255
        across = cells // BLOCK
        blocks = ycc.reshape(count, 3, across, BLOCK, across, BLOCK).transpose(3, 4).flatten(4)
        frequencies = blocks @ self.transform.T
        quality = draw.either(0.8, draw.uniform(0.05, 0.9), draw.uniform(0.5, 1.8)) / fine
        steps = (quality[:, None, None] * self.steps).clamp_min(1)[:, :, None, None]
        frequencies = torch.round(frequencies / steps) * steps
        blocks = (frequencies @ self.transform).unflatten(4, (BLOCK, BLOCK))
        ycc = blocks.transpose(3, 4).reshape(count, 3, cells, cells) / 255
        return torch.einsum("ij,bjhw->bihw", self.to_rgb, ycc)
