"""Measures a trained net on people whose shapes it has not seen.

    python evaluate.py --data DATA --weights OUT/weights.pt --out OUT

Writes `figures.json` (by setting and landmark: errors in millimetres, how often the truth lies in
the claimed ellipses; by setting: errors of the turns in degrees), prints the main ones, and draws
`sheet.png`: some pictures with what was found in them.
"""

import argparse
import json
from pathlib import Path

import numpy as np
import torch
from PIL import Image, ImageDraw

import net as nets
from body import Body
from scene import Scenes, setting_names

# A two-dimensional normal error lies within 1 and 2 sigma so often.
IDEAL = {"1": 0.393, "2": 0.865}
SHEET = (6, 8)


def arguments():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True, help="folder with the exported files")
    parser.add_argument("--weights", type=Path, required=True, help="weights.pt of a training")
    parser.add_argument("--out", type=Path, required=True, help="folder for what comes out")
    parser.add_argument("--pictures", type=int, default=2048, help="how many are measured")
    parser.add_argument("--batch", type=int, default=64, help="pictures at a time")
    parser.add_argument("--seed", type=int, default=777, help="of the pictures")
    return parser.parse_args()


def load(options, device):
    net = nets.build(options.data)
    net.load_state_dict(torch.load(options.weights, map_location="cpu")["average"])
    return net.to(device).eval()


@torch.no_grad()
def run(net, scenes, options):
    """What the net found and what is true, over all pictures; and the first ones for the sheet."""
    kept, sheet = [], []
    for start in range(0, options.pictures, options.batch):
        image, truth = scenes.draw(options.batch, held_out=True)
        out = net(image, truth.setting)
        squared, _ = nets.squared_distance(out, truth.place)
        off = (out["place"] - truth.place).norm(dim=-1)
        row = {
            "pixels": off,
            "millimetres": off * truth.millimetres[:, None],
            "squared": squared,
            "inside": truth.inside,
            "visible": truth.visible,
            "seen": torch.sigmoid(out["seen"]),
            "turn": torch.rad2deg(out["turn"] - truth.turn),
            "turn_sigma": torch.rad2deg(torch.exp(out["log_turn_sigma"])),
            "setting": truth.setting.argmax(1),
        }
        kept.append({name: value.float().cpu().numpy() for name, value in row.items()})
        if start < SHEET[0] * SHEET[1]:
            sheet += [
                (picture, place, true)
                for picture, place, true in zip(
                    image.cpu().numpy(), out["place"].cpu().numpy(), truth.place.cpu().numpy()
                )
            ]
    return {name: np.concatenate([row[name] for row in kept]) for name in kept[0]}, sheet


def figures(found, names):
    by_setting = {}
    for number, setting in enumerate(setting_names()):
        here = found["setting"] == number
        if not here.any():
            continue
        landmarks = {}
        for index, name in enumerate(names):
            cases = here & (found["inside"][:, index] > 0) & (found["visible"][:, index] > 0)
            if cases.sum() < 5:
                continue
            error = found["millimetres"][cases, index]
            squared = found["squared"][cases, index]
            landmarks[name] = {
                "cases": int(cases.sum()),
                "median_mm": round(float(np.median(error)), 2),
                "mean_mm": round(float(error.mean()), 2),
                "p90_mm": round(float(np.percentile(error, 90)), 2),
                "within_1_sigma": round(float((squared < 1).mean()), 3),
                "within_2_sigma": round(float((squared < 4).mean()), 3),
            }
        turns = {}
        for index, name in enumerate(("trunk", "head")):
            error, sigma = found["turn"][here, index], found["turn_sigma"][here, index]
            turns[name] = {
                "mean_degrees": round(float(np.abs(error).mean()), 2),
                "bias_degrees": round(float(error.mean()), 2),
                "median_degrees": round(float(np.median(np.abs(error))), 2),
                "sigma_degrees": round(float(sigma.mean()), 2),
                "within_1_sigma": round(float((np.abs(error) < sigma).mean()), 3),
                "within_1.96_sigma": round(float((np.abs(error) < 1.96 * sigma).mean()), 3),
            }
        by_setting[setting] = {"pictures": int(here.sum()), "landmarks": landmarks, "turns": turns}
    return {"ideal_within": IDEAL, "settings": by_setting}


def draw_sheet(sheet, path):
    rows, columns = SHEET
    size = sheet[0][0].shape[-1]
    whole = Image.new("RGB", (columns * size, rows * size))
    for number, (picture, found, true) in enumerate(sheet[: rows * columns]):
        tile = Image.fromarray((picture.transpose(1, 2, 0) * 255).round().astype(np.uint8))
        pen = ImageDraw.Draw(tile)
        for (x, y), (true_x, true_y) in zip(found, true):
            pen.line([(x, y), (true_x, true_y)], fill=(255, 255, 0))
            pen.ellipse([true_x - 2, true_y - 2, true_x + 2, true_y + 2], outline=(0, 255, 0))
        whole.paste(tile, (number % columns * size, number // columns * size))
    whole.save(path)


def main():
    options = arguments()
    options.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = load(options, device)
    body = Body(options.data / "body.npz", device)
    scenes = Scenes(body, options.data / "backgrounds.npz", options.seed)
    found, sheet = run(net, scenes, options)
    result = figures(found, body.landmark_names)
    (options.out / "figures.json").write_text(json.dumps(result, indent=1))
    draw_sheet(sheet, options.out / "sheet.png")
    for setting, part in result["settings"].items():
        print(f"{setting}: {part['pictures']} pictures; turns {part['turns']}")
        for name, row in part["landmarks"].items():
            print(f"  {name:22s}", row)


if __name__ == "__main__":
    main()
