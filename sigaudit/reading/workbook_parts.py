"""The parts of an .xlsx workbook that say where its rows are and how their cells are to be read.

Read with the XML parser of the standard library and not with the workbook library, whose streaming mode leaves out
sheets that are missing and rows out of order without a word, and keeps every row's element in memory. Source of
the parts: ECMA-376 (Office Open XML), parts 1 and 2.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import IO
from xml.etree import ElementTree
from xml.parsers import expat

__all__ = ["LARGEST_BYTES", "MOST_LETTERS", "Book", "Damaged", "Sheet", "parse", "read_book", "unescaped"]

LARGEST_BYTES = 1 << 30  # house: of all parts unpacked, and of the text that the rows come to
MOST_LETTERS = 1 << 20  # house: of one cell
_LARGEST_SMALL = 16 << 20  # house: of a part that is read as a whole
_LARGEST_STRINGS = 256 << 20  # house: of the shared strings, which stay in memory
_LARGEST_TOKEN = 16 << 20  # house: bytes without a tag's end, or of one text
_CHUNK = 1 << 16
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
# ECMA-376 part 1, 18.8.30, from memory: formats that need no definition, and those of East Asian dates and times.
_USUAL = {
    14: "mm-dd-yy", 15: "d-mmm-yy", 16: "d-mmm", 17: "mmm-yy", 18: "h:mm AM/PM", 19: "h:mm:ss AM/PM", 20: "h:mm",
    21: "h:mm:ss", 22: "m/d/yy h:mm", 45: "mm:ss", 46: "[h]:mm:ss", 47: "mmss.0",
} | dict.fromkeys((*range(27, 32), 36, *range(50, 55), 57, 58), "yyyy-mm-dd") | dict.fromkeys(
    (*range(32, 36), 55, 56), "h:mm:ss"
)  # fmt: skip


class Damaged(Exception):
    """What in a workbook is not as it must be; never leaves the reading wing."""


@dataclass(frozen=True)
class Sheet:
    """A visible worksheet: its title and the archive's name of its part."""

    title: str
    part: str


@dataclass(frozen=True)
class Book:
    """strings: the shared texts; formats: number format of each cell style; since_1904: dates count from 1904."""

    sheets: tuple[Sheet, ...]
    strings: list[str]
    formats: tuple[str, ...]
    since_1904: bool


def read_book(archive: zipfile.ZipFile) -> Book:
    """What an archive with a part xl/workbook.xml says of its visible worksheets, in their order.

    Raises Damaged, and what the archive and the XML parser raise.
    """
    if sum(part.file_size for part in archive.infolist()) > LARGEST_BYTES:
        raise Damaged(f"it unpacks to more than {LARGEST_BYTES >> 20} MiB")
    # Names of parts do not distinguish case.
    names = {part.filename.replace("\\", "/").casefold(): part.filename for part in archive.infolist()}
    workbook = _tree(archive, names["xl/workbook.xml"])
    targets, kinds = {}, {}
    for relation in _tree(archive, _part(names, "xl/_rels/workbook.xml.rels")):
        target = posixpath.normpath(posixpath.join("/xl", relation.get("Target", ""))).lstrip("/")
        kind = relation.get("Type", "").rpartition("/")[2]
        targets[relation.get("Id", "")] = (kind, target)
        kinds[kind] = target
    sheets, since_1904 = [], False
    for element in workbook.iter():
        if _local(element.tag) == "workbookPr":
            since_1904 = element.get("date1904", "") in ("1", "true")
        if _local(element.tag) == "sheet" and element.get("state", "visible") == "visible":
            number = next((text for name, text in element.items() if _local(name) == "id"), "")
            kind, target = targets.get(number, ("", ""))
            if kind in ("worksheet", ""):
                sheets.append(Sheet(element.get("name", ""), _part(names, target)))
    strings, styles = kinds.get("sharedStrings"), kinds.get("styles")
    return Book(
        tuple(sheets),
        _strings(archive, _part(names, strings)) if strings else [],
        _formats(_tree(archive, _part(names, styles))) if styles else (),
        since_1904,
    )


def parse(
    stream: IO[bytes], start: Callable[[str, dict[str, str]], None], end: Callable[[str], None],
    text: Callable[[str], None],
) -> Iterator[None]:  # fmt: skip
    """Feeds a part to handlers, which get local names, and pauses now and then for what they have gathered.

    Raises expat.ExpatError, Damaged for tokens of unreasonable size.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    local = _Local()
    parser.StartElementHandler = lambda name, attributes: start(local[name], attributes)
    parser.EndElementHandler = lambda name: end(local[name])
    parser.CharacterDataHandler = text
    fed = 0
    while data := stream.read(_CHUNK):
        parser.Parse(data, False)
        fed += len(data)
        if fed - parser.CurrentByteIndex > _LARGEST_TOKEN:
            raise Damaged("a tag of it does not end")
        yield
    parser.Parse(b"", True)
    yield


class _Local(dict[str, str]):
    """Name with its namespace -> name without."""

    def __missing__(self, name: str) -> str:
        found = self[name] = name.rpartition(" ")[2]
        return found


def unescaped(text: str) -> str:
    """A text of a workbook with its characters written ``_xHHHH_`` as they are (ECMA-376 part 1, 22.9.2.19)."""
    if "_x" not in text:
        return text
    return _ESCAPED.sub(lambda m: m[0] if 0xD800 <= int(m[1], 16) < 0xE000 else chr(int(m[1], 16)), text)


def _strings(archive: zipfile.ZipFile, part: str) -> list[str]:
    """The shared texts: runs joined, their readings (furigana) left out."""
    if archive.getinfo(part).file_size > _LARGEST_STRINGS:
        raise Damaged(f"its texts unpack to more than {_LARGEST_STRINGS >> 20} MiB")
    found: list[str] = []
    parts: list[str] = []
    inside, reading, letters = False, False, 0

    def start(name: str, _: dict[str, str]) -> None:
        nonlocal inside, reading, letters
        if name == "si":
            letters = 0
            parts.clear()
        elif name == "t":
            inside = not reading
        elif name == "rPh":
            reading = True

    def end(name: str) -> None:
        nonlocal inside, reading
        if name == "si":
            found.append(unescaped("".join(parts)))
        elif name == "t":
            inside = False
        elif name == "rPh":
            reading = False

    def text(data: str) -> None:
        nonlocal letters
        if inside:
            letters += len(data)
            if letters > MOST_LETTERS:
                raise Damaged(f"a text of it has more than {MOST_LETTERS} characters")
            parts.append(data)

    with closing(archive.open(part)) as stream:
        for _ in parse(stream, start, end, text):
            pass
    return found


def _formats(styles: ElementTree.Element) -> tuple[str, ...]:
    codes = dict(_USUAL)
    found = []
    for element in styles:
        if _local(element.tag) == "numFmts":
            codes |= {int(one.get("numFmtId", "0")): one.get("formatCode", "") for one in element}
        elif _local(element.tag) == "cellXfs":
            found = [int(one.get("numFmtId", "0")) for one in element]
    return tuple(codes.get(number, "") for number in found)


def _part(names: dict[str, str], wanted: str) -> str:
    if wanted.casefold() not in names:
        raise Damaged(f"its part {wanted or 'of a sheet'} is missing")
    return names[wanted.casefold()]


def _tree(archive: zipfile.ZipFile, part: str) -> ElementTree.Element:
    if archive.getinfo(part).file_size > _LARGEST_SMALL:
        raise Damaged(f"its part {part} unpacks to more than {_LARGEST_SMALL >> 20} MiB")
    return ElementTree.fromstring(archive.read(part))


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]
