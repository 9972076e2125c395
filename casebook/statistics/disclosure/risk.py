"""How likely somebody who knows a runner finds the right record: measures of a published table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from casebook.statistics.codes import Floats, Whole
from casebook.statistics.disclosure.classes import class_of_each, kinds_in_classes
from casebook.statistics.disclosure.generalised import Generalised

# A record in a class of five: the smallest class that the program lets out unasked.
THRESHOLD = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """Risk of a table, for an intruder who knows that the runner is in it (the prosecutor).

    Attributes
    ----------
    records, classes : int
    k : int
        Records in the smallest class; 0 in a table without records.
    largest, mean : float, 0 to 1
        Probability of picking the right record of its class at random: 1 / class size for the
        record most at risk, and over all records (classes / records).
    above : int
        Records whose probability exceeds the threshold.
    unique : int
        Records alone in their class.
    diversity : int or None
        Different sensitive values in the least diverse class; None where none were given.
    entropy_diversity : float or None
        exp(entropy) of the sensitive values of the class where it is smallest: as many values
        alike in number would be as uncertain.
    """

    records: int
    classes: int
    k: int
    largest: float
    mean: float
    above: int
    unique: int
    diversity: int | None
    entropy_diversity: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Risks:
    """The same records as recorded and as published.

    Attributes
    ----------
    before, after : Risk
        `after` without those left out, as nobody finds them.
    """

    before: Risk
    after: Risk


def risk_of(codes: Whole, *, threshold: float = THRESHOLD, sensitive: Whole | None = None) -> Risk:
    """Risk of the records of one table.

    Parameters
    ----------
    codes : ndarray of int, shape (records, quasi-identifiers)
        -1 for what is withheld is a value like the others.
    threshold : float, 0 to 1
        Probability above which a record counts as at risk.
    sensitive : ndarray of int, shape (records,), or None
        Below 0 where not recorded, which counts as no value.

    Returns
    -------
    Risk

    References
    ----------
    [ElEmam2008], [Sweeney2002], [Machanavajjhala2007]

    Examples
    --------
    >>> found = risk_of(np.array([[0], [0], [0], [1]]), sensitive=np.array([0, 1, 1, 0]))
    >>> found.k, found.largest, found.mean, found.unique, found.above, found.diversity
    (1, 1.0, 0.5, 1, 4, 1)
    """
    class_of, sizes = class_of_each(codes)
    records, classes = len(codes), len(sizes)
    kinds = entropies = None
    if sensitive is not None:
        kinds = kinds_in_classes(class_of, classes, sensitive)
        entropies = _entropy_in_classes(class_of, classes, sensitive)
    smallest = int(sizes.min()) if classes else 0
    return Risk(
        records=records,
        classes=classes,
        k=smallest,
        largest=1.0 / smallest if classes else 0.0,
        mean=classes / records if records else 0.0,
        above=int(sizes[1.0 / sizes > threshold].sum()),
        unique=int((sizes == 1).sum()),
        diversity=None if kinds is None else int(kinds.min(initial=records)),
        entropy_diversity=None
        if entropies is None
        else math.exp(float(entropies.min()))
        if classes
        else 0.0,
    )


def risks(
    codes: Whole,
    generalised: Generalised,
    *,
    threshold: float = THRESHOLD,
    sensitive: Whole | None = None,
) -> Risks:
    """Risk before and after generalising and withholding.

    Parameters
    ----------
    codes : ndarray of int, shape (records, quasi-identifiers)
        As recorded.
    generalised : Generalised
        Of the same records.
    threshold, sensitive
        As for `risk_of`.

    Returns
    -------
    Risks

    References
    ----------
    [ElEmam2008], [Machanavajjhala2007]

    Examples
    --------
    >>> from casebook.statistics.disclosure.hierarchies import ladder
    >>> from casebook.statistics.disclosure.lattice import generalise
    >>> codes = np.array([[0], [1], [1], [0]])
    >>> side = ladder("side", [["left", "right"], ["any", "any"]])
    >>> found = risks(codes, generalise(codes, [side], k=4))
    >>> found.before.largest, found.after.largest
    (0.5, 0.25)
    """
    stays = ~generalised.left_out
    return Risks(
        before=risk_of(codes, threshold=threshold, sensitive=sensitive),
        after=risk_of(
            generalised.codes[stays],
            threshold=threshold,
            sensitive=None if sensitive is None else sensitive[stays],
        ),
    )


def _entropy_in_classes(class_of: Whole, classes: int, sensitive: Whole) -> Floats:
    """Entropy of the recorded sensitive values of each class, in nats; 0 where there are none."""
    known = sensitive >= 0
    radix = int(sensitive.max(initial=0)) + 1
    pairs, counts = np.unique(class_of[known] * radix + sensitive[known], return_counts=True)
    class_of_pair = pairs // radix
    totals = np.bincount(class_of_pair, weights=counts, minlength=classes)
    share = counts / totals[class_of_pair]
    terms = np.bincount(class_of_pair, weights=-share * np.log(share), minlength=classes)
    return np.asarray(terms, dtype=np.float64)
