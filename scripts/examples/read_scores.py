"""Read the table of tragus batch with pandas: columns, measured rows, mean and sigma by measure."""

import argparse
import json
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq

NUMBERS = ["value", "sigma"]
COLUMNS = ["photo", "person", "view", "task", "measure", "side", *NUMBERS, "unit", "status", "reason"]


def read(path):
    if path.suffix == ".parquet":
        return pd.read_parquet(path)
    if path.suffix == ".jsonl":
        return pd.read_json(path, lines=True, dtype={name: float if name in NUMBERS else str for name in COLUMNS}, convert_dates=False)
    # An empty side means that the measure has none; only an empty number is a missing value.
    text = pd.read_csv(path, dtype=str, keep_default_na=False)
    return text.assign(**{name: pd.to_numeric(text[name]) for name in NUMBERS})


def descriptions(path):
    """What each column holds: a Parquet file says it itself, beside a CSV file lies another."""
    if path.suffix == ".parquet":
        prefix = b"column:"
        metadata = pq.read_schema(path).metadata
        return {key.removeprefix(prefix).decode(): text.decode() for key, text in metadata.items() if key.startswith(prefix)}
    beside = path.with_name(f"{path.name}-metadata.json")
    if not beside.exists():
        return {}
    columns = json.loads(beside.read_text(encoding="utf-8"))["tableSchema"]["columns"]
    return {column["name"]: column["dc:description"] for column in columns}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", type=Path, help="scores.parquet, .csv or .jsonl")
    path = parser.parse_args().scores
    if not path.is_file():
        parser.error(f"no such table: {path}")

    scores = read(path)
    for column, text in descriptions(path).items():
        print(f"{column}: {text}")

    measured = scores[scores["status"] == "measured"]
    # A measure may come in several units, and then each is a number of its own.
    by_measure = measured.groupby(["task", "measure", "unit"])
    print()
    print(by_measure.agg(rows=("value", "size"), mean=("value", "mean"), sigma=("sigma", "mean")).round(2).to_string())
    print()
    print(scores.loc[scores["status"] == "unmeasured", "reason"].value_counts().to_string())


if __name__ == "__main__":
    main()
