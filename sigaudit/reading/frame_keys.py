"""AES keys of encrypted DC-09 frames: named in the settings, taken from environment variables, written nowhere."""

from __future__ import annotations

import os
from collections.abc import Mapping

from sigaudit.errors import SettingsProblem

__all__ = ["DEFAULT", "read"]

DEFAULT = "default"
_LENGTHS = (32, 48, 64)  # hexadecimal digits of AES 128, 192 and 256 (DC-09-2007 p. 12)


def read(names: Mapping[str, str]) -> dict[str, bytes]:
    """Key by account, ``''`` for the default, as ``dc09.read_frame`` takes them.

    names: account in the frame's header, or ``default`` -> environment variable holding the key in hexadecimal.
    A variable that is not set is left out: its frames become rejects, to be read again once it is. Raises
    SettingsProblem for one that is no key, without saying what it holds.
    """
    keys: dict[str, bytes] = {}
    for account, variable in names.items():
        written = os.environ.get(variable, "").strip()
        if not written:
            continue
        try:
            key = bytes.fromhex(written)
        except ValueError:
            key = b""
        if len(written) not in _LENGTHS or not key:
            raise SettingsProblem(
                f"environment variable {variable}: expected a key of 32, 48 or 64 hexadecimal digits, not "
                f"{len(written)} characters of this kind",
                next_step="set it to the key, or take its account out of [dc09.keys] in sigaudit.toml",
            )
        keys["" if account == DEFAULT else account.upper()] = key
    return keys
