"""Do left and right look typed into one another's cell?

Asked, never mended: a runner's weak side may in truth have become the strong one.
"""

from __future__ import annotations

# The crossed reading has to be this much nearer to the last visit than the straight one.
NEARER = 0.5
# Without an error figure: this share of the plausible range stands for what error may do.
# Common practice, no source.
SHARE_OF_RANGE = 0.05


def looks_swapped(now: tuple[float, float], last: tuple[float, float], *, error: float) -> bool:
    """Whether two sides fit the last visit clearly better when they are crossed over.

    Parameters
    ----------
    now, last : (float, float)
        Left and right of this visit and of the last one, in the metric's unit.
    error : float, > 0
        The change of one side that error alone may bring (MDC95), in the metric's unit.

    Returns
    -------
    bool
        True when the sum of the sides' changes, read crossed, is at most half of the one read
        straight, and smaller than it by more than two such errors, one a side.

    Examples
    --------
    >>> looks_swapped((220.0, 300.0), (301.0, 222.0), error=30.0)
    True
    >>> looks_swapped((298.0, 220.0), (301.0, 222.0), error=30.0)
    False
    >>> looks_swapped((4.1, 3.9), (3.9, 4.1), error=1.5)
    False
    """
    straight = abs(now[0] - last[0]) + abs(now[1] - last[1])
    crossed = abs(now[0] - last[1]) + abs(now[1] - last[0])
    return crossed <= NEARER * straight and straight - crossed > 2.0 * error


def error_without_figure(plausible_low: float, plausible_high: float) -> float:
    """What stands for the error of one side's change where none was measured.

    Examples
    --------
    >>> error_without_figure(0.0, 600.0)
    30.0
    """
    return SHARE_OF_RANGE * (plausible_high - plausible_low)
