"""Serving on the home network for real: sockets, refusals to start, certificates, slow clients, a browser."""

from __future__ import annotations

import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import which
from typing import Any

import httpx
import pytest
from click.testing import CliRunner, Result

from saltfare.core.errors import Refused
from saltfare.faces import cli_door, lan, serving
from saltfare.faces.cli import main
from saltfare.faces.door.keeper import Door
from saltfare.faces.door.passphrase import Cost
from saltfare.faces.lan import Lan
from saltfare.faces.opening import House, opened

CHEAP = Cost(memory_kib=8, passes=1, lanes=1)
PASS = "seven herons over the weir"
CHROMIUM = Path("/usr/bin/chromium")
HOME = next(iter(lan.home_addresses()), "")
FAR = HOME or "127.0.0.2"  # another address of this machine, where it is on no network


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with opened(directory=tmp_path_factory.mktemp("house")) as made:
        yield made


@pytest.fixture
def door(tmp_path: Path) -> Door:
    made = Door(tmp_path, cost=CHEAP)
    made.set_passphrase("all", PASS)
    return made


@contextmanager
def served(house: House, door: Door, asked: Lan | None, **more: Any) -> Iterator[int]:
    """The pages, served as the command does; the port."""
    sockets = serving.listening(0, asked.addresses if asked else ())
    made = serving.server(house, door, lan=asked, **{"ask_here": False, **more})
    thread = threading.Thread(target=made.run, kwargs={"sockets": sockets}, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not made.started:
        assert time.monotonic() < until, "the server does not start"
        time.sleep(0.02)
    yield int(sockets[0].getsockname()[1])
    made.should_exit = True
    thread.join(10)


def url(address: str, port: int, scheme: str = "http") -> str:
    return f"{scheme}://[{address}]:{port}" if ":" in address else f"{scheme}://{address}:{port}"


# sockets


def test_it_listens_on_this_machine_only_unless_asked() -> None:
    sockets = serving.listening(0)
    try:
        names = {one.getsockname()[0] for one in sockets}
        assert "127.0.0.1" in names and names <= {"127.0.0.1", "::1"}
        port = sockets[0].getsockname()[1]
        for one in sockets:
            one.listen()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((FAR, port), 2)
        socket.create_connection(("127.0.0.1", port), 2).close()
    finally:
        for one in sockets:
            one.close()


def test_asked_it_listens_on_those_addresses_and_no_other() -> None:
    sockets = serving.listening(0, [FAR])
    try:
        names = {one.getsockname()[0] for one in sockets}
        assert {"127.0.0.1", FAR} <= names <= {"127.0.0.1", "::1", FAR}
        assert len({one.getsockname()[1] for one in sockets}) == 1
    finally:
        for one in sockets:
            one.close()


def test_an_address_of_another_machine_is_refused_and_nothing_left_open() -> None:
    with pytest.raises(Refused) as error:
        serving.listening(0, ["198.51.100.7"])  # RFC 5737: nobody's
    assert error.value.problems[0].code == "address_not_here"
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(Refused) as error:
            serving.listening(taken.getsockname()[1])
    assert error.value.problems[0].code == "port_taken"


@pytest.mark.parametrize(
    ("address", "found"),
    [
        ("192.168.1.20", "192.168.1.20"),
        ("[FD00:0::2]", "fd00::2"),
        ("0.0.0.0", None),
        ("::", None),
        ("224.0.0.1", None),
        ("fe80::1%eth0", None),
        ("bench.local", None),
        ("192.168.1.20:80", None),
        ("", None),
    ],
)
def test_an_address_stands_for_one(address: str, found: str | None) -> None:
    if found:
        assert lan.lan([address]).addresses == (found,)
        return
    with pytest.raises(Refused) as error:
        lan.lan([address])
    assert error.value.problems[0].code == "address_out_of_form"


def test_only_addresses_of_a_home_are_taken_unasked(monkeypatch: pytest.MonkeyPatch) -> None:
    # RFC 1918 and RFC 4193 against RFC 6598 (carriers), RFC 5737 and RFC 3849 (documentation)
    assert not any(lan.public(a) for a in ("10.1.2.3", "172.16.0.1", "192.168.0.1", "fd12::1", "127.0.0.1"))
    assert all(lan.public(a) for a in ("172.32.0.1", "100.64.0.1", "198.51.100.1", "8.8.8.8", "2001:db8::1"))
    assert all(lan.of_home(lan.ipaddress.ip_address(a)) for a in lan.home_addresses())
    monkeypatch.setattr(lan, "home_addresses", lambda: ())
    with pytest.raises(Refused) as error:
        lan.lan([])
    assert error.value.problems[0].code == "no_home_network"


@pytest.mark.parametrize(
    "name", ["", "a b", "evil.example/", "http://x", "x:80", "192.168.1.20", "[fd00::2]", "*", "a..b"]
)
def test_a_name_is_a_name(name: str) -> None:
    with pytest.raises(Refused) as error:
        lan.lan(["192.168.1.20"], [name])
    assert error.value.problems[0].code == "name_out_of_form"


# the commands


@pytest.fixture
def console(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("SALTFARE_DATA", str(tmp_path))
    monkeypatch.setattr(cli_door, "_door", lambda: Door(tmp_path, cost=CHEAP))

    def run(*args: str, given: str = "") -> Result:
        result = CliRunner().invoke(main, args, input=given)
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    return run


def test_the_lan_is_refused_without_a_passphrase_saying_why(console: Any, tmp_path: Path) -> None:
    for args in (("serve", "--lan", "--address", FAR), ("serve", "--ask")):
        result = console(*args)
        assert result.exit_code == 2
        assert "No passphrase is set" in result.stderr and "saltfare passphrase" in result.stderr
    assert list(tmp_path.iterdir()) == [], "no journal is made for nothing"


def test_the_lan_is_refused_while_others_may_read_the_hashes(console: Any, tmp_path: Path) -> None:
    assert console("passphrase", given=f"{PASS}\n").exit_code == 0
    (tmp_path / "door.json").chmod(0o640)
    result = console("serve", "--lan", "--address", FAR)
    assert result.exit_code == 2 and "door.json" in result.stderr
    (tmp_path / "door.json").write_text("{")
    (tmp_path / "door.json").chmod(0o600)
    result = console("serve", "--lan", "--address", FAR)
    assert result.exit_code == 2 and "cannot be used" in result.stderr


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--name", "bench.local"), "--lan"),
        (("--address", "192.168.1.20"), "--lan"),
        (("--lan", "--address", "0.0.0.0"), "address to listen on"),
        (("--lan", "--address", "192.168.1.20", "--name", "x y"), "name of a machine"),
        (("--lan", "--address", "192.168.1.20", "--certificate", "c.pem"), "go together"),
        (
            ("--lan", "--address", "192.168.1.20", "--certificate", "no.pem", "--key", "no.pem"),
            "cannot be used",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_with_a_reason(console: Any, args: tuple[str, ...], said: str) -> None:
    result = console("serve", *args)
    assert result.exit_code == 2 and said in result.stderr and "Traceback" not in result.output


def test_a_passphrase_is_set_from_the_console_and_never_shown(console: Any, tmp_path: Path) -> None:
    result = console("passphrase", given="short\n")
    assert result.exit_code == 2 and "15 characters" in result.stderr
    result = console("passphrase", given=f"  {PASS}  \r\n")
    assert result.exit_code == 0 and PASS not in result.output
    door = Door(tmp_path, cost=CHEAP)
    door.sign_in(f"  {PASS}  ", client="192.168.1.7", name="Phone")  # its spaces are its own
    result = console("devices")
    assert "Phone, everything, from 192.168.1.7" in result.output
    key = result.output[:8]
    assert console("devices", "--sign-out", "00000000").exit_code == 2
    assert console("devices", "--sign-out", key).exit_code == 0
    assert "No device" in console("devices").output
    assert console("passphrase", "--for", "look", given=f"  {PASS}  \n").exit_code == 2
    assert console("passphrase", "--for", "look", "--remove").exit_code == 2
    assert console("passphrase", "--remove").exit_code == 0 and door.opened_by() == ()


def test_words_are_offered_until_taken(console: Any, tmp_path: Path) -> None:
    result = console("passphrase", "--words", given="n\ny\n")
    assert result.exit_code == 0
    first, second = (
        line.rpartition(": ")[2] for line in result.output.splitlines() if line.startswith("Offered")
    )
    assert first != second
    door = Door(tmp_path, cost=CHEAP)
    door.sign_in(second.partition("Take")[0].strip(), client=None)
    with pytest.raises(Refused):
        door.sign_in(first, client=None)
    assert console("unlock").exit_code == 0 and door.store.read().failures.count == 0


def test_what_plain_http_means_is_said_at_the_start() -> None:
    asked = Lan(("192.168.1.20", "fd00::2"), ("bench.local",))
    lines = serving.opening(8765, asked, ("look", "all"))
    assert lines == [
        "The pages are at http://127.0.0.1:8765 (stop with Ctrl-C).",
        "From the home network: http://bench.local:8765, http://192.168.1.20:8765, http://[fd00::2]:8765",
        "Passphrases are set for: looking, everything.",
        "This is plain http. Whoever can listen on your network can read what passes, the passphrase "
        "included. Use it only on a network whose people you trust, or give --certificate and --key.",
    ]
    secure = serving.opening(8765, Lan(("8.8.8.8",), (), Path("c"), Path("k")), ("all",))
    assert "https://8.8.8.8:8765" in secure[1] and not any("plain http" in line for line in secure)
    assert "no address of a home network" in secure[3]
    assert len(serving.opening(8765, None, ())) == 1


# on the wire


def test_the_network_is_asked_and_the_machine_is_not(house: House, door: Door) -> None:
    asked = lan.lan([FAR], ["bench.local"])
    with served(house, door, asked, ask_here=not HOME) as port:
        base = url(FAR, port)
        with httpx.Client(base_url=base, headers={"origin": base}) as client:
            assert client.get("/help").headers["location"] == "/sign-in?next=/help"
            assert client.get("/help", headers={"host": "evil.example"}).status_code == 421
            assert client.get("/help", headers={"host": f"bench.local:{port}"}).status_code == 303
            wrong = client.post("/sign-in", data={"passphrase": "not it"})
            assert wrong.status_code == 403 and "set-cookie" not in wrong.headers
            assert client.post("/sign-in", data={"passphrase": PASS, "role": "record"}).status_code == 303
            assert client.get("/help").status_code == 200
            assert client.post("/settings", data={"decimal": "comma"}).status_code == 403
            assert "server" not in client.get("/help").headers
            door.revoke_others()  # on the console, while it is served
            assert client.get("/help").status_code == 303
        if HOME:
            assert httpx.get(url("127.0.0.1", port) + "/help").status_code == 200


def pem(folder: Path, name: str, *more: str) -> tuple[Path, Path]:
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:P-256",
        "-days",
        "2",
    ]
    names = ["-subj", "/CN=bench.local", "-keyout", str(key), "-out", str(certificate)]
    subprocess.run([*command, *names, *(more or ("-nodes",))], check=True, capture_output=True)
    return certificate, key


@pytest.mark.skipif(not which("openssl"), reason="no openssl to make a certificate with")
def test_an_own_certificate_makes_it_https(house: House, door: Door, tmp_path: Path) -> None:
    certificate, key = pem(tmp_path, "own")
    _, other = pem(tmp_path, "other")
    _, locked = pem(tmp_path, "locked", "-passout", "pass:abcd")
    for bad in ((certificate, other), (certificate, locked), (key, certificate), (tmp_path, key)):
        with pytest.raises(Refused) as error:
            lan.lan([FAR], (), *bad)
        problem = error.value.problems[0]
        assert problem.code == "certificate_unusable" and str(tmp_path) not in str(problem.params)
    with served(house, door, lan.lan([FAR], (), certificate, key), ask_here=True) as port:
        base = url(FAR, port, "https")
        with httpx.Client(base_url=base, headers={"origin": base}, verify=False) as client:
            raw = client.post("/sign-in", data={"passphrase": PASS, "role": "all"}).headers["set-cookie"]
            assert raw.startswith("__Host-saltfare=") and "Secure" in raw
            assert client.get("/help").status_code == 200
        with pytest.raises(httpx.HTTPError):
            httpx.get(url(FAR, port) + "/help")


def test_a_client_that_does_not_come_to_its_point_is_dropped(
    house: House, door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "HEADERS_WITHIN_S", 0.4)
    with served(house, door, None) as port:
        for begins in (b"", b"GET / HTTP/1.1\r\nHost: local"):
            with socket.create_connection(("127.0.0.1", port), 10) as slow:
                began = time.monotonic()
                slow.sendall(begins)
                assert slow.recv(1) == b"", "closed by the server"
                assert 0.3 < time.monotonic() - began < 8
        with socket.create_connection(("127.0.0.1", port), 10) as dripping:
            began = time.monotonic()
            with pytest.raises(OSError):
                for _ in range(100):
                    dripping.sendall(b"X")
                    time.sleep(0.1)
            assert time.monotonic() - began < 8, "a byte now and then does not keep it open"
        with httpx.Client(base_url=url("127.0.0.1", port)) as client:
            assert client.get("/static/door.js").status_code == 200
            time.sleep(0.8)
            assert client.get("/static/door.js").status_code == 200, "between requests it may rest"


# in a browser


@pytest.mark.browser
@pytest.mark.skipif(not CHROMIUM.exists(), reason="no Chromium at /usr/bin/chromium")
@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_signing_in_by_the_form_in_a_browser(house: House, door: Door, script: bool) -> None:
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    args = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
    with served(house, door, lan.lan([FAR]), ask_here=True) as port, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=args)
        context = browser.new_context(viewport={"width": 360, "height": 740}, java_script_enabled=script)
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        # off this machine on plain http a browser sends no Sec-Fetch-Site: its Origin carries the post
        page.goto(url(FAR, port) + "/help")
        assert page.url.endswith("/sign-in?next=/help")
        field = page.get_by_label("Passphrase", exact=True)
        show = page.get_by_role("button", name="Show what is typed")
        assert show.count() == (1 if script else 0)
        if script:
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
            assert page.evaluate("document.documentElement.scrollWidth") <= 360
            field.focus()
            page.keyboard.insert_text("not the passphrase")
            page.get_by_role("button", name="Sign in").click()
            assert "not a passphrase of this house" in page.locator("#errors").inner_text()
            assert page.evaluate("document.activeElement.id") == "errors", "it is read out"
            assert field.input_value() == "", "what was typed is not sent back"
            field.fill(PASS)
            show.click()
            assert field.get_attribute("type") == "text" and field.input_value() == PASS
        else:
            field.fill(PASS)
        page.get_by_label("Call this device").fill("Bench phone")
        page.get_by_label("Look and record").check()
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/help")
        if script:
            assert page.evaluate("document.cookie") == "", "no script sees the secret"
        cookie = next(c for c in context.cookies() if c["name"] == "saltfare")
        assert cookie["httpOnly"] and cookie["sameSite"] == "Strict" and cookie["path"] == "/"
        page.goto(url(FAR, port) + "/devices")
        assert "Bench phone" in page.locator("main").inner_text()
        page.get_by_role("button", name="Sign this device out").click()
        page.wait_for_url("**/sign-in?out=1")
        page.goto(url(FAR, port) + "/help")
        assert "/sign-in" in page.url
        assert not [text for text in said if "Content Security Policy" in text], said
        browser.close()
