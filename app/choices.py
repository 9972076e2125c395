"""One way of choosing a code by its words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from enum import StrEnum
from typing import Any, TypeVar

from streamlit.delta_generator import DeltaGenerator

Code = TypeVar("Code", bound=StrEnum)


def choose(
    place: DeltaGenerator,
    label: str,
    codes: Iterable[Code],
    words: Mapping[Code, str] | Callable[[Any], str],
    *,
    key: str,
    start: Code | None = None,
    disabled: bool = False,
) -> Code:
    """A drop-down of codes shown in words; the first is chosen unless `start` says otherwise."""
    listed = list(codes)
    chosen = place.selectbox(
        label,
        listed,
        index=listed.index(start) if start is not None else 0,
        format_func=words if callable(words) else words.__getitem__,
        key=key,
        disabled=disabled,
    )
    return listed[0] if chosen is None else chosen


def choose_knowingly(
    place: DeltaGenerator,
    label: str,
    codes: Iterable[Code],
    words: Mapping[Code, str] | Callable[[Any], str],
    *,
    key: str,
) -> Code | None:
    """A drop-down in which nothing is chosen until somebody chooses."""
    chosen: Code | None = place.selectbox(
        label,
        list(codes),
        index=None,
        format_func=words if callable(words) else words.__getitem__,
        key=key,
        placeholder="Choose",
    )
    return chosen
