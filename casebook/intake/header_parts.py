"""The name of a column taken apart: side, trial, unit, and the words that are left."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from casebook.catalogue.units import SPELLINGS
from casebook.intake.header_words import MADE_OF_IT, PASSED_OVER, SAME

_SIDE = {
    **dict.fromkeys(("l", "left", "lt", "lft", "lhs", "links", "gauche"), "left"),
    **dict.fromkeys(("r", "right", "rt", "rgt", "rhs", "rechts", "droite"), "right"),
}
_UNIT = {
    " ".join(spelling.casefold().split()): spelling
    for spellings in SPELLINGS.values()
    for spelling in spellings
    if spelling not in {"1", "in", "m", "h", "foot", "feet", "ft", "points", "point", "score",
                        "scores", "grade", "grades", "min", "mins", "second", "seconds", "s",
                        "hour", "hours", "hr", "hrs", "rep", "reps", "count", "counts", "minute",
                        "minutes", "mi", "mile", "miles", "'", '"', "repetitions", "repetition"}
}  # fmt: skip
# Within brackets a unit may be any that is known.
_UNIT_IN_BRACKETS = {
    " ".join(spelling.casefold().split()): spelling
    for spellings in SPELLINGS.values()
    for spelling in spellings
}
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_SCALE = re.compile(r"(\d+)\s*(?:-|–|/|to)\s*(\d+)\Z")
_OUT_OF = re.compile(r"/\s*(\d+)\s*\Z")
# 'Pain 0-10' names its scale; the 10 is no trial.
_FROM_ZERO = re.compile(
    r"(?<![\w.])0\s*(?:-|–|to)\s*(\d{1,3})(?=\s*(?:l|r|left|right)?\s*\Z)", re.IGNORECASE
)
_TRIAL = re.compile(r"(?:trial|rep|attempt|try|#|no\.?)\s*\.?(\d{1,2})\Z")
_SIDE_AND_NUMBER = re.compile(r"(l|left|r|right)(\d{1,2})\Z")
_TIME_OR_TRIAL = re.compile(r"[tvw](\d{1,2})\Z")
_UNIT_AT_END = re.compile(r"(?:^|[\s,_])((?:[^\s,_]+\s)?[^\s,_]+)\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderParts:
    """The name of a column, taken apart.

    Parameters
    ----------
    words : frozenset of str
        What is left, in the one spelling of `SAME`.
    side : str
        'left', 'right', or ''.
    trial : int
        0 where none is named.
    repeat : str
        'l' or 'r' where a letter with a number may be a side or a repeat ('R1').
    unit : str
        As written; '' where none is.
    scale : (float, float) or None
        From a bracket such as (0-10).
    doubt : str
        Why the name is not that of a number itself, or can't be understood with certainty.
    counts : bool
        True for a number of trials.
    """

    words: frozenset[str]
    side: str = ""
    trial: int = 0
    repeat: str = ""
    unit: str = ""
    scale: tuple[float, float] | None = None
    doubt: str = ""
    counts: bool = False


def canonical(text: str) -> list[str]:
    """Words in the one spelling of `SAME`, without those that are passed over.

    Examples
    --------
    >>> canonical("peak knee flex at mid stance")
    ['peak', 'knee', 'flexion', 'midstance']
    """
    words = text.split()
    found: list[str] = []
    position = 0
    while position < len(words):
        pair = " ".join(words[position : position + 2])
        if position + 1 < len(words) and pair in SAME:
            found += SAME[pair].split()
            position += 2
            continue
        found += SAME.get(words[position], words[position]).split()
        position += 1
    return [word for word in found if word not in PASSED_OVER]


def take_apart(header: str) -> HeaderParts:
    """Take the name of a column apart.

    Examples
    --------
    >>> parts = take_apart("Knee flexion mid-stance (deg) L 2")
    >>> sorted(parts.words), parts.side, parts.trial, parts.unit
    (['flexion', 'knee', 'midstance'], 'left', 2, 'deg')
    >>> take_apart("Hip abd. strength L/R ratio").doubt
    'it names both sides'
    """
    text = unicodedata.normalize("NFKC", header).replace("−", "-")
    sides: list[str] = []
    trials: list[int] = []
    units: list[str] = []
    scale: tuple[float, float] | None = None
    rest = text
    for bracket in _BRACKETS.finditer(text):
        inside = bracket[1].strip()
        folded = " ".join(inside.casefold().split())
        taken = True
        if folded in _SIDE:
            sides.append(_SIDE[folded])
        elif found := _SCALE.match(folded):
            scale = (float(found[1]), float(found[2]))
        elif folded.isdigit() or _TRIAL.match(folded):
            trials.append(int(re.sub(r"\D", "", folded)))
        elif folded in _UNIT_IN_BRACKETS and inside != "n":
            units.append(inside)
        else:
            taken = False
        rest = rest.replace(bracket[0], " " if taken else f" {inside} ", 1)
    if out_of := _OUT_OF.search(rest):
        scale = (0.0, float(out_of[1]))
        rest = rest[: out_of.start()]
    elif from_zero := _FROM_ZERO.search(rest):
        scale = (0.0, float(from_zero[1]))
        rest = f"{rest[: from_zero.start()]} {rest[from_zero.end() :]}"
    rest = _unit_at_end(rest, units)
    words = _words(rest)
    words, doubt, repeat = _sides_and_trials(words, sides, trials)
    counts = bool({"n", "trials"} & set(words)) and not set(words) <= {"n", "trials", "number"}
    left = canonical(" ".join(word for word in words if not (counts and word in {"n", "trials"})))
    made = sorted(set(left) & MADE_OF_IT)
    if made and not doubt:
        doubt = f"'{made[0]}' says that it is made of other numbers, or of another time"
    if len(units) > 1 or len(trials) > 1:
        doubt = doubt or "it names two units or two trials"
    return HeaderParts(
        words=frozenset(left),
        side=sides[0] if len(set(sides)) == 1 else "",
        trial=trials[0] if trials else 0,
        repeat=repeat,
        unit=units[0] if units else "",
        scale=scale,
        doubt=doubt,
        counts=counts,
    )


def _unit_at_end(text: str, units: list[str]) -> str:
    """Take a unit off the end of a name, or a sign that can be nothing else."""
    if "°" in text:
        units.append("deg")
        text = text.replace("°", " ")
    stripped = text.strip(" ,_-")
    # The side or the trial may stand behind the unit: 'Knee flexion deg L'.
    tail = ""
    while True:
        found = _UNIT_AT_END.search(stripped)
        if not found:
            break
        for length in (2, 1):
            piece = " ".join(found[1].split()[-length:])
            if " ".join(piece.casefold().split()) in _UNIT and (
                piece.casefold() != "n" or piece == "N"
            ):
                units.append(piece)
                return f"{stripped[: len(stripped) - len(piece)]} {tail}"
        last = stripped.split()[-1] if stripped.split() else ""
        last = re.split(r"[,_]", last)[-1]
        if not last or not (last.casefold() in _SIDE or last.isdigit()) or len(tail) > 12:
            break
        tail = f"{last} {tail}"
        stripped = stripped[: len(stripped) - len(last)].rstrip(" ,_-")
    return text


def _words(text: str) -> list[str]:
    # KneeFlexL is three words; and so is Knee_flex-L.
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    text = re.sub(r"/\s*kg\b", " per kg ", text, flags=re.IGNORECASE)
    text = re.sub(r"\b([LRlr])\s*[-/:&+]\s*([LRlr])\b", r" \1 \2 ", text)
    text = text.replace("#", " # ").replace("%", " % ").replace("'s", "s")
    return [word for word in re.split(r"[^\w%#]+|_+", text.casefold()) if word]


def _sides_and_trials(
    words: list[str], sides: list[str], trials: list[int]
) -> tuple[list[str], str, str]:
    """Take sides and trials out of the words; also a doubt, and 'l' or 'r' for 'R1'."""
    left: list[str] = []
    doubt = repeat = ""
    lettered: list[tuple[str, int]] = []
    position = 0
    while position < len(words):
        word = words[position]
        after = words[position + 1] if position + 1 < len(words) else ""
        if word in _SIDE:
            sides.append(_SIDE[word])
        elif word in {"trial", "rep", "attempt", "try", "#"} and after.isdigit():
            trials.append(int(after))
            position += 1
        elif found := _TRIAL.match(word):
            trials.append(int(found[1]))
        elif found := _SIDE_AND_NUMBER.match(word):
            lettered.append((found[1][0], int(found[2])))
        elif _TIME_OR_TRIAL.match(word):
            doubt = f"'{word}' may be a trial or a visit"
            left.append(word)
        elif word.isdigit() and position == len(words) - 1 and len(word) <= 2:
            trials.append(int(word))
        else:
            left.append(word)
        position += 1
    if len(set(sides)) > 1:
        doubt = "it names both sides"
    if lettered:
        letter, number = lettered[0]
        trials.append(number)
        repeat = letter
    return left, doubt, repeat
