"""Settings: values, their lines, and one clear sentence for everything that is wrong."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sigaudit import known_names
from sigaudit.errors import SettingsProblem, SigauditError, UsageProblem
from sigaudit.settings import load, parse
from sigaudit.settings_keys import KEYS, TABLES
from sigaudit.settings_lines import key_lines

FULL = """\
# a comment with "quotes" and [brackets]
[station]
name = "Harbour Watch"
timezone = "Europe/Berlin"

[receivers]
own_accounts = [
    "0000",  # the first
    "9999",
]
[receivers.groups]
"1" = "north"
"2/3" = "south"
[receivers.paths]
"4" = "radio"
"2/3" = "phone"

[audit]
history_weeks = 8
[limits.gone_silent]
days = 2.5
[limits_by_type.fire.gone_silent]
days = 1
[limits_by_dealer."Nord, Alarm & Co".test_overdue]
grace = "30min"
[limits_by_account."north/0421"]
test_overdue.grace = "2h"
[severity]
line_cut_flapping = "off"
[confirmed]
limits = ["A-1"]
"""

ZONE = '[station]\ntimezone = "Europe/Berlin"\n'


def read(text: str) -> None:
    parse(text, Path())


def test_every_value_carries_its_line() -> None:
    settings = parse(FULL, Path())
    where = {entry.key: entry.where for entry in settings.entries()}
    lines = FULL.splitlines()
    for key, start in {
        "station.name": "name",
        "station.timezone": "timezone",
        "receivers.own_accounts": "own_accounts",
        'receivers.groups."2/3"': '"2/3" = "south"',
        'receivers.paths."2/3"': '"2/3" = "phone"',
        "audit.history_weeks": "history_weeks",
        "limits.gone_silent.days": "days = 2.5",
        "limits_by_type.fire.gone_silent.days": "days = 1",
        'limits_by_dealer."Nord, Alarm & Co".test_overdue.grace': 'grace = "30min"',
        'limits_by_account."north/0421".test_overdue.grace': "test_overdue.grace",
        "severity.line_cut_flapping": "line_cut_flapping",
        "confirmed.limits": "limits = [",
    }.items():
        line = next(number for number, line in enumerate(lines, 1) if line.startswith(start))
        assert where[key] == f"sigaudit.toml:{line}", key
    assert where["audit.compare_weeks"] == where["station.edition"] == "default"


def test_values_and_defaults() -> None:
    settings = parse(FULL, Path())
    assert settings.station == settings.report_name == "Harbour Watch"
    assert settings.zone == ZoneInfo("Europe/Berlin")
    assert settings.own_accounts == ("0000", "9999")
    assert (settings.history_weeks, settings.compare_weeks, settings.account_range) == (8, 4, 20_000)
    assert settings.severity == {"line_cut_flapping": "off"}
    assert settings.confirmed_limits == ("A-1",)
    assert settings.edition == ""
    assert [(k.scope, k.subject, k.check, k.limit, k.value) for k in settings.limit_keys()] == [
        ("station", "", "gone_silent", "days", 2.5),
        ("system_type", "fire", "gone_silent", "days", 1),
        ("dealer", "Nord, Alarm & Co", "test_overdue", "grace", "30min"),
        ("account", "north/0421", "test_overdue", "grace", "2h"),
    ]
    assert {key.file for key in settings.limit_keys()} == {"sigaudit.toml"}


def test_the_line_of_a_receiver_wins_over_the_receiver() -> None:
    settings = parse(ZONE + '[receivers.groups]\n"1"="a"\n"1/2"="b"\n[receivers.paths]\n"1/2"="radio"\n', Path())
    assert [settings.group_of("1", "1"), settings.group_of("1", "2"), settings.group_of("7", "1")] == [
        "a",
        "b",
        "main",
    ]
    assert [settings.path_kind_of("1", "2"), settings.path_kind_of("1", "1")] == ["radio", ""]
    assert settings.only_group == ""
    assert settings.group_names == ("a", "b", "main")
    assert parse(ZONE, Path()).only_group == "main"
    assert parse(ZONE + '[receivers.groups]\n"1"="a"\n', Path()).only_group == "a"


def test_a_bare_account_belongs_to_the_only_group() -> None:
    limits = '[limits_by_account."0421".gone_silent]\ndays = 1\n'
    assert list(parse(ZONE + limits, Path()).limits.by_account) == ["main/0421"]
    one = parse(ZONE + '[receivers.groups]\n"1"="north"\n' + limits, Path())
    assert list(one.limits.by_account) == ["north/0421"]
    with pytest.raises(SettingsProblem, match=r'line 7: .*"main/0421", "north/0421", "south/0421"'):
        read(ZONE + '[receivers.groups]\n"1"="north"\n"2"="south"\n[limits_by_account."0421".x]\ny = 1\n')


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[station]\ntimezon = "Europe/Berlin"\n', r"line 2: station\.timezon: .*nearest: station\.timezone"),
        (ZONE + "history_weeks = 4\n", r"line 3: station\.history_weeks: .*nearest: audit\.history_weeks"),
        (ZONE + "[severty]\nx='off'\n", r"line 4: severty\.x: unknown key \(nearest: severity\)"),
        (ZONE + "[auditt]\n", r"line 3: auditt: unknown key \(nearest: audit\)"),
        (ZONE + "[receivers]\ngroups = 3\n", r"line 4: receivers\.groups: expected .*group"),
        (ZONE + "[receivers]\nown_accounts = [0]\n", r"line 4: .*list of texts in quotes"),
        (ZONE + '[receivers.paths]\n"1" = "celular"\n', r"line 4: receivers\.paths\.1: .*nearest: cellular"),
        (ZONE + "[receivers.groups]\n1.2 = 'a'\n", r"line 4: receivers\.groups\.1: expected"),
        (ZONE + "[receivers.groups]\n'1' = 'a/b'\n", r"line 4: .*without a slash"),
        (ZONE + "[severity]\ngone_silent = 'majr'\n", r"line 4: severity\.gone_silent: .*nearest: major"),
        (ZONE + "[limits]\ngone_silent = 3\n", r"line 4: limits\.gone_silent: expected \[limits\.<check>\]"),
        (ZONE + "[limits.gone_silent]\ndays = 2020-01-01\n", r"line 4: .*expected a number"),
        (ZONE + "[limits.gone_silent]\ndays = nan\n", r"line 4: .*finite"),
        (ZONE + "[limits.a.b]\nc = 1\n", r"line 3: limits\.a\.b: expected"),
        (ZONE + "[limits_by_type.fir.x]\ny = 1\n", r"line 4: limits_by_type\.fir\.x\.y: .*nearest: fire"),
        (ZONE + "[audit]\nhistory_weeks = true\n", r"line 4: .*whole number from 1 to 260"),
        (ZONE + "[audit]\nhistory_weeks = 0\n", r"line 4: .*whole number"),
        (ZONE + "[audit]\nmemory_limit = 'plenty'\n", r"line 4: .*a size"),
        (ZONE + "[audit]\nmemory_limit = '0GB'\n", r"line 4: .*a size"),
        (ZONE + '[receivers.groups]\n1/2 = "a"\n', r"line 4: not TOML"),
        (ZONE + "[station]\n", r"line 3: not TOML"),
        (ZONE + 'name = "', r"line 3: not TOML"),
        (ZONE + "a = " + "[" * 10_000 + "]" * 10_000, "nested too deep"),
        ("", "station.timezone is not set"),
        ("station = 3\n", r"line 1: station: expected a table \[station\]"),
        ('[station]\ntimezone = "EST"\n', r"line 2: .*nearest: America/New_York"),
        ('[station]\ntimezone = "CET"\n', r"line 2: .*nearest: Europe/Berlin"),
        ('[station]\ntimezone = "Europe/Berln"\n', r"line 2: .*nearest: Europe/Berlin"),
        ('[station]\ntimezone = "berlin"\n', r"line 2: .*nearest: Europe/Berlin"),
        ('[station]\ntimezone = "../../etc/passwd"\n', r"line 2: .*IANA zone"),
        ('[station]\ntimezone = ""\n', r"line 2: station\.timezone: is empty"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_line(text: str, said: str) -> None:
    with pytest.raises(SettingsProblem, match=said) as caught:
        read(text)
    assert "\n" not in caught.value.message
    assert caught.value.next_step


def test_edition_must_be_a_shipped_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    editions = tmp_path / "editions.csv"
    editions.write_text("edition,title\nnfpa72-2019,Fire alarm code 2019\n", encoding="utf-8")
    monkeypatch.setattr(known_names, "_EDITIONS", editions)
    known_names.editions.cache_clear()
    try:
        assert parse(ZONE + 'edition = "nfpa72-2019"\n', Path()).edition == "nfpa72-2019"
        with pytest.raises(SettingsProblem, match=r"line 3: station\.edition: .*nearest: nfpa72-2019"):
            read(ZONE + 'edition = "nfpa72-2018"\n')
    finally:
        known_names.editions.cache_clear()


def test_load_finds_the_workspace_upward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "sigaudit.toml").write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    inner = tmp_path / "reports" / "deep"
    inner.mkdir(parents=True)
    monkeypatch.chdir(inner)
    settings = load()
    assert settings.workspace == tmp_path.resolve()
    assert settings.store_dir == tmp_path.resolve() / "store"
    assert settings.where_of("station", "timezone") == "sigaudit.toml:4"
    assert load(tmp_path) == settings


def test_no_workspace_and_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match=r"holds no sigaudit\.toml"):
        load(tmp_path)
    with pytest.raises(UsageProblem, match=r"is no folder"):
        load(tmp_path / "nowhere")
    (tmp_path / "sigaudit.toml").write_bytes(b"# caf\xe9\n")
    with pytest.raises(SettingsProblem, match="byte 5 is no UTF-8"):
        load(tmp_path)
    (tmp_path / "sigaudit.toml").unlink()
    (tmp_path / "sigaudit.toml").mkdir()
    with pytest.raises(SettingsProblem, match="cannot be read"):
        load(tmp_path)


@given(st.text(max_size=200))
def test_any_text_gives_settings_or_one_sentence(text: str) -> None:
    try:
        parse(text, Path())
    except SigauditError as error:
        assert error.message


_NAME = st.text(st.characters(exclude_characters="\x7f", codec="utf-8"), max_size=5)
_SCALAR = st.one_of(
    st.integers(-9, 9).map(str),
    st.just('"""a\n# "" \\"""b = 1\n"""'),
    st.just("'''\n[x]\ny = '' 2\n'''''"),
    st.just('"[t]\\"#"'),
    st.just("1979-05-27T07:32:00Z"),
    st.just("[ 1, # one\n  [2,\n 3], ]"),
    st.just('{ "in ner" = { a = 1 }, b.c = "}" }'),
)


def _quoted(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)


@given(st.dictionaries(_NAME, st.dictionaries(_NAME, _SCALAR, max_size=3), max_size=4))
def test_lines_agree_with_the_parser(tables: dict[str, dict[str, str]]) -> None:
    """Every path tomllib finds has a line, and that line holds the key (tomllib is the outside measure)."""
    text = ""
    for table, pairs in tables.items():
        text += f"# [no = table]\n[{_quoted(table)}]\n"
        text += "".join(f"{_quoted(name)} = {value}\n" for name, value in pairs.items())
    parsed = tomllib.loads(text)
    lines = key_lines(text)
    rows = text.split("\n")
    for table, pairs in parsed.items():
        assert rows[lines[(table,)] - 1] == f"[{_quoted(table)}]"
        for name, value in pairs.items():
            assert rows[lines[(table, name)] - 1].startswith(f"{_quoted(name)} = ")
            if isinstance(value, dict):
                assert lines[(table, name, "in ner", "a")] == lines[(table, name)]
                assert lines[(table, name, "b", "c")] == lines[(table, name)]
            if isinstance(value, list):
                assert lines[(table, name, "1")] == lines[(table, name)] + 1
    assert {path[:2] for path in lines if len(path) > 1} == {(t, n) for t, pairs in parsed.items() for n in pairs}


def test_the_template_names_every_key() -> None:
    template = (Path(known_names.__file__).parent / "data" / "workspace" / "sigaudit.toml").read_text(encoding="utf-8")
    for key in KEYS:
        section, name = key.name.split(".")
        part = template[template.index(f"[{section}]") :]
        assert f"{name} = " in part, key.name
        if key.default not in ("", ()):
            shown = f'"{key.default}"' if isinstance(key.default, str) else str(key.default)
            if isinstance(key.default, tuple):
                shown = "[" + ", ".join(f'"{text}"' for text in key.default) + "]"
            assert f"# {name} = {shown}\n" in part, key.name
    for table in TABLES:
        assert f"[{table.name}" in template, table.name
