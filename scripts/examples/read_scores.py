"""Read the table of tragus batch with pandas: columns, measured rows, mean and sigma by measure."""

import argparse
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq

NUMBERS = ["value", "sigma"]


def read(path):
    if path.suffix == ".parquet":
        return pd.read_parquet(path)
    if path.suffix == ".jsonl":
        return pd.read_json(path, lines=True, dtype={"photo": str, "person": str})
    # An empty side means that the measure has none; only an empty number is a missing value.
    text = pd.read_csv(path, dtype=str, keep_default_na=False)
    return text.assign(**{name: pd.to_numeric(text[name]) for name in NUMBERS})


def descriptions(path):
    """What each column holds, as the Parquet file itself says."""
    metadata = pq.read_schema(path).metadata
    prefix = b"column:"
    return {key.removeprefix(prefix).decode(): text.decode() for key, text in metadata.items() if key.startswith(prefix)}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", type=Path, help="scores.parquet, .csv or .jsonl")
    path = parser.parse_args().scores

    scores = read(path)
    if path.suffix == ".parquet":
        for column, text in descriptions(path).items():
            print(f"{column}: {text}")
        print()

    measured = scores[scores["status"] == "measured"]
    # A measure may come in several units, and then each is a number of its own.
    by_measure = measured.groupby(["task", "measure", "unit"])
    print(by_measure.agg(rows=("value", "size"), mean=("value", "mean"), sigma=("sigma", "mean")).round(2).to_string())
    print()
    print(scores.loc[scores["status"] == "unmeasured", "reason"].value_counts().to_string())


if __name__ == "__main__":
    main()
