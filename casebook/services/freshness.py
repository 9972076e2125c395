"""Whether what was read from a casebook still stands."""

from __future__ import annotations

from casebook.services.keeping import Casebook
from casebook.storage.freshness import freshness
from casebook.storage.session import reading


def casebook_stamp(casebook: Casebook) -> str:
    """A text that changes with every save that a caseload or a review would show.

    A face keeps what it read beside the stamp and reads anew when the stamp differs.
    """
    with reading(casebook.engine) as unit:
        return "-".join(str(part) for part in freshness(unit))
