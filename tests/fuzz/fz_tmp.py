"""Every parser fed with damaged inputs for a given time: ``python -m tests.fuzz.parsers [MINUTES [SEED]]``.

Run by hand. Inputs are the worked examples, mutated: bytes flipped, cut, doubled, spliced with another example. A
parser must answer or refuse by the exceptions it documents; anything else, a sum that does not close, or a line that
is neither signal nor reject nor skipped, stops the run and prints the input.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from sigaudit.errors import SigauditError
from sigaudit.reading import guess, ingest, layout_files
from sigaudit.reading.codes import contact_id, dc09, sia
from sigaudit.reading.content import Content
from sigaudit.reading.roster import read as read_roster
from sigaudit.settings import parse
from sigaudit.store.opening import open_store
from tests.reading import printer_logs
from tests.reading.small_station import Receivers
from tests.reading.test_layout_frames import LAYOUT as FRAMES
from tests.reading.test_layout_kinds import BLOCKS, DELIMITED, MESSAGES, SHEETS, SLIPS

DATA = Path(__file__).parents[1] / "reading" / "data"
FRAME_SEEDS = [json.loads(x)["frame"].encode("latin-1") for x in (DATA / "dc09_examples.jsonl").open(encoding="utf-8")]
MESSAGE_SEEDS = [json.loads(x)["raw"].encode() for x in (DATA / "contact_id_examples.jsonl").open(encoding="utf-8")]
BLOCK_SEEDS = [frame.split(b"[")[1].split(b"]")[0] for frame in FRAME_SEEDS if b"SIA-DCS" in frame and b"[" in frame]
LAYOUT_SEEDS = [text.encode() for text in (FRAMES, BLOCKS, DELIMITED, MESSAGES, SHEETS, printer_logs.COLUMNS)]
PLAIN = b"received_at,receiver,line,account,event,partition,zone\n2026-11-02T08:15:30,1,2,0042,E130,1,5\n"
LOG_SEEDS = {
    None: [PLAIN, PLAIN + b'2026-11-01T01:30:00,1,2,"00\n42",E130,1,5\n', PLAIN.decode().encode("utf-16")],
    "frames": [b"2026-11-02T08:15:30 L4 " + frame.strip() + b"\n" for frame in FRAME_SEEDS],
    "blocks": [b"2026-11-02 08:15:30 " + block + b"\n" for block in BLOCK_SEEDS],
    "messages": [b"2026-11-02 08:15:30 R1 " + message + b"\n" for message in MESSAGE_SEEDS],
    "slips": [slip.encode() for slip in SLIPS],
}
SETTINGS = b'[station]\ntimezone = "Europe/Berlin"\n[receivers.groups]\n"1" = "north"\n[dc09.keys]\ndefault = "KEY"\n'
ROSTER = b"account,site,system_type,installed_on\n0042,Mill,fire,2026-01-02\n0043,Shop,burglary,\n"


def mutated(seed: bytes, others: list[bytes], rng: random.Random) -> bytes:
    data = bytearray(seed)
    for _ in range(rng.choice((0, 1, 1, 2, 3, 8))):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(7)
        if kind == 0 and data:
            data[at % len(data)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            data[at:at] = bytes([rng.choice(b'\0\r\n"[]|/#^*_\xff\xe9,;\x1a 0AF')])
        elif kind == 2:
            del data[at : at + rng.randrange(1, 6)]
        elif kind == 3:
            data[at:at] = data[at : at + rng.randrange(1, 30)] * rng.randrange(1, 4)
        elif kind == 4:
            other = rng.choice(others)
            data[at:] = other[rng.randrange(len(other) + 1) :]
        elif kind == 5:
            data[at:at] = rng.randbytes(rng.randrange(1, 9))
        else:
            data = data[:at]
    return bytes(data)


class Fuzzer:
    """One target per turn; ``counts`` says how often each answered and refused."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.rng = folder, random.Random(seed)
        self.counts: Counter[str] = Counter()
        self.last: tuple[str, bytes] = ("", b"")
        (folder / "layouts").mkdir()
        for name, text in (("frames", FRAMES), ("blocks", BLOCKS), ("messages", MESSAGES), ("slips", SHEETS)):
            (folder / "layouts" / f"{name}.toml").write_text(text, encoding="utf-8")
        self.targets: list[tuple[str, int, Callable[[], None]]] = [
            ("contact_id", 400, self.contact_id), ("sia", 400, self.sia), ("dc09", 400, self.dc09),
            ("layout", 20, self.layout), ("settings", 40, self.settings), ("roster", 4, self.roster),
            ("content", 20, self.content), ("ingest", 2, self.ingest),
        ]  # fmt: skip

    def given(self, name: str, seeds: list[bytes]) -> bytes:
        data = mutated(self.rng.choice(seeds), seeds, self.rng)
        self.last = (name, data)
        self.counts[name] += 1
        return data

    def turn(self) -> None:
        for _, times, target in self.targets:
            for _ in range(times):
                try:
                    target()
                except SigauditError as refused:
                    assert refused.message and "\n" not in refused.message, refused
                    self.counts["refused"] += 1

    def contact_id(self) -> None:
        contact_id.read_message(self.given("contact_id", MESSAGE_SEEDS).decode("latin-1"))

    def sia(self) -> None:
        sia.read_block(self.given("sia", BLOCK_SEEDS).decode("latin-1"))

    def dc09(self) -> None:
        dc09.read_frame(self.given("dc09", FRAME_SEEDS), {"": bytes(16)})

    def layout(self) -> None:
        path = self.folder / "own.toml"
        path.write_bytes(self.given("layout", LAYOUT_SEEDS))
        layout_files.read(path)

    def settings(self) -> None:
        data = self.given("settings", [SETTINGS])
        parse(data.decode("utf-8", "replace"), self.folder)

    def roster(self) -> None:
        folder = self.folder / "roster"
        folder.mkdir(exist_ok=True)
        (folder / "accounts.csv").write_bytes(self.given("roster", [ROSTER]))
        read_roster(folder, parse(SETTINGS.decode(), self.folder))

    def content(self) -> None:
        path = self.folder / self.rng.choice(("a.csv", "a.csv.gz", "a.xlsx", "a.csv.zst"))
        seeds = [*LOG_SEEDS[None], b"\x1f\x8b\x08", b"PK\x03\x04", b"\x28\xb5\x2f\xfd"]
        path.write_bytes(self.given("content", seeds))
        with Content(path, "a") as stream:
            while stream.read(1 << 16):
                pass

    def guess(self) -> None:
        path = self.folder / "guess.log"
        seeds = [seed for several in LOG_SEEDS.values() for seed in several]
        path.write_bytes(b"".join(self.given("guess", seeds) for _ in range(self.rng.randrange(1, 30))))
        guess.guess(path)

    def ingest(self) -> None:
        layout_id = self.rng.choice(list(LOG_SEEDS))
        seeds = LOG_SEEDS[layout_id]
        path = self.folder / "log.txt"
        content = b"".join(self.given("ingest", seeds) for _ in range(self.rng.randrange(1, 12)))
        self.last = ("ingest", content)
        path.write_bytes(content)
        with tempfile.TemporaryDirectory(dir=self.folder) as store:
            made = open_store(Path(store) / "store", create=True)
            found = ingest.run(made, Receivers(self.folder / "layouts"), [path], layout_id=layout_id)
            assert found.sum.closes, found.sum
            again = ingest.run(made, Receivers(self.folder / "layouts"), [path], layout_id=layout_id)
            assert again.sum.signals == 0, again.sum


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    until = time.monotonic() + 60 * minutes
    with tempfile.TemporaryDirectory() as folder:
        fuzzer = Fuzzer(Path(folder), seed)
        try:
            while time.monotonic() < until:
                fuzzer.turn()
        except BaseException:
            print(f"{fuzzer.last[0]}: {fuzzer.last[1]!r}")
            raise
    print(", ".join(f"{name} {n:,}" for name, n in sorted(fuzzer.counts.items())))


if __name__ == "__main__":
    main()
