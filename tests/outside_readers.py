"""Compares a machine's parts, as three readers of Parquet see them, with what `halfdegree export` says.

Each reader opens every part by itself and the folder as one table; the values are compared as numbers to a thousandth, which
is what the store keeps. A moment may stand in more than one row (see crates/store/src/part.rs), and what is still in the
journal is in the export alone, so of the export only the moments up to the last of the parts are asked for.
"""

import csv
import glob
import sys
from datetime import datetime, timezone

import duckdb
import polars
import pyarrow.parquet

CHANNELS = ["chocolate", "jacket", "room", "humidity", "setpoint", "stirrer", "motor"]


def milliseconds(moment):
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=timezone.utc)
    return round(moment.timestamp() * 1000)


def slots(rows):
    """(t, channel) -> thousandths, or None for a `missing` reading."""
    found = {}
    for row in rows:
        t = milliseconds(row["t"])
        for place, channel in enumerate(CHANNELS):
            if row[channel] is not None:
                found[t, channel] = round(float(row[channel]) * 1000)
            elif row["quality"] >> place & 1:
                found[t, channel] = None
    return found


def exported(path):
    found = {}
    with open(path, newline="") as file:
        for row in csv.DictReader(file):
            t = milliseconds(datetime.fromisoformat(row["time"].replace("Z", "+00:00")))
            for channel in CHANNELS:
                if row.get(channel):
                    found[t, channel] = round(float(row[channel]) * 1000)
            for channel in row["missing"].split():
                found[t, channel] = None
    return found


def by_pyarrow(pattern):
    rows = []
    for path in sorted(glob.glob(pattern)):
        rows += pyarrow.parquet.ParquetFile(path).read().to_pylist()
    return slots(rows)


def by_polars(pattern):
    rows = []
    for path in sorted(glob.glob(pattern)):
        rows += polars.read_parquet(path, hive_partitioning=False).to_dicts()
    return slots(rows)


def by_duckdb(pattern):
    connection = duckdb.connect()
    connection.execute("SET TimeZone = 'UTC'")
    columns = ", ".join(["t", "quality", *CHANNELS])
    query = f"SELECT {columns} FROM read_parquet(?, union_by_name = true)"
    answer = connection.execute(query, [pattern])
    names = [column[0] for column in answer.description]
    return slots(dict(zip(names, row)) for row in answer.fetchall())


def main():
    folder, csv_path, parquet_path = sys.argv[1:]
    pattern = f"{folder}/date=*/part-*.parquet"
    told = exported(csv_path)
    failed = False
    for name, read in [("pyarrow", by_pyarrow), ("polars", by_polars), ("duckdb", by_duckdb)]:
        found = read(pattern)
        last = max(t for t, _ in found)
        expected = {slot: value for slot, value in told.items() if slot[0] <= last}
        whole = read(parquet_path)
        same = found == expected and whole == told
        failed |= not same
        print(f"{folder}: {name}: {len(found)} readings in parts, {len(whole)} in the export:", "equal" if same else "NOT EQUAL")
    sys.exit(failed)


main()
