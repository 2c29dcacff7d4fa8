"""Measures the photos of a table and does nothing with them: what `tests.benchmarks.table` compares with.

python -m tests.benchmarks.measure_alone TABLE.csv JOBS
"""

from __future__ import annotations

import csv
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from identify.reference.measuring import measure_file, start
from identify.settings import Settings


def main() -> None:
    with Path(sys.argv[1]).open(encoding="utf-8") as file:
        paths = [row["photo"] for row in csv.DictReader(file)]
    with ProcessPoolExecutor(int(sys.argv[2]), get_context("spawn"), start) as pool:
        for done in [pool.submit(measure_file, path, Settings()) for path in paths]:
            done.result()


if __name__ == "__main__":
    main()
