"""The ways of reporting in words: when each was last proven, tests of expected, check-ins, what did not arrive."""

from __future__ import annotations

from collections.abc import Sequence

from sigaudit.reporting.catalogue import Catalogue, Place
from sigaudit.reporting.health_document import FactLine, WayRow
from sigaudit.reporting.health_model import Kept, Site, Way
from sigaudit.reporting.page import Row

__all__ = ["missing_lines", "way_name", "way_rows"]

_SHOWN = 4


def way_name(way: Way, words: Catalogue) -> str:
    """``Main way: internet``; numbered where two look alike. Never the roster's own name of a path."""
    kind = words.say(f"ways.{way.kind or 'unknown'}")
    name = words.say(f"ways.{way.role or 'single'}", kind=kind)
    return words.say("ways.numbered", way=name, n=way.no) if way.no else name


def way_rows(site: Site, place: Place) -> list[WayRow]:
    """A row for each way, the ways as a whole where the log does not tell them apart, and the panel itself."""
    words = place.words
    rows = [
        WayRow(
            way_name(way, words),
            _proven(way, place),
            _tests(way.tests, words),
            _check_ins(way.check_ins, words),
            way.overdue,
        )
        for way in site.ways
    ]
    if site.whole is not None:
        last = site.whole.last_proof_utc
        proven = _moment(site.whole, place) if last else words.say("ways.never")
        rows.append(WayRow(words.say("ways.whole"), proven, _tests(site.whole, words), "", site.whole.overdue))
    rows.append(_panel(site, place))
    return rows


def _proven(way: Way, place: Place) -> str:
    words = place.words
    if way.last_utc is None:
        return words.say("ways.never" if way.is_told else "ways.not_told")
    moment = place.moment(way.last_utc)
    if way.overdue:
        return words.say("ways.overdue", moment=moment)
    return words.say("ways.unproven_since", moment=moment) if way.lapsed else moment


def _moment(kept: Kept, place: Place) -> str:
    assert kept.last_proof_utc is not None
    moment = place.moment(kept.last_proof_utc)
    return place.words.say("ways.overdue", moment=moment) if kept.overdue else moment


def _panel(site: Site, place: Place) -> WayRow:
    words = place.words
    name, panel = words.say("ways.panel"), site.panel
    last = max((at for at in (site.row["last_panel_utc"], panel.last_proof_utc if panel else None) if at), default=None)
    if site.panel_state == "not_proven":
        return WayRow(name, words.say("ways.panel_never"), _tests(panel, words) if panel else "", "")
    if last is None:
        # A dialer is the panel's own: the tests of its line are the panel's.
        tested = [way.tests.last_proof_utc for way in site.ways if way.tests and way.tests.last_proof_utc]
        last = max(tested, default=site.row["last_heard_utc"])
    proven = words.say("ways.panel_on", moment=place.moment(last)) if last else words.say("ways.panel_never")
    if site.panel_state == "degraded" and last:
        proven = words.say("ways.overdue", moment=place.moment(last))
    return WayRow(name, proven, _tests(panel, words) if panel else "", "", site.panel_state == "degraded")


def _tests(kept: Kept | None, words: Catalogue) -> str:
    if kept is None:
        return words.say("ways.no_test")
    if not kept.judged:
        return words.say("ways.no_test_seen")
    due = kept.received + kept.missed
    if kept.excused:
        return words.say("ways.excused", n=kept.received, of=due, x=kept.excused)
    return words.say("ways.received", n=kept.received, of=due)


def _check_ins(kept: Kept | None, words: Catalogue) -> str:
    if kept is None:
        return words.say("ways.check_ins_none")
    if not kept.judged:
        return words.say("ways.check_ins_unseen")
    lengths = [(row["until_utc"] - row["due_utc"]).total_seconds() for row in kept.gaps]
    if not lengths:
        return words.say("ways.check_ins_good")
    return words.many("ways.check_ins_broken", len(lengths), longest=words.lasting(max(lengths)))


def missing_lines(site: Site, place: Place) -> list[FactLine]:
    """Tests that did not arrive, by way, each with its time; times that do not count are left out."""
    words = place.words
    told = [(way_name(way, words), way.tests) for way in site.ways] + [
        (words.say("ways.whole"), site.whole),
        (words.say("ways.panel"), site.panel),
    ]
    lines = []
    for name, kept in told:
        misses = [row for row in kept.misses if row["state"] == "missed"] if kept is not None else []
        if misses:
            lines.append(_missing(name, misses, place))
    return lines


def _missing(name: str, misses: Sequence[Row], place: Place) -> FactLine:
    words = place.words
    said = []
    for row in misses:
        moment = place.moment(row["due_utc"])
        said.append(words.say("ways.stood_in", moment=moment) if row["lenient"] else moment)
    shown, rest = said[:_SHOWN], said[_SHOWN:]
    listed = "; ".join(shown)
    if rest:
        listed = words.many("ways.missing_more", len(rest), list=listed)
    return FactLine(f"{name}. {words.say('ways.missing', list=listed)}", (), rest)
