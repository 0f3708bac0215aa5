"""An account as a person types it, found among those the store knows."""

from __future__ import annotations

from collections.abc import Iterable

from sigaudit.errors import UsageProblem
from sigaudit.known_names import did_you_mean

__all__ = ["account_key"]


def account_key(
    typed: str, known: Iterable[str], *, place: str = "on the roster or in the log",
    next_step: str = "leading zeros matter: 0421 is not 421",
) -> str:  # fmt: skip
    """The key ``GROUP/ACCOUNT`` of an account typed as ``1234`` or ``GROUP/1234``.

    known: the keys to choose from, which stand at ``place``; next_step: what to do where there is none. Raises
    UsageProblem: no such account, or a bare number that fits several groups.
    """
    keys = {key for key in known if not key.endswith("/")}
    wanted = typed.strip()
    if wanted in keys:
        return wanted
    fitting = sorted(key for key in keys if key.rpartition("/")[2] == wanted)
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise UsageProblem(
            f"account {typed!r} stands in several receiver groups: {', '.join(fitting)}",
            next_step="give one of them with its group",
        )
    near = did_you_mean(wanted, {key.rpartition("/")[2] for key in keys})
    raise UsageProblem(
        f"no account {typed!r} {place}{near}",
        next_step=next_step,
    )
