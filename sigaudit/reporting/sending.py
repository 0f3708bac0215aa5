"""Sending the health reports: a dry run that writes the letters, and the release that hands them over, each once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from sigaudit.reporting.letters import Ready
from sigaudit.reporting.mail import Post
from sigaudit.store import outbox
from sigaudit.store.opening import Store
from sigaudit.store.outbox import Letter
from sigaudit.store.progress import Progress, over, silent

__all__ = ["release", "write_drafts"]


def write_drafts(folder: Path, ready: Sequence[Ready]) -> list[Path]:
    """Write each letter as ``outbox/REPORT-KEY.eml``; drafts of letters that are no more are removed."""
    drafts = folder / "outbox"
    drafts.mkdir(parents=True, exist_ok=True)
    written = []
    for one in ready:
        path = drafts / f"{one.report}-{one.key[:6]}.eml"
        path.write_bytes(one.content)
        written.append(path)
    for old in drafts.glob("*.eml"):
        if old not in written:
            old.unlink()
    return written


def release(
    store: Store, month: str, ready: Sequence[Ready], post: Post, *, by: str, at: str, progress: Progress = silent
) -> list[Letter]:
    """Puts the letters into the outbox and hands over those that wait; gives the month's letters as they then stand.

    What was sent, refused or is in doubt is not touched: a letter goes out once. After a crash the same call goes on
    with what still waits. by: who released them; at: now, as text. Raises StoreBusy, SettingsProblem (no server).
    """
    letters = [
        Letter(
            one.key, month, one.report, one.dealer, one.address, hashlib.sha256(one.content).hexdigest(),
            released_by=by, released_at=at, changed_at=at,
        )
        for one in ready
    ]  # fmt: skip
    outbox.put(store, letters)
    content = {one.key: one.content for one in ready}
    waiting = [one for one in outbox.held(store, month) if one.state == "waiting" and one.key in content]
    try:
        for one in over(progress, waiting, "sending"):
            outbox.mark(store, one.key, "in doubt", "being handed over", at)
            try:
                said = post.hand_over(one.address, content[one.key])
            except BaseException:
                # Stopped before a word to the server, or by it for all letters alike: this one still waits.
                if not post.is_under_way:
                    outbox.mark(store, one.key, "waiting", "not handed over", at)
                raise
            outbox.mark(store, one.key, said.state, said.words, at)
    finally:
        post.close()
    return outbox.held(store, month)
