"""The rolling part alone, by pandas and by DuckDB: what the engine's analysis is compared with.

    rolling.py FOLDER

For each machine of a data folder (README: one Parquet file a machine and UTC day, values as scaled integers): level (mean of 20 s), slope and
spread of the chocolate over 3 and 20 minutes, lowest and highest of 10 minutes, mean of the jacket over 5. Processor time of the process is printed.
"""

import pathlib
import sys
import time

import duckdb
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq


def read(file):
    table = pq.read_table(file, columns=["t", "chocolate", "jacket"], partitioning=None)
    # Before pandas sees them: it would make a Python object of each decimal, which takes longer than all the rolling.
    floats = [(name, pa.float64()) for name in ("chocolate", "jacket")]
    return table.cast(pa.schema([table.schema.field("t"), *floats])).to_pandas()


def by_pandas(files):
    frame = pd.concat([read(file) for file in files])
    frame = frame.set_index("t").sort_index()
    chocolate, jacket = frame["chocolate"], frame["jacket"]
    seconds = pd.Series((frame.index - frame.index[0]).total_seconds(), index=frame.index)
    made = [chocolate.rolling("20s").mean(), jacket.rolling("300s").mean()]
    for window in ("180s", "1200s"):
        made.append(chocolate.rolling(window).std())
        made.append(chocolate.rolling(window).cov(seconds) / seconds.rolling(window).var())
    made += [chocolate.rolling("600s").min(), chocolate.rolling("600s").max()]
    return sum(len(column) for column in made)


def by_duckdb(files):
    over = "OVER (ORDER BY t RANGE BETWEEN INTERVAL {} SECOND PRECEDING AND CURRENT ROW)"
    windows = [("avg(chocolate)", 20), ("avg(jacket)", 300)]
    for window in (180, 1200):
        windows += [("stddev(chocolate)", window), ("regr_slope(chocolate, epoch(t))", window)]
    windows += [("min(chocolate)", 600), ("max(chocolate)", 600)]
    columns = ", ".join(f"{what} {over.format(window)} AS c{n}" for n, (what, window) in enumerate(windows))
    sums = ", ".join(f"sum(c{n})" for n in range(len(windows)))
    names = ", ".join(f"'{file}'" for file in files)
    source = f"(SELECT t, CAST(chocolate AS DOUBLE) chocolate, CAST(jacket AS DOUBLE) jacket FROM read_parquet([{names}]))"
    connection = duckdb.connect()
    connection.execute("SET threads = 1")
    connection.execute(f"SELECT {sums} FROM (SELECT {columns} FROM {source})").fetchall()


def main():
    machines = sorted(pathlib.Path(sys.argv[1], "readings").glob("machine=*"))
    for name, work in (("pandas", by_pandas), ("duckdb", by_duckdb)):
        began = time.process_time()
        for machine in machines:
            work(sorted(str(file) for file in machine.glob("date=*/*.parquet")))
        print(f"{name:8} {time.process_time() - began:8.2f} s of a core, {len(machines)} machines")


main()
