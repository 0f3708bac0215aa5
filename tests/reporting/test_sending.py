"""Sending health reports, against a real SMTP server on this machine (aiosmtpd)."""

from __future__ import annotations

import email
import email.policy
import socket
import ssl
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from made_month import HOSTILE, account, run, sound

from sigaudit.errors import InputProblem, SettingsProblem
from sigaudit.reporting import letters, sending
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.letters import Ready
from sigaudit.reporting.mail import Post
from sigaudit.store import outbox
from sigaudit.store.opening import Store, open_store

WHO = Identity("Invented station", "the desk, 8 to 17", "#0f5873", "#5aa0b8", "en", "a4")
SENDER = "reports@station.invalid"
NOW = "2026-11-02T09:00:00Z"
MAIL = {"server": "127.0.0.1", "port": 0, "security": "none", "sender": SENDER, "user": "", "password": ""}


class Box:
    """What a mail server took; ``answers``: what it says to an address, each word once, then 250."""

    def __init__(self) -> None:
        self.taken: list[tuple[str, bytes]] = []
        self.answers: dict[str, list[str]] = {}
        self.asked: list[str] = []

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        self.asked.append(address)
        said = self.answers.get(address, [])
        answer = said.pop(0) if said else "250 OK"
        if answer == "break":
            server.transport.abort()
            return "421 gone"
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.taken += [(address, envelope.content) for address in envelope.rcpt_tos]
        return "250 taken"


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@pytest.fixture()
def box() -> Box:
    return Box()


@pytest.fixture()
def server(box: Box) -> Iterator[dict[str, Any]]:
    """Settings of a running server."""
    controller = Controller(box, hostname="127.0.0.1", port=free_port(), ready_timeout=30)
    controller.start()
    yield {**MAIL, "port": controller.port}
    controller.stop()


@pytest.fixture()
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store", create=True)


def post(settings: dict[str, Any], waits: list[float] | None = None, **more: Any) -> Post:
    return Post(settings, sleep=(waits if waits is not None else []).append, **more)


def ready(*names: str) -> list[Ready]:
    return [
        Ready(f"key-{n}", f"report-{n}", "Dealer North", f"{n}@example.invalid", f"Subject: {n}\r\n\r\n.\r\n".encode())
        for n in names
    ]


def released(store: Store, mail: Post, *names: str) -> dict[str, tuple[str, str]]:
    done = sending.release(store, "2026-10", ready(*names), mail, by="B. Desk", at=NOW)
    return {one.report.removeprefix("report-"): (one.state, one.said) for one in done}


def with_dealers(tables: dict[str, Any], **desk: str) -> Any:
    import pyarrow as pa

    made = run(**tables)
    desks = {"dealer": "Dealer North", "name": "Dealer North", "email": "office@north.invalid", "deliver_to": "dealer"}
    made.tables["dealers"] = pa.Table.from_pylist([{**desks, **desk}])
    return made


def test_each_report_is_sent_once(store: Store, server: dict[str, Any], box: Box) -> None:
    assert released(store, post(server), "a", "b") == dict.fromkeys("ab", ("sent", "taken by the server"))
    assert [address for address, _ in box.taken] == ["a@example.invalid", "b@example.invalid"]
    assert set(released(store, post(server), "a", "b", "c").values()) == {("sent", "taken by the server")}
    assert [address for address, _ in box.taken][2:] == ["c@example.invalid"]
    (first, *_) = outbox.held(store, "2026-10")
    assert (first.tries, first.released_by, first.released_at) == (1, "B. Desk", NOW)
    assert outbox.held(store, "2026-09") == []


def test_an_address_refused_for_good_is_listed_and_not_tried_again(
    store: Store, server: dict[str, Any], box: Box
) -> None:
    box.answers["a@example.invalid"] = ["550 no such mailbox"] * 9
    found = released(store, post(server), "a", "b")
    assert found["a"] == ("refused", "550 no such mailbox") and found["b"][0] == "sent"
    assert released(store, post(server), "a", "b")["a"][0] == "refused"
    assert box.asked.count("a@example.invalid") == 1


def test_a_temporary_answer_is_tried_again_with_longer_waits(store: Store, server: dict[str, Any], box: Box) -> None:
    waits: list[float] = []
    box.answers["a@example.invalid"] = ["451 try later", "450 still busy"]
    assert released(store, post(server, waits), "a")["a"][0] == "sent"
    assert waits == [2.0, 8.0]
    box.answers["b@example.invalid"] = ["451 try later"] * 3
    assert released(store, post(server), "b")["b"] == ("waiting", "451 try later")
    assert released(store, post(server), "b")["b"][0] == "sent"  # the next call goes on with what waits


def test_a_connection_that_breaks_under_a_letter_leaves_it_in_doubt(
    store: Store, server: dict[str, Any], box: Box
) -> None:
    box.answers["a@example.invalid"] = ["break"]
    found = released(store, post(server), "a", "b")
    assert found["a"][0] == "in doubt" and found["b"][0] == "sent"
    assert released(store, post(server), "a", "b")["a"][0] == "in doubt"
    assert [address for address, _ in box.taken] == ["b@example.invalid"]


def test_after_a_crash_the_rest_goes_out_and_the_one_under_way_is_in_doubt(
    store: Store, server: dict[str, Any], box: Box
) -> None:
    class Crashing(Post):
        def hand_over(self, address: str, letter: bytes) -> Any:
            if address.startswith("b"):
                self.is_under_way = True
                raise KeyboardInterrupt
            return super().hand_over(address, letter)

    with pytest.raises(KeyboardInterrupt):
        released(store, Crashing(server, sleep=lambda _: None), "a", "b", "c")
    assert [one.state for one in outbox.held(store)] == ["sent", "in doubt", "waiting"]
    assert {n: state for n, (state, _) in released(store, post(server), "a", "b", "c").items()} == {
        "a": "sent", "b": "in doubt", "c": "sent",
    }  # fmt: skip
    assert [address[0] for address, _ in box.taken] == ["a", "c"]


def test_a_server_that_is_not_there_stops_the_release_and_everything_still_waits(
    store: Store, server: dict[str, Any]
) -> None:
    waits: list[float] = []
    with pytest.raises(SettingsProblem, match="cannot be reached"):
        released(store, post({**server, "port": 1}, waits), "a", "b")
    assert [one.state for one in outbox.held(store)] == ["waiting", "waiting"] and waits == [2.0, 8.0]
    assert {state for state, _ in released(store, post(server), "a", "b").values()} == {"sent"}


def _certificate(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """A certificate for 127.0.0.1 of this test's own, as server and client see it."""
    import ipaddress

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(1)
        .not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem = made.public_bytes(serialization.Encoding.PEM)
    form = serialization.PrivateFormat.PKCS8
    (folder / "c.pem").write_bytes(
        pem + key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption())
    )
    side = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    side.load_cert_chain(folder / "c.pem")
    return side, ssl.create_default_context(cadata=pem.decode("ascii"))


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_sealed_and_with_a_login_from_the_environment(
    security: str, store: Store, box: Box, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs, ours = _certificate(tmp_path)

    def check(_: SMTP, __: Any, ___: Any, mechanism: str, data: Any) -> AuthResult:
        assert isinstance(data, LoginPassword)
        return AuthResult(success=(data.login, data.password) == (b"station", b"a word"), handled=False)

    more = {"tls_context": theirs, "require_starttls": True} if security == "starttls" else {}
    controller = Controller(
        box, hostname="127.0.0.1", port=free_port(), ready_timeout=30, authenticator=check,
        ssl_context=theirs if security == "tls" else None, auth_required=True,
        auth_require_tls=security == "starttls", **more,
    )  # fmt: skip
    controller.start()
    try:
        port = controller.port
        settings = {**MAIL, "port": port, "security": security, "user": "M_USER", "password": "M_WORD"}
        with pytest.raises(SettingsProblem, match="M_USER, which is not set"):
            post(settings)
        monkeypatch.setenv("M_USER", "station")
        monkeypatch.setenv("M_WORD", "another word")
        with pytest.raises(SettingsProblem, match="refuses the login"):
            released(store, post(settings, context=ours), "a")
        monkeypatch.setenv("M_WORD", "a word")
        with pytest.raises(SettingsProblem, match="cannot be reached"):  # a certificate that nobody vouches for
            released(store, post(settings), "a")
        assert released(store, post(settings, context=ours), "a")["a"][0] == "sent"
        with pytest.raises(SettingsProblem, match="in the clear"):
            post({**settings, "security": "none"})
    finally:
        controller.stop()


def test_a_letter_holds_one_customers_report_and_no_detail(store: Store, server: dict[str, Any], box: Box) -> None:
    tables = sound("4711", "4712")
    tables["findings"] = [
        {"account_key": "main/4711", "check": "test_overdue", "severity": "major", "subject": "path=phone"}
    ]
    made, kept = letters.prepare(with_dealers(tables), WHO, SENDER, {})
    assert [one.address for one in made] == ["office@north.invalid"] * 2 and kept == []
    again, _ = letters.prepare(with_dealers(tables), WHO, SENDER, {})
    assert [one.content for one in made] == [one.content for one in again]
    done = sending.release(store, "2026-10", made, post(server), by="B. Desk", at=NOW)
    assert {one.state for one in done} == {"sent"} and len(box.taken) == 2
    for (_, content), one in zip(box.taken, sorted(made, key=lambda m: (m.report, m.address)), strict=True):
        message = email.message_from_bytes(content, policy=email.policy.default)
        assert (message["From"], message["To"]) == (f"Invented station <{SENDER}>", "office@north.invalid")
        text = message.get_body(("plain",)).get_content() + message.get_body(("html",)).get_content()
        files = {part.get_filename(): part.get_content() for part in message.iter_attachments()}
        assert set(files) == {f"{one.report}.html", f"{one.report}.pdf"}
        assert files[f"{one.report}.pdf"].startswith(b"%PDF-")
        own = "4711" if "Customer 4711" in text else "4712"
        other = "4712" if own == "4711" else "4711"
        assert other not in text + str(message["Subject"]) + files[f"{one.report}.html"]
        for word in ("main/", "phone", "telephone", "E602", "@", "test_overdue", f"Site {own}"):
            assert word not in text, word


@pytest.mark.parametrize(
    ("row", "desk", "address", "why"),
    [
        ({}, {}, "office@north.invalid", ""),
        ({}, {"deliver_to": "customer"}, "c0001@example.invalid", ""),
        ({"customer_email": ""}, {"deliver_to": "customer"}, "", "no address"),
        ({}, {"email": ""}, "", "no address"),
        ({"dealer": "Dealer South"}, {"deliver_to": "customer"}, "", "no address"),
        ({"send_report": ""}, {}, "", "send_report"),
        ({"send_report": "no"}, {}, "", "send_report"),
    ],
    ids=[
        "dealer",
        "customer",
        "no mail of the customer",
        "none of the dealer",
        "dealer not listed",
        "not asked",
        "refused",
    ],
)
def test_only_to_addresses_that_the_roster_gives(row: Any, desk: Any, address: str, why: str) -> None:
    tables = {**sound("0001"), "month_accounts": [account("0001", **row)]}
    made, kept = letters.prepare(with_dealers(tables, **desk), WHO, SENDER, {})
    assert [one.address for one in made] == ([address] if address else [])
    assert not why or why in kept[0].why


def test_a_critical_finding_holds_a_report_until_the_owner_was_told(tmp_path: Path) -> None:
    tables = sound("0001", "0002")
    # Set aside or not: the owner is to hear of it from a person first.
    tables["findings"] = [{"account_key": "main/0001", "check": "gone_silent", "severity": "critical", "quiet": True}]
    made = with_dealers(tables)
    ready_now, kept = letters.prepare(made, WHO, SENDER, {})
    assert len(ready_now) == 1 and [one.is_held for one in kept] == [True]
    path = letters.write_held(tmp_path, kept, {})
    text = path.read_text(encoding="utf-8").rstrip("\n") + "2026-11-02 09:30\n"
    path.write_text(text, encoding="utf-8", newline="\n")
    told = letters.read_told(tmp_path)
    assert told == {kept[0].report: "2026-11-02 09:30"}
    ready_now, kept = letters.prepare(made, WHO, SENDER, told)
    assert len(ready_now) == 2 and kept == []
    letters.write_held(tmp_path, kept, told)
    assert letters.read_told(tmp_path) == told  # what the desk wrote stays
    path.write_text(text.replace("09:30", "soon"), encoding="utf-8", newline="\n")
    with pytest.raises(InputProblem, match=r"held\.csv, row 2: told_owner_at: '2026-11-02 soon' is no time"):
        letters.read_told(tmp_path)


def test_hostile_names_do_not_end_a_header(tmp_path: Path) -> None:
    accounts = [account(f"{n:04d}", customer=f"{text}\r\nBcc: x@example.invalid") for n, text in enumerate(HOSTILE)]
    made, _ = letters.prepare(with_dealers({"month_accounts": accounts}), WHO, SENDER, {})
    assert len(made) == len(HOSTILE)
    for one, path in zip(made, sending.write_drafts(tmp_path, made), strict=True):
        message = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        assert message["Bcc"] is None and path.read_bytes() == one.content
        assert "<img" not in message.get_body(("html",)).get_content()
    assert len(sending.write_drafts(tmp_path, made[:1])) == 1 == len(list((tmp_path / "outbox").iterdir()))
