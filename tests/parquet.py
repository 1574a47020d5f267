"""The Parquet tables as two other readers see them: polars and DuckDB against the CSV of the same answer.

Usage: python tests/parquet.py target/debug/edgewitness
"""
import csv
import math
import pathlib
import subprocess
import sys
import tempfile

import duckdb
import polars

program = sys.argv[1]
capture = pathlib.Path(__file__).parent.parent / "sample-captures" / "as-found.vcd"


def same(cell, value):
    if value is None or cell == "":
        return (value is None or value == "") and cell == ""
    if isinstance(value, float):
        return math.isclose(float(cell), value, rel_tol=1e-15, abs_tol=0.0)
    return cell == str(value)


def check(name, reader, headings, rows, expected):
    assert headings == expected[0], f"{name} in {reader}: {headings}"
    assert len(rows) == len(expected) - 1, f"{name} in {reader}: {len(rows)} rows, expected {len(expected) - 1}"
    for number, (row, cells) in enumerate(zip(rows, expected[1:])):
        assert all(map(same, cells, row)), f"{name} in {reader}, row {number}: {row}, expected {cells}"


with tempfile.TemporaryDirectory() as folder:
    for name in ["strays", "couplings", "links", "lags"]:
        for ending in ["csv", "parquet"]:
            subprocess.run([program, "export", capture, "--setup", capture.with_name("setup.toml"), "--to", f"{folder}/{name}.{ending}"], check=True)
        with open(f"{folder}/{name}.csv", newline="", encoding="utf-8") as file:
            expected = list(csv.reader(file))
        file = f"{folder}/{name}.parquet"
        frame = polars.read_parquet(file)
        check(name, "polars", frame.columns, frame.rows(), expected)
        answer = duckdb.sql(f"select * from read_parquet('{file}')")
        check(name, "DuckDB", answer.columns, answer.fetchall(), expected)
        print(f"{name}: {len(expected) - 1} rows, the same in polars {polars.__version__} and DuckDB {duckdb.__version__}")
