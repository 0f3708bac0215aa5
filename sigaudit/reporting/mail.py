"""The one door to smtplib: letters with a health report handed to the station's mail server, and what it said.

A server's answer is final (taken, or refused for good), temporary (tried again, each time after a longer wait), or
none at all: where the connection broke while a letter was on its way, nobody knows whether it went.
"""

from __future__ import annotations

import os
import smtplib
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sigaudit.errors import SettingsProblem

__all__ = ["Post", "Said"]

_TRIES = 3
_WAIT_S = 2.0  # house: 2 s, then 8 s
_TIMEOUT_S = 30.0


@dataclass(frozen=True)
class Said:
    """What became of a letter: state sent, refused, waiting or in doubt, with the server's words."""

    state: str
    words: str


class Post:
    """A connection to the mail server, made when it is first needed. ``mail``: the settings under ``[mail]``."""

    def __init__(
        self, mail: Mapping[str, Any], *, context: ssl.SSLContext | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:  # fmt: skip
        for key in ("server", "sender"):
            if not mail[key]:
                raise SettingsProblem(
                    f"sigaudit.toml: mail.{key} is not set: nothing can be sent", next_step="write it under [mail]"
                )
        self._mail, self._sleep = mail, sleep
        self._context = context or ssl.create_default_context()
        self._login = tuple(_secret(mail, key) for key in ("user", "password"))
        if self._login[0] and mail["security"] == "none":
            raise SettingsProblem(
                'sigaudit.toml: mail.security = "none" would send the password in the clear',
                next_step='use "starttls" or "tls", or a server that asks for no login',
            )
        self._open: smtplib.SMTP | None = None
        # True while a letter is on its way and the server has not answered for it.
        self.is_under_way = False

    def hand_over(self, address: str, letter: bytes) -> Said:
        """Hands one letter over for one address. Raises SettingsProblem: the server cannot be used at all."""
        for n in range(_TRIES):
            if n:
                self._sleep(_WAIT_S * 4 ** (n - 1))
            server = self._connected()
            self.is_under_way = True
            try:
                server.sendmail(self._mail["sender"], [address], letter)
            except smtplib.SMTPRecipientsRefused as refused:
                code, words = next(iter(refused.recipients.values()))
                said = _said(code, words)
            except smtplib.SMTPSenderRefused as refused:
                self.is_under_way = False
                raise SettingsProblem(
                    f"{self._mail['server']}: refuses mail.sender: {_text(refused.smtp_error)}",
                    next_step="ask who runs the mail server which address it takes",
                ) from refused
            except smtplib.SMTPResponseException as refused:
                said = _said(refused.smtp_code, refused.smtp_error)
            except (smtplib.SMTPServerDisconnected, OSError) as broken:
                self.is_under_way = False
                self.close()
                return Said("in doubt", f"the connection broke: {broken}")
            else:
                self.is_under_way = False
                return Said("sent", "taken by the server")
            self.is_under_way = False
            if said.state == "refused":
                return said
            self.close()
        return said

    def close(self) -> None:
        """Ends the connection, if there is one."""
        if self._open is not None:
            try:
                self._open.quit()
            except (smtplib.SMTPException, OSError):
                self._open.close()
            self._open = None

    def _connected(self) -> smtplib.SMTP:
        if self._open is None:
            where = f"{self._mail['server']}:{self._mail['port']}"
            fault = "no answer"
            for n in range(_TRIES):
                if n:
                    self._sleep(_WAIT_S * 4 ** (n - 1))
                try:
                    self._open = self._dial()
                    return self._open
                except smtplib.SMTPAuthenticationError as refused:
                    raise SettingsProblem(
                        f"{where}: refuses the login: {_text(refused.smtp_error)}",
                        next_step="see the environment variables that mail.user and mail.password name",
                    ) from refused
                except (smtplib.SMTPException, OSError) as broken:
                    fault = str(broken)
            raise SettingsProblem(
                f"{where}: the mail server cannot be reached: {fault}",
                next_step="see [mail] in sigaudit.toml; send again",
            )
        return self._open

    def _dial(self) -> smtplib.SMTP:
        mail = self._mail
        server: smtplib.SMTP
        if mail["security"] == "tls":
            server = smtplib.SMTP_SSL(mail["server"], mail["port"], timeout=_TIMEOUT_S, context=self._context)
        else:
            server = smtplib.SMTP(mail["server"], mail["port"], timeout=_TIMEOUT_S)
        try:
            if mail["security"] == "starttls":
                server.starttls(context=self._context)
            if self._login[0]:
                server.login(*self._login)
        except (smtplib.SMTPException, OSError):
            server.close()
            raise
        return server


def _secret(mail: Mapping[str, Any], key: str) -> str:
    name = mail[key]
    if not name:
        return ""
    if name not in os.environ:
        raise SettingsProblem(
            f"sigaudit.toml: mail.{key} names the environment variable {name}, which is not set",
            next_step="set it where sigaudit runs",
        )
    return os.environ[name]


def _said(code: int, words: bytes | str) -> Said:
    """RFC 5321 section 4.2.1: 5yz is final, 4yz is temporary."""
    return Said("refused" if code >= 500 else "waiting", f"{code} {_text(words)}")


def _text(words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return " ".join(text.split())[:300]
