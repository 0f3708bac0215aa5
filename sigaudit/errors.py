"""The exception family. Findings and rejects are values; an exception only stops the run.

SigauditError                       exit 1 unless a class below says otherwise
├── UsageProblem                    2   the command line asks for something impossible
├── NothingToRead                   3   no file, or a file with nothing in it
├── InputProblem                    4   an export, layout or roster is refused
│   ├── LayoutUnknown / LayoutAmbiguous / LayoutFaulty
│   ├── TextUndecodable
│   ├── RosterFaulty                carries every fault, not only the first
│   └── TooManyRejects
├── SettingsProblem                 5   file, line, key, nearest known key
├── StoreProblem                    6   StoreMissing, StoreBusy, StoreOtherVersion
├── CheckFaulty                     5   a check's SQL or card is wrong (file and line)
└── SumMismatch                     1   lines != signals + held + rejects + skipped: our fault, never hidden
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class SigauditError(Exception):
    """Base of the family: one sentence of what and where, and one of what to do next.

    Attributes: ``code`` stable name for scripts, ``exit_code`` process status, ``next_step`` what to do.
    """

    code = "internal"
    exit_code = 1

    def __init__(self, message: str, *, next_step: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.next_step = next_step


class UsageProblem(SigauditError):
    code = "usage"
    exit_code = 2


class NothingToRead(SigauditError):
    code = "nothing-to-read"
    exit_code = 3


class InputProblem(SigauditError):
    code = "input"
    exit_code = 4


class LayoutUnknown(InputProblem):
    code = "layout-unknown"


class LayoutAmbiguous(InputProblem):
    code = "layout-ambiguous"


class LayoutFaulty(InputProblem):
    code = "layout-faulty"


class TextUndecodable(InputProblem):
    code = "text-undecodable"


class TooManyRejects(InputProblem):
    code = "too-many-rejects"


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a table a person keeps: where it stands, what is there, what was expected."""

    file: str
    row: int
    column: str
    value: str
    expected: str

    def __str__(self) -> str:
        where = f"{self.file}, row {self.row}" if self.row else self.file
        column = f", column {self.column}" if self.column else ""
        return f"{where}{column}: {self.value!r}: {self.expected}"


class RosterFaulty(InputProblem):
    """The roster as a whole is refused; ``faults`` lists every fault found."""

    code = "roster-faulty"

    def __init__(self, message: str, faults: Sequence[Fault], *, next_step: str = "") -> None:
        super().__init__(message, next_step=next_step)
        self.faults = list(faults)


class SettingsProblem(SigauditError):
    code = "settings"
    exit_code = 5


class CheckFaulty(SigauditError):
    code = "check-faulty"
    exit_code = 5


class StoreProblem(SigauditError):
    code = "store"
    exit_code = 6


class StoreMissing(StoreProblem):
    code = "store-missing"


class StoreBusy(StoreProblem):
    code = "store-busy"


class StoreOtherVersion(StoreProblem):
    code = "store-other-version"


class SumMismatch(SigauditError):
    code = "sum-mismatch"
