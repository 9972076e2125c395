"""Numbers that stand side by side, rounded alike so that the eye can check the sum."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

MOST_DIGITS = 6
# So many more digits are shown to make a calculation come out; what is left is rounding.
MORE_DIGITS = 1
# Of the last digit shown: rounding of what goes in can move a product by that much.
SLACK = 1.0
Fits = Callable[[Sequence[float], float], bool]


def rounded_alike(
    numbers: Sequence[float],
    unit: str,
    *,
    signed: bool = False,
    apart: bool = False,
    fits: Fits | None = None,
) -> tuple[str, ...]:
    """Numbers with the same digits after the point.

    Parameters
    ----------
    numbers : sequence of float
    unit : str
        In words; put behind each number.
    signed : bool
        A plus before what is above zero.
    apart : bool
        Digits enough that sizes which differ look different.
    fits : callable or None
        Asked of the rounded numbers and the size of their last digit whether the calculation
        that they stand in comes out; one more digit is shown where that makes it.

    Examples
    --------
    >>> rounded_alike((2.804, 2.771), "°", apart=True)
    ('2.80°', '2.77°')
    >>> rounded_alike((331.3, 299.7, 31.6), "", fits=difference)
    ('331.3', '299.7', '31.6')
    >>> rounded_alike((-4.0, 12.0), "N", signed=True)
    ('−4.0 N', '+12.0 N')
    """
    smallest = min((abs(number) for number in numbers if number), default=0.0)
    digits = 0 if smallest >= 100 else 1 if smallest >= 1 or smallest == 0 else 2
    if unit == "grades" and all(float(number).is_integer() for number in numbers):
        digits = 0
    if apart:
        tried = range(digits, MOST_DIGITS)
        digits = next((n for n in tried if _differ(numbers, n)), MOST_DIGITS)
    if fits is not None:
        tried = range(digits, digits + MORE_DIGITS + 1)
        digits = next((n for n in tried if fits([round(x, n) for x in numbers], 10.0**-n)), digits)
    return tuple(_words(number, digits, unit, signed=signed) for number in numbers)


def difference(numbers: Sequence[float], last: float) -> bool:
    """The first minus the second is the third.

    Examples
    --------
    >>> difference((3.0, 1.0, 2.0), 1.0), difference((3.0, 1.0, 1.0), 1.0)
    (True, False)
    """
    return abs(numbers[0] - numbers[1] - numbers[2]) < last / 2.0


def limit_of_two(numbers: Sequence[float], last: float) -> bool:
    """1.96 times the root of the first two's squares is the third, but for rounding.

    Examples
    --------
    >>> limit_of_two((3.0, 4.0, 9.8), 0.1), limit_of_two((3.0, 4.0, 9.0), 0.1)
    (True, False)
    """
    return abs(1.96 * math.hypot(numbers[0], numbers[1]) - numbers[2]) <= SLACK * last


def _differ(numbers: Sequence[float], digits: int) -> bool:
    sizes = {abs(number) for number in numbers}
    return len({round(size, digits) for size in sizes}) == len(sizes)


def _words(number: float, digits: int, unit: str, *, signed: bool) -> str:
    body = f"{abs(number):.{digits}f}"
    nothing = float(body) == 0
    sign = "" if nothing else "−" if number < 0 else "+" if signed else ""
    name = "grade" if unit == "grades" and body == "1" else unit
    space = "" if name in {"°", "%", ""} else " "
    return f"{sign}{body}{space}{name}"


def share_words(share: float) -> str:
    """A probability in whole percent, never 0 or 100.

    Examples
    --------
    >>> share_words(0.9751), share_words(0.9999), share_words(0.0001)
    ('98 %', 'more than 99 %', 'less than 1 %')
    """
    if share > 0.99:
        return "more than 99 %"
    if share < 0.01:
        return "less than 1 %"
    return f"{100 * share:.0f} %"
