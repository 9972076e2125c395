"""Equivalence classes: the records that look the same by their quasi-identifiers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from casebook.statistics.codes import Whole

# Beyond this a mixed-radix number would no longer fit into 64 bits.
_LARGEST_KEY = 2**62


def class_of_each(codes: Whole) -> tuple[Whole, Whole]:
    """Class of every record, and how many records each class holds.

    Parameters
    ----------
    codes : ndarray of int, shape (records, quasi-identifiers)
        Any whole numbers; -1 for what is withheld is a value like the others.

    Returns
    -------
    class_of : ndarray of int, shape (records,)
        0 to classes - 1, in the order in which they come.
    sizes : ndarray of int, shape (classes,)

    References
    ----------
    [Sweeney2002]

    Examples
    --------
    >>> class_of_each(np.array([[0, 1], [2, 1], [0, 1]]))
    (array([0, 1, 0]), array([2, 1]))
    """
    return classes_of_keys(keys_of(codes))


def keys_of(codes: Whole) -> Whole:
    """One number for each record, the same for records that look the same.

    Parameters
    ----------
    codes : ndarray of int, shape (records, quasi-identifiers)

    Returns
    -------
    ndarray of int, shape (records,)
        Mixed-radix numbers of the codes, numbered anew where they would overflow.

    References
    ----------
    None: a convention of this program.

    Examples
    --------
    >>> keys_of(np.array([[0, 1], [2, 0], [0, 1]]))
    array([1, 4, 1])
    """
    keys = np.zeros(len(codes), dtype=np.int64)
    if len(codes) == 0:
        return keys
    span = 1
    for column in codes.T:
        low = int(column.min())
        radix = int(column.max()) - low + 1
        if span * radix > _LARGEST_KEY:
            keys, sizes = classes_of_keys(keys)
            span = len(sizes)
        keys = keys * radix + (column - low)
        span *= radix
    return keys


def classes_of_keys(keys: Whole) -> tuple[Whole, Whole]:
    """Classes of records from one number each.

    Parameters
    ----------
    keys : ndarray of int, shape (records,)

    Returns
    -------
    class_of : ndarray of int, shape (records,)
    sizes : ndarray of int, shape (classes,)

    References
    ----------
    [Sweeney2002]

    Examples
    --------
    >>> classes_of_keys(np.array([7, 3, 7]))
    (array([0, 1, 0]), array([2, 1]))
    """
    class_of = pd.factorize(keys)[0].astype(np.int64)
    return class_of, np.bincount(class_of)


def kinds_in_classes(class_of: Whole, classes: int, sensitive: Whole) -> Whole:
    """How many different sensitive values each class holds.

    Parameters
    ----------
    class_of : ndarray of int, shape (records,)
    classes : int
    sensitive : ndarray of int, shape (records,)
        Below 0 where not recorded, which counts as no value: who is known to be in a class does
        not become safer because another's value is missing.

    Returns
    -------
    ndarray of int, shape (classes,)

    References
    ----------
    [Machanavajjhala2007]

    Examples
    --------
    >>> kinds_in_classes(np.array([0, 0, 1, 1]), 2, np.array([4, 5, 4, -1]))
    array([2, 1])
    """
    known = sensitive >= 0
    radix = int(sensitive.max(initial=0)) + 1
    pairs = pd.unique(class_of[known] * radix + sensitive[known])
    return np.bincount(pairs // radix, minlength=classes)


def kinds_of(sensitive: Whole) -> int:
    """How many different sensitive values there are among some records.

    Parameters
    ----------
    sensitive : ndarray of int, shape (records,)
        Below 0 where not recorded, which counts as no value.

    Returns
    -------
    int

    References
    ----------
    [Machanavajjhala2007]

    Examples
    --------
    >>> kinds_of(np.array([4, -1, 4, 2]))
    2
    """
    return len(pd.unique(sensitive[sensitive >= 0]))
