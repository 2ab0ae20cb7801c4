"""Compare a finished demo run with the queues that were written by hand."""

import sys
from pathlib import Path

import polars as pl

KEY = ["property_id", "building_part", "measure_code"]


def main(expected_file: str, run_folder: str) -> int:
    """Print each difference; 0 if there is none."""
    expected = pl.read_csv(expected_file, infer_schema=False)
    got = pl.read_parquet(Path(run_folder) / "queue.parquet")
    both = expected.join(got, on=KEY, how="left", maintain_order="left")
    wrong = both.filter(
        pl.col("queue").ne_missing(pl.col("expected_queue"))
        | pl.col("lane").fill_null("").ne_missing(pl.col("expected_lane").fill_null(""))
    )
    for row in wrong.iter_rows(named=True):
        where = [row[k] for k in KEY]
        print(*where, "expected", row["expected_queue"], "got", row["queue"], row["lane"])
    print(f"{expected.height - wrong.height} of {expected.height} hand-written queues hold")
    return 1 if wrong.height else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
