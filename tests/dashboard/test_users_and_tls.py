"""The file of users, the command that keeps it, and the real servers that stand before the pages."""

import http.client
import json
import socket
import ssl
import threading
from contextlib import contextmanager, suppress
from dataclasses import replace

import pytest
import trustme
from click.testing import CliRunner

import nightkeel
from dashboard.serve import listen
from dashboard.settings import Settings
from dashboard.users import COST_N, COST_P, COST_R, PASSPHRASE_MIN, Account, Users, derive, make_account
from ingest.errors import UserError

PHRASE = "seven green wards"
LOW_N = 16


@pytest.fixture
def users(tmp_path):
    held = Users(tmp_path / "night.db.users")
    held.put("ward", make_account("view", PHRASE, LOW_N), new=True)
    return held


def test_the_hash_is_scrypt_as_published():
    """RFC 7914, section 12, third vector (published); its first 32 of 64 bytes are the 32-byte key."""
    salt = b"SodiumChloride".hex()
    account = Account(role="view", salt=salt, hash="", n=16384, r=8, p=1)
    assert derive("pleaseletmein", account) == (
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    )


def test_the_cost_is_what_is_recommended():
    """OWASP Password Storage Cheat Sheet: N = 2^17, r = 8, p = 1 at least (published)."""
    account = make_account("view", PHRASE)
    assert (account.n, account.r, account.p) == (COST_N, COST_R, COST_P) == (2**17, 8, 1)


def test_the_file_is_its_owner_s_alone_and_holds_no_passphrase(users):
    assert users.path.stat().st_mode & 0o777 == 0o600
    assert PHRASE not in users.path.read_text()
    assert [path.name for path in users.path.parent.iterdir()] == [users.path.name]


def test_the_same_passphrase_gives_another_hash_to_another_person(users):
    users.put("other", make_account("view", PHRASE, LOW_N), new=True)
    held = users.accounts()
    assert held["ward"].hash != held["other"].hash


def test_a_passphrase_written_in_another_form_is_the_same(users):
    users.put("nuit", make_account("view", "une nuit très longue", LOW_N), new=True)
    assert users.check("nuit", "une nuit tre\u0300s longue") is not None
    assert users.check("nuit", "une nuit tres longue") is None
    assert users.check("ward", "une nuit très longue") is None


def test_a_long_passphrase_is_not_cut(users):
    long = "x" * 255
    users.put("long", make_account("view", long + "y", LOW_N), new=True)
    assert users.check("long", long + "y") is not None
    assert users.check("long", long + "z") is None


@pytest.mark.parametrize("name", ["", "Ward", "a b", "-x", "a" * 33, "a\n", "é", "a/b", "a\r\nX: y"])
def test_an_odd_name_is_refused(users, name):
    with pytest.raises(UserError, match="can't be a name"):
        users.put(name, make_account("view", PHRASE, LOW_N), new=True)


@pytest.mark.parametrize("phrase", ["", "x" * (PASSPHRASE_MIN - 1), "x" * 257])
def test_a_passphrase_has_a_least_and_a_greatest_length(phrase):
    with pytest.raises(UserError, match=f"has {len(phrase)} characters"):
        make_account("view", phrase, LOW_N)


def test_a_crash_while_writing_leaves_the_old_file(users, monkeypatch):
    before = users.path.read_bytes()
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError("power cut")))
    with pytest.raises(OSError, match="power cut"):
        users.remove("ward")
    assert users.path.read_bytes() == before


@pytest.mark.parametrize(
    "held", ["", "[]", "{}", '{"version":2,"users":{}}', '{"version":1,"users":{"a":1}}']
)
def test_a_damaged_file_is_said_not_believed(users, held):
    users.path.write_text(held)
    with pytest.raises(UserError, match="no file of users"):
        Users(users.path).accounts()


# --- the command


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run `nightkeel user …` over a store's file, with low cost; `typed` answers the questions."""
    monkeypatch.setattr("dashboard.users.make_account.__defaults__", (LOW_N,))

    def run_user(*words, typed=""):
        # Errors come as the exception that the command line turns into a sentence and exit status 2.
        return CliRunner().invoke(
            nightkeel.cli, ["user", *words, "--store", str(tmp_path / "night.db")], input=typed
        )

    return run_user


def test_add_list_change_unlock_remove(run, tmp_path):
    held = Users(tmp_path / "night.db.users")
    done = run("add", "ward", "--role", "view", typed=f"{PHRASE}\n{PHRASE}\n")
    assert done.exit_code == 0, done.output
    assert PHRASE not in done.output
    assert held.check("ward", PHRASE).role == "view"
    assert run("list").stdout.split() == ["ward", "view"]
    assert run("passphrase", "ward", typed="another green ward\n" * 2).exit_code == 0
    assert held.check("ward", PHRASE) is None
    assert held.check("ward", "another green ward").role == "view"
    assert run("unlock", "ward").exit_code == 0
    assert held.accounts()["ward"].unlocked == 1
    assert run("remove", "ward").exit_code == 0
    assert held.accounts() == {}


@pytest.mark.parametrize(
    ("words", "typed", "said"),
    [
        (("add", "ward", "--role", "view"), "short\nshort\n", "has 5 characters"),
        (("add", "Ward", "--role", "view"), "", "can't be a name"),
        (("remove", "nobody"), "", "There is no user nobody"),
        (("passphrase", "nobody"), "", "There is no user nobody"),
        (("unlock", "nobody"), "", "There is no user nobody"),
    ],
)
def test_a_mistake_is_a_sentence(run, words, typed, said):
    done = run(*words, typed=typed)
    assert isinstance(done.exception, UserError)
    assert said in str(done.exception)


def test_no_option_takes_a_passphrase(run):
    for name, command in nightkeel.cli.get_command(None, "user").commands.items():
        assert {one.name for one in command.params} <= {"name", "role", "store", "users"}, name


def test_a_user_needs_a_place():
    done = CliRunner().invoke(nightkeel.cli, ["user", "list"])
    assert isinstance(done.exception, UserError)


# --- the servers


@contextmanager
def serving(settings):
    """Serve in a thread; yield the port."""
    server = listen(settings)
    thread = threading.Thread(target=lambda: _run(server), daemon=True)
    thread.start()
    yield server.effective_port
    server.close()
    if hasattr(server, "task_dispatcher"):
        server.task_dispatcher.shutdown()
    thread.join(10)


def _run(server):
    # Closed from outside, a loop ends with the descriptor it was waiting on.
    with suppress(OSError):
        server.run()


def test_plain_requests_by_hand(store, users):
    """Line ends inside a header, two lengths, a body that is announced too long: all refused, none served."""
    with serving(Settings(store=store, port=0, users=users.path)) as port:
        host = f"Host: 127.0.0.1:{port}\r\nConnection: close\r\n"
        for sent, status in (
            (f"GET /login HTTP/1.1\r\n{host}\r\n", b"200"),
            (f"GET /_dash-layout HTTP/1.1\r\n{host}\r\n", b"401"),
            (f"GET /login HTTP/1.1\r\n{host}X-A: b\nX-Y\r\n\r\n", b"400"),
            (f"GET /login HTTP/1.1\r\n{host}Content-Length: 1\r\nContent-Length: 2\r\n\r\n", b"400"),
            (f"POST /login HTTP/1.1\r\n{host}Content-Length: 99999999999\r\n\r\n", b"413"),
            (f"GET //_dash-layout HTTP/1.1\r\n{host}\r\n", b"401"),
            (f"GET http://example.org/_dash-layout HTTP/1.1\r\n{host}\r\n", b"401"),
            ("GET /login HTTP/1.1\r\nHost: example.org\r\nConnection: close\r\n\r\n", b"403"),
        ):
            with socket.create_connection(("127.0.0.1", port), 10) as plug:
                plug.sendall(sent.encode())
                answer = b"".join(iter(lambda: plug.recv(65536), b""))
            assert answer.split()[1] == status, (sent, answer)


@pytest.fixture
def pair(tmp_path):
    authority = trustme.CA()
    issued = authority.issue_cert("127.0.0.1")
    cert, key = tmp_path / "ward.pem", tmp_path / "ward.key"
    issued.cert_chain_pems[0].write_to_path(cert)
    issued.private_key_pem.write_to_path(key)
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    return cert, key, trusting


def test_over_tls_a_browser_that_trusts_the_certificate_is_served(store, users, pair):
    cert, key, trusting = pair
    with serving(Settings(store=store, port=0, users=users.path, cert=cert, key=key)) as port:
        browser = http.client.HTTPSConnection("127.0.0.1", port, context=trusting, timeout=20)
        browser.request("GET", "/login")
        answer = browser.getresponse()
        answer.read()
        assert answer.status == 200
        assert "Secure" in answer.headers["Set-Cookie"]
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
        browser.request("GET", "/_dash-layout")
        assert browser.getresponse().status == 401
        browser.close()
        with pytest.raises(ssl.SSLCertVerificationError):
            http.client.HTTPSConnection(
                "127.0.0.1", port, context=ssl.create_default_context(), timeout=20
            ).request("GET", "/login")
        with socket.create_connection(("127.0.0.1", port), 10) as plug:
            plug.sendall(f"GET /login HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            said = b""
            with suppress(ConnectionResetError):
                said = plug.recv(4096)
            assert b" 200 " not in said.split(b"\r\n")[0]


def test_halves_that_do_not_fit_are_said(store, users, pair, tmp_path):
    cert, key, _ = pair
    other = tmp_path / "other.key"
    trustme.CA().issue_cert("127.0.0.1").private_key_pem.write_to_path(other)
    start = Settings(store=store, port=0, users=users.path)
    for options, said in (
        ({"cert": cert}, "both halves"),
        ({"key": key}, "both halves"),
        ({"cert": cert, "key": other}, "can't be used"),
        ({"cert": key, "key": cert}, "can't be used"),
        ({"cert": cert, "key": tmp_path / "none"}, "is not there"),
    ):
        with pytest.raises(UserError, match=said):
            listen(replace(start, **options))


def test_a_taken_port_is_said_over_tls_too(store, users, pair):
    cert, key, _ = pair
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        with pytest.raises(UserError, match=r"can't be used .*--port"):
            listen(Settings(store=store, port=port, users=users.path, cert=cert, key=key))


def test_beyond_this_machine_users_open_the_way(store, users, tmp_path):
    with pytest.raises(UserError, match="nightkeel user add"):
        listen(Settings(store=store, host="0.0.0.0", port=0, users=tmp_path / "none"))
    server = listen(Settings(store=store, host="0.0.0.0", port=0, users=users.path))
    server.close()
    server.task_dispatcher.shutdown()
    with pytest.raises(UserError, match="is not there"):
        listen(Settings(store=store, port=0, users=tmp_path / "none"))


def test_on_all_addresses_numbers_are_right_names_and_words_are_not(store, users):
    from dashboard.app import create_app

    settings = Settings(store=store, host="0.0.0.0", users=users.path, names=("ward.example",))
    client = create_app(settings).server.test_client()
    for host, status in (
        ("192.0.2.9:8050", 200), ("[2001:db8::1]:8050", 200), ("ward.example:8050", 200),
        ("example.org", 403), ("192.0.2.9.example.org", 403), ("2001:db8::1", 403), ("0x7f.1", 403),
    ):  # fmt: skip
        assert client.get("/login", headers={"Host": host}).status_code == status, host


def test_the_file_is_json_that_a_person_can_read(users):
    held = json.loads(users.path.read_text())
    assert held["users"]["ward"]["role"] == "view"
