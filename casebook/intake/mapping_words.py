"""Words of a mapped sheet: the side and the metric that a row names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from casebook.domain.errors import Problem
from casebook.domain.metrics import Metric
from casebook.intake.cells import is_given
from casebook.intake.mapping import NOTHING, ColumnUse, SheetMapping, WordUse
from casebook.intake.mapping_rows import Body, rows_words
from casebook.intake.reading import CodedColumn

_SIDES = {
    "left": ("l", "left", "lt", "lft", "links", "left side", "left leg", "left foot", "(l)"),
    "right": ("r", "right", "rt", "rgt", "rechts", "right side", "right leg", "right foot", "(r)"),
    "none": ("none", "both", "bilateral", "n/a", "na", "-", "–", "b"),
}
_SIDE_OF = {word: side for side, words in _SIDES.items() for word in words}


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """A column of a sheet with what it holds."""

    use: ColumnUse
    column: CodedColumn

    def only(self, rows: NDArray[np.bool_]) -> Parts:
        """The same in some of the rows."""
        return Parts(use=self.use, column=CodedColumn(self.column.codes[rows], self.column.texts))


def side_text(text: str) -> str:
    """A side as the importer reads it; anything else as it stands.

    Examples
    --------
    >>> side_text("L"), side_text("Right leg"), side_text("inj")
    ('left', 'right', 'inj')
    """
    return _SIDE_OF.get(" ".join(text.casefold().split()).rstrip("."), text)


def metric_words(
    body: Body, parts: list[Parts], mapping: SheetMapping, metrics: Mapping[str, Metric]
) -> tuple[list[Parts], NDArray[np.bool_]]:
    """Put keys of the catalogue in place of the words of the metric column.

    Returns
    -------
    list of Parts
        With a side and a unit column, made from the words where the sheet has none.
    array of bool, shape (n_rows,)
        Rows that are kept; those of a word that stands for nothing are left out, and told.
    """
    said = {_plain(word.word): word for word in mapping.words}
    by = {part.use.holds: part for part in parts}
    column = by["metric"].column
    meant = [said.get(_plain(text)) or _itself(text, metrics) for text in column.texts]
    keep = _kept(body, column, meant)
    keys = [
        text if use is None else use.metric for text, use in zip(column.texts, meant, strict=True)
    ]
    new = Parts(use=by["metric"].use, column=CodedColumn(column.codes, keys))
    others = [part for part in parts if part.use.holds not in {"metric", "side", "unit"}]
    others.append(new)
    others.append(_side(by.get("side"), column, meant, metrics))
    unit = _unit(by, column, meant)
    if unit is not None:
        others.append(unit)
    return others, keep


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _itself(text: str, metrics: Mapping[str, Metric]) -> WordUse | None:
    key = text.strip()
    return WordUse(word=key, metric=key) if key in metrics else None


def _kept(body: Body, column: CodedColumn, meant: list[WordUse | None]) -> NDArray[np.bool_]:
    left_out = [code for code, use in enumerate(meant) if use and use.metric == NOTHING]
    gone = np.isin(column.codes, left_out)
    if gone.any():
        words = sorted({column.texts[code].strip() for code in np.unique(column.codes[gone])})
        body.warnings.append(
            Problem(
                code="metric_left_out",
                message=f"{rows_words(body.lines[gone])} of {', '.join(words)[:120]} were left "
                "out, as the mapping says.",
                row=int(body.lines[gone][0]),
            )
        )
    return ~gone


def _side(
    given: Parts | None,
    column: CodedColumn,
    meant: list[WordUse | None],
    metrics: Mapping[str, Metric],
) -> Parts:
    """The side of each row: from its own column, from the metric's word, or none."""
    texts = [""] if given is None else given.column.texts
    codes = np.zeros(len(column.codes), dtype=np.int64) if given is None else given.column.codes
    pair = column.codes.astype(np.int64) * len(texts) + codes
    pairs, which = np.unique(pair, return_inverse=True)
    found = []
    for each in pairs.tolist():
        use = meant[each // len(texts)]
        text = texts[each % len(texts)]
        metric = metrics.get(use.metric) if use else None
        if use and use.side and not is_given(text):
            text = use.side
        elif metric is not None and not metric.sided and not is_given(text):
            text = "none"
        elif use and use.side and text in {"left", "right"} and text != use.side:
            # The word says one side and the column another: neither is believed.
            text = f"{use.side} or {text}"
        found.append(text)
    use = ColumnUse(header="side", holds="side") if given is None else given.use
    return Parts(use=use, column=CodedColumn(which.astype(np.int32), found))


def _unit(
    by: Mapping[str, Parts], column: CodedColumn, meant: list[WordUse | None]
) -> Parts | None:
    """The unit of each row: from its own column, else from the metric's word or the header."""
    if "unit" in by:
        return by["unit"]
    of_header = by["value"].use.unit
    units = [(use.unit if use else "") or of_header for use in meant]
    if not any(units):
        return None
    return Parts(
        use=ColumnUse(header=by["metric"].use.header, holds="unit"),
        column=CodedColumn(column.codes, units),
    )
