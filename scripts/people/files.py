"""Files written whole or not at all, so that several processes may share a folder."""

import csv
import io
import json
import os


def write_text(path, text):
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_text(text)
    os.replace(part, path)


def write_json(path, value):
    write_text(path, json.dumps(value, indent=1) + "\n")


def write_csv(path, header, rows):
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerows([header, *rows])
    write_text(path, text.getvalue())
