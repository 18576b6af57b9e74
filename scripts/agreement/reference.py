"""Writes ratings drawn at random, and their agreement as pingouin works it out."""

import argparse
import json
import platform
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
from scipy import stats

# Rows, raters, and the spread of rows, raters and error.
SHAPES = [
    (3, 2, 10.0, 2.0, 3.0),
    (6, 4, 4.0, 3.0, 1.0),
    (10, 3, 8.0, 0.0, 8.0),
    (17, 2, 110.0, 5.0, 25.0),
    (25, 5, 6.0, 2.0, 2.0),
    (40, 3, 1.0, 0.1, 4.0),
    (60, 2, 12.0, 6.0, 3.0),
    (200, 4, 9.0, 1.5, 2.5),
    (1000, 5, 7.0, 0.5, 5.0),
]
ICC_NAMES = {
    "ICC(1,1)": "ICC(1,1)",
    "ICC(A,1)": "ICC(2,1)",
    "ICC(C,1)": "ICC(3,1)",
    "ICC(1,k)": "ICC(1,k)",
    "ICC(A,k)": "ICC(2,k)",
    "ICC(C,k)": "ICC(3,k)",
}


def ratings(rng, n, k, rows, raters, error):
    values = (
        150.0
        + rng.normal(0.0, rows, (n, 1))
        + rng.normal(0.0, raters, (1, k))
        + rng.normal(0.0, error, (n, k))
    )
    return np.round(values, 4)


def correlations(values):
    n, k = values.shape
    table = pd.DataFrame(
        {
            "row": np.repeat(np.arange(n), k),
            "rater": np.tile(np.arange(k), n),
            "value": values.ravel(),
        }
    )
    found = pingouin.intraclass_corr(
        table, targets="row", raters="rater", ratings="value"
    ).reset_index()
    return {
        ICC_NAMES[line["Type"]]: {
            "value": float(line["ICC"]),
            "low": float(line["CI95"][0]),
            "high": float(line["CI95"][1]),
        }
        for _, line in found.iterrows()
    }


def differences(first, second):
    """SciPy's own interval of a mean, and the published formula of the limits' error."""
    d = second - first
    bias = stats.ttest_1samp(d, 0.0).confidence_interval(0.95)
    sd = float(np.std(d, ddof=1))
    half = float(stats.t.ppf(0.975, len(d) - 1)) * sd * (3 / len(d)) ** 0.5
    limits = {
        name: float(d.mean()) + sign * 1.96 * sd
        for name, sign in (("lower", -1), ("upper", 1))
    }
    return {
        "bias": {
            "value": float(d.mean()),
            "low": float(bias.low),
            "high": float(bias.high),
        },
        "sd": sd,
        "limits": {
            name: {"value": limit, "low": limit - half, "high": limit + half}
            for name, limit in limits.items()
        },
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="the JSON file to write")
    parser.add_argument("--seed", type=int, default=1979)
    args = parser.parse_args()
    # Everything that pingouin would round is kept whole.
    for option in list(pingouin.options):
        pingouin.options[option] = None
    rng = np.random.default_rng(args.seed)
    cases = []
    for shape in SHAPES:
        values = ratings(rng, *shape)
        cases.append(
            {
                "ratings": values.tolist(),
                "icc": correlations(values),
                "differences": differences(values[:, 0], values[:, 1]),
            }
        )
    names = ["numpy", "pandas", "pingouin", "scipy"]
    whole = {
        "versions": {"python": platform.python_version()}
        | {name: version(name) for name in names},
        "seed": args.seed,
        "cases": cases,
    }
    args.out.write_text(json.dumps(whole, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
