"""Drafts: what was typed last is never lost, also with two windows on one draft."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from casebook.services.drafting import drop_draft, find_draft, keep_typed, list_drafts, new_key
from casebook.services.keeping import Casebook, open_casebook


def test_a_draft_is_kept_field_by_field_and_dropped(casebook: Casebook) -> None:
    key, other = new_key(), new_key()
    assert find_draft(casebook, key) is None
    keep_typed(casebook, key, {"runner": "T-1", "cell:cadence:none": "17"}, owner="")
    keep_typed(casebook, other, {"runner": "T-2"}, owner="CD")
    keep_typed(casebook, key, {"cell:cadence:none": "172 ✓", "note": "windy"}, owner="AB")
    keep_typed(casebook, key, {"note": None}, owner="CD")
    # Another process, as after a restart.
    again = open_casebook(casebook.url)
    found = find_draft(again, key)
    again.close()
    assert found is not None
    assert found.content == {"runner": "T-1", "cell:cadence:none": "172 ✓"}
    assert found.owner == "AB"
    assert found.started_at <= found.saved_at
    assert [one.key for one in list_drafts(casebook)] == [key, other]
    assert drop_draft(casebook, key)
    assert not drop_draft(casebook, key)
    assert [one.key for one in list_drafts(casebook)] == [other]


def test_two_windows_on_one_draft_keep_the_cells_of_both(casebook: Casebook) -> None:
    key = new_key()
    cells = [{f"cell:{number}": str(number)} for number in range(24)]
    with ThreadPoolExecutor(4) as windows:
        list(windows.map(lambda cell: keep_typed(casebook, key, cell, owner="AB"), cells))
    found = find_draft(casebook, key)
    assert found is not None
    assert found.content == {name: typed for cell in cells for name, typed in cell.items()}
