"""Account numbers: those in use, and the wrong ones that a slip of the hand makes of them."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.simulation.dice import Dice

# Numbers equipment leaves the factory with; no site is given one. From memory, common practice.
NEVER_USED = ("0000", "0001", "1111", "1234", "9999")


@dataclass
class Numbers:
    """The numbers taken at one station; who hands one out takes it."""

    taken: set[str] = field(default_factory=set)

    def free(self, dice: Dice) -> str:
        """A number nobody uses."""
        while True:
            number = f"{dice.whole(101, 9989):04d}"
            if number not in self.taken and number not in NEVER_USED and len(set(number)) > 1:
                self.taken.add(number)
                return number

    def slip(self, number: str, kind: str) -> str:
        """``number`` as a slip makes it, by nobody used: ``swap`` of neighbours, ``digit`` one up or down."""
        found = _swaps(number) if kind == "swap" else _digits(number)
        for other in found:
            if other not in self.taken and other not in NEVER_USED:
                self.taken.add(other)
                return other
        raise ValueError(f"no free number by {kind} from account {number}")


def _swaps(number: str) -> list[str]:
    """Swaps of two unlike neighbours, the middle of the number first."""
    spots = [n for n in (1, 2, 0, *range(3, len(number) - 1)) if number[n] != number[n + 1]]
    return [number[:n] + number[n + 1] + number[n] + number[n + 2 :] for n in spots]


def _digits(number: str) -> list[str]:
    """One digit, from the last to the first, one up or one down."""
    spots = range(len(number) - 1, -1, -1)
    return [
        number[:n] + str((int(number[n]) + step) % 10) + number[n + 1 :]
        for n in spots
        for step in (1, 9)
        if number[n].isdigit()
    ]
