"""to_correct/overdue_recalls.csv: who should be called, by the clinic's own numbers.

Reports print the number only. The list carries practice numbers, so it is written where
it is not circulated, and only on a machine that holds the list of codes.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

from pipeline.records.held_words import DO_NOT_CIRCULATE
from pipeline.records.neutral import for_csv
from pipeline.warehouse import Warehouse

FILE_NAME = "overdue_recalls.csv"
COLUMNS = ("case_id", "denture_no", "delivered", "last_seen", "days_since_seen")


def write_overdue_recalls(
    warehouse: Warehouse, folder: Path, numbers: Mapping[str, str]
) -> int:
    """Write the list, longest unseen first; without anybody overdue, remove the old one.

    Args:
        warehouse: the finished audit database.
        folder: to_correct/ of the audit.
        numbers: the clinic's own case number behind each code.

    Returns:
        How many are overdue.
    """
    rows = warehouse.run(
        "select case_key, denture_no, start_date, last_seen_date, days_since_seen"
        " from summarised.recalls_due where is_overdue"
        " order by days_since_seen desc, denture_key"
    )
    path = folder / FILE_NAME
    if not rows:
        path.unlink(missing_ok=True)
        return 0
    folder.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".csv.new")
    with unfinished.open("w", encoding="utf-8-sig", newline="") as handle:
        table = csv.writer(handle)
        table.writerow([DO_NOT_CIRCULATE])
        table.writerow(COLUMNS)
        table.writerows(
            [for_csv(numbers.get(case, case)), *("" if v is None else v for v in rest)]
            for case, *rest in rows
        )
    unfinished.replace(path)
    return len(rows)
