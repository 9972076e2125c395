"""Run as a program: save a visit, and stand still when all is written but not committed."""

from __future__ import annotations

import sys
import time

from sqlalchemy import event

from casebook.services.keeping import open_casebook
from casebook.services.recording import record_visit
from casebook.storage.session import Unit
from tests.builders import a_visit


def main(url: str) -> None:
    casebook = open_casebook(url)
    # A cache this small sends pages to the disk before the commit, as a large save would.
    if casebook.engine.dialect.name == "sqlite":
        event.listen(
            casebook.engine,
            "connect",
            lambda connection, _: connection.execute("PRAGMA cache_size = 1"),
        )

    @event.listens_for(Unit, "before_commit")
    def _stand_still(unit: Unit) -> None:
        unit.flush()
        print("written", flush=True)
        time.sleep(600)

    record_visit(casebook, a_visit(), by="AB")


if __name__ == "__main__":
    main(sys.argv[1])
