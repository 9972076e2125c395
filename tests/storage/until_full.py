"""Run as a program: save visits until the disk is full, then say what was told and what is left.

`python until_full.py PATH PAGES`: PAGES limits the database where the disk itself does not.
"""

from __future__ import annotations

import json
import sys
from datetime import date, timedelta

from sqlalchemy import event, func, select

from casebook.domain.errors import StoreUnavailable
from casebook.domain.sides import Side
from casebook.domain.visits import value_of_trials
from casebook.services.keeping import check_casebook, open_casebook
from casebook.services.recording import record_visit
from casebook.storage.session import reading
from casebook.storage.tables import TrialRow, ValueRow, VisitRow
from tests.builders import BEND, STRENGTH, a_visit


def main(path: str, pages: int) -> None:
    casebook = open_casebook(path)
    if pages:
        casebook.engine.dispose()
        event.listen(
            casebook.engine,
            "connect",
            lambda connection, _: connection.execute(f"PRAGMA max_page_count = {pages}"),
        )
    values = tuple(
        value_of_trials(metric, side, [float(number) for number in range(300)])
        for metric in (STRENGTH, BEND)
        for side in (Side.LEFT, Side.RIGHT)
    )
    saved, told = 0, ""
    while not told and saved < 2000:
        day = date(2020, 1, 1) + timedelta(days=saved)
        try:
            record_visit(casebook, a_visit(visited_on=day, values=values), by="AB")
            saved += 1
        except StoreUnavailable as error:
            told = str(error)
    with reading(casebook.engine) as unit:
        kept = [
            unit.scalar(select(func.count()).select_from(row))
            for row in (VisitRow, ValueRow, TrialRow)
        ]
    report = check_casebook(casebook)
    casebook.close()
    print(json.dumps({"saved": saved, "told": told, "kept": kept, "sound": report.ok}))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
