"""What a de-identified export is asked for, and the key that its pseudonyms are made with."""

from __future__ import annotations

import hashlib
import hmac
import json
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Final

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.packages import FileFormat
from casebook.domain.people import Purpose

# Smallest class of runners who look alike. Common practice, no source for the number itself.
LEAST_ALIKE: Final = 5
# Kinds of tissue that such a class must at least hold.
LEAST_KINDS: Final = 2
MOST_ALIKE: Final = 1000
KEY_BYTES: Final = 32
# 80 bits: two of a million runners share one with a chance of about 1 in 10^12.
PSEUDONYM_DIGITS: Final = 20
# Grows whenever what is written for the same records and settings changes.
EXPORT_VERSION: Final = 2


class Kind(StrEnum):
    """What a pseudonym stands for, and the letter that it begins with."""

    RUNNER = "R"
    INJURY = "J"
    PROGRAMME = "P"
    VISIT = "V"
    CLINICIAN = "C"


class Trait(StrEnum):
    """What a club-mate would know of a runner, by its column in the table runners."""

    SEX = "sex"
    AGE = "age_band"
    DISCIPLINE = "discipline"
    REGION = "injury_region"
    SIDE = "injury_side"
    HEIGHT = "height_band"
    MASS = "mass_band"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportSettings:
    """What is exported, for what, and how alike its runners must look.

    Parameters
    ----------
    purpose : Purpose
        Only runners whose consent covers it on `as_of`, and covers it still.
    as_of : date
        What was after this day does not count.
    k : int, 2 to 1000
        Every combination of quasi-identifiers occurs in at least so many runners.
    diversity : int, 1 to k
        Each such class holds at least so many kinds of tissue among its injuries.
    metrics : tuple of str
        Keys of the clinic's own metrics that leave as well; those of the starter catalogue
        always do. A clinic's own key could be free text, so that it has to be named.
    formats : tuple of FileFormat
        CSV always among them: the package describes it.
    clinicians : bool
        Whether visits say by whom, under a keyed pseudonym, for clinicians with k runners or
        more. Whoever knows which clinician saw the most runners may tell who it is.
    leave_out : tuple of Trait
        Those that do not leave at all, so that the others need not be made as coarse.
    """

    purpose: Purpose
    as_of: date
    k: int = LEAST_ALIKE
    diversity: int = LEAST_KINDS
    metrics: tuple[str, ...] = ()
    formats: tuple[FileFormat, ...] = tuple(FileFormat)
    clinicians: bool = False
    leave_out: tuple[Trait, ...] = ()

    def __post_init__(self) -> None:
        problems = [
            Problem(code=f"{column}_out_of_range", column=column, value=str(given), message=message)
            for column, given, fine, message in (
                (
                    "k",
                    self.k,
                    2 <= self.k <= MOST_ALIKE,
                    f"k is {self.k}; expected 2 to {MOST_ALIKE} runners who look alike.",
                ),
                (
                    "l",
                    self.diversity,
                    1 <= self.diversity <= self.k,
                    f"l is {self.diversity}; expected 1 to k ({self.k}) kinds of tissue.",
                ),
                (
                    "format",
                    ", ".join(self.formats),
                    FileFormat.CSV in self.formats,
                    "the formats leave out csv, which the package is described by; name it, too.",
                ),
                (
                    "leave_out",
                    ", ".join(self.leave_out),
                    bool(self.traits),
                    "all that a club-mate knows is left out; expected at least one of "
                    f"{', '.join(Trait)} to stay.",
                ),
            )
            if not fine
        ]
        if problems:
            raise InputRefused(tuple(problems))

    @property
    def traits(self) -> tuple[Trait, ...]:
        """Quasi-identifiers that leave, in the order of their columns."""
        return tuple(one for one in Trait if one not in self.leave_out)

    def canonical(self) -> str:
        """The settings as JSON that is the same for the same settings."""
        return json.dumps(
            {
                "version": EXPORT_VERSION,
                "purpose": self.purpose.value,
                "as_of": self.as_of.isoformat(),
                "k": self.k,
                "l": self.diversity,
                "metrics": sorted(set(self.metrics)),
                "formats": [one.value for one in FileFormat if one in self.formats],
                "clinicians": self.clinicians,
                "leave_out": [one.value for one in Trait if one in self.leave_out],
            },
            sort_keys=True,
            separators=(",", ":"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportKey:
    """The secret that pseudonyms are made with; never shown, stored or logged.

    Parameters
    ----------
    secret : bytes, shape (32,)
    """

    secret: bytes = field(repr=False)

    def __post_init__(self) -> None:
        if len(self.secret) != KEY_BYTES:
            raise refuse(
                "key_length",
                f"the key has {len(self.secret)} bytes; expected {KEY_BYTES}.",
                column="key",
            )

    @property
    def fingerprint(self) -> str:
        """64 hexadecimal digits by which a key is known again and can't be worked out."""
        return self._digest("fingerprint of an export key")

    def pseudonym(self, kind: Kind, what: object) -> str:
        """Pseudonym of a record: HMAC-SHA256 (RFC 2104) of its number, cut short.

        The letter before it keeps a spreadsheet from taking one for a number.

        Examples
        --------
        >>> key = ExportKey(secret=bytes(32))
        >>> key.pseudonym(Kind.RUNNER, 1)
        'Ra38345bdfbb8c2bf2a4f'
        """
        return f"{kind.value}{self._digest(f'{kind.name} {what}')[:PSEUDONYM_DIGITS]}"

    def _digest(self, text: str) -> str:
        return hmac.new(self.secret, text.encode(), hashlib.sha256).hexdigest()

    def text(self) -> str:
        """The key as it stands in a file: 64 hexadecimal digits and a line's end."""
        return f"{self.secret.hex()}\n"


def key_of_text(text: str, *, file: str = "") -> ExportKey:
    """The key that a file holds.

    Parameters
    ----------
    text : str
        64 hexadecimal digits, blanks around them aside.
    file : str
        Its name, for the message.

    Raises
    ------
    InputRefused
        For anything else; the message shows nothing of it.
    """
    digits = text.strip()
    try:
        secret = bytes.fromhex(digits)
    except ValueError:
        secret = b""
    if len(digits) != 2 * KEY_BYTES or len(secret) != KEY_BYTES:
        raise InputRefused(
            (
                Problem(
                    code="key_unreadable",
                    file=file,
                    message=f"the file holds no key; expected {2 * KEY_BYTES} hexadecimal digits, "
                    "as `casebook export --new-key FILE` writes them.",
                ),
            )
        )
    return ExportKey(secret=secret)
