"""Sharing with one tablet: what a stranger gets, what the paired device may do, codes, secrets."""

import re
import socket
import ssl
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from importlib import import_module

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from desk import TestClient, fault_of, words
from starlette.responses import PlainTextResponse

from coldtake.errors import BusyError, InputError
from coldtake.web import errors
from coldtake.web.app import MODULES, create_app
from coldtake.web.rendering import make_templates
from coldtake.web.sharing import addresses, authority, gate, pairing
from coldtake.web.sharing.listener import FOLDER, Sharing

ADDRESS = addresses.checked("127.0.0.2")
UUID = "01a1e03d-389d-7a02-ba33-9fc0cf770af8"
PAGE = {"Accept": "text/html"}


class Hands:
    """A clock that is moved by hand."""

    def __init__(self):
        self.at = datetime(2026, 11, 25, 12, tzinfo=UTC)

    def __call__(self):
        return self.at

    def pass_by(self, **much):
        self.at += timedelta(**much)


@pytest.fixture
def hands():
    return Hands()


@pytest.fixture
def sharing(tmp_path, hands):
    return Sharing(tmp_path / "data", hands)


@pytest.fixture
def app(services, sharing):
    return create_app(services, sharing=sharing)


def device(app, address=ADDRESS):
    """A browser on the other side of the shared address."""
    return TestClient(
        gate.marked_as_shared(app, address),
        base_url=f"https://{address}:8438",
        follow_redirects=False,
    )


@pytest.fixture
def stranger(app):
    return device(app)


@pytest.fixture
def paired(app, sharing):
    sharing.pairing.new_code()
    one = device(app)
    answer = one.post("/pair", data={"code": sharing.pairing.code.spaced})
    assert answer.status_code == 303
    return one


def every_route(services):
    """Each method and address of the app, with ids filled in."""
    pairs = {
        ("GET", "/static/js/pages.js"),
        ("GET", "/static/session/flow/main.js"),
        ("GET", "/none"),
    }
    for name in MODULES:
        module = import_module(f"coldtake.web.{name}")
        for route in module.router(services, make_templates()).routes:
            path = re.sub(r"\{[^}]*\}", UUID, route.path)
            pairs |= {(method, path) for method in route.methods}
    return sorted(pairs)


def test_a_stranger_is_refused_everything_but_pairing(stranger, desk, services):
    desk.laid_out()
    before = list(services.store.events())
    routes = every_route(services)
    assert len(routes) > 45
    let_in = {
        (method, path)
        for method, path in routes
        if stranger.request(method, path, headers=PAGE).status_code != 401
    }
    assert let_in == {
        ("GET", "/pair"),
        ("POST", "/pair"),
        ("GET", "/pair/certificate.crt"),
        ("GET", "/pair/worker.js"),
    }
    assert list(services.store.events()) == before


SPELLINGS = ("/pair/../", "//pair", "/pair/", "/PAIR", "/static/css/../../", "/%2e%2e/pair")


def test_no_spelling_of_the_pairing_page_opens_another(stranger):
    assert [p for p in SPELLINGS if stranger.get(p).status_code not in (401, 307)] == []


def test_a_stranger_is_told_how_to_pair_and_nothing_else(stranger, desk):
    desk.topic("A secret plan")
    page = stranger.get("/", headers=PAGE)
    assert page.status_code == 401
    assert "secret" not in page.text
    assert "Pair this device" in words(page.text)
    told = stranger.get("/api/session").json()["error"]
    assert told["what"] == "This device is not paired."


def test_everything_that_the_pairing_page_loads_is_open(stranger):
    page = stranger.get("/pair", headers=PAGE).text
    parts = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    assert len(parts) > 4
    assert [p for p in parts if stranger.get(p).status_code != 200] == []
    style = stranger.get("/static/css/tokens.css").text
    fonts = re.findall(r'url\("\.\./([^"]+)"\)', style)
    assert [f for f in fonts if stranger.get(f"/static/{f}").status_code != 200] == []


# What the paired device may change, by address; whatever is added to the app later is refused.
MAY = {
    ("POST", "/api/session/start"),
    ("POST", "/api/session/lead"),
    ("POST", "/api/events"),
    ("PUT", f"/api/takes/{UUID}"),
    ("POST", f"/takes/{UUID}/answer"),
    ("POST", f"/tries/{UUID}/answer"),
    ("POST", f"/takes/{UUID}/listen"),
    ("POST", f"/takes/{UUID}/hearing/stop"),
    ("POST", "/slow"),
    ("POST", f"/steps/{UUID}/takes"),
    ("POST", "/tomorrow"),
    ("POST", "/tomorrow/change"),
    ("POST", "/run-through"),
    ("POST", f"/run-through/{UUID}"),
    ("POST", f"/run-through/{UUID}/back"),
    ("POST", f"/run-through/{UUID}/take"),
    ("POST", f"/performances/{UUID}/after"),
    ("POST", "/pair"),
}


def test_the_paired_device_runs_sessions_and_leaves_the_pile_alone(sharing, services):
    """The gate alone, before an app that says yes to everything."""
    refuse = lambda _request, _error, status: PlainTextResponse("no", status)  # noqa: E731
    behind = gate.Gate(PlainTextResponse("yes"), knows=sharing.pairing.knows, refuse=refuse)
    one = device(behind)
    one.cookies.set(gate.COOKIE, sharing.pairing.pair(sharing.pairing.new_code().digits, "tablet"))
    told = {(m, p): one.request(m, p).status_code for m, p in every_route(services)}
    assert {r for r, status in told.items() if status == 200 and r[0] != "GET"} == MAY
    refused = {p for (m, p), status in told.items() if status == 403 and m == "GET"}
    assert {"/share", "/demo", "/long-work"} <= refused
    assert not [p for p in refused if not p.startswith(("/share", "/demo", "/long-work", "/data"))]


def test_what_it_may_not_do_is_said_in_one_sentence(paired):
    answer = paired.post("/topics", data={"title": "Planted"}, headers=PAGE)
    assert answer.status_code == 403
    assert fault_of(answer).startswith(
        "This is possible only on the computer. Nothing was changed."
    )


def test_the_secret_is_kept_by_the_browser_alone(app, sharing, tmp_path):
    sharing.pairing.new_code()
    one = device(app)
    answer = one.post("/pair", data={"code": sharing.pairing.code.digits})
    cookie = answer.headers["set-cookie"]
    flags = {part.strip().lower() for part in cookie.split(";")[1:]}
    assert {"secure", "httponly", "samesite=strict", "path=/"} <= flags
    assert not any(f.startswith("domain") for f in flags)
    secret = cookie.split(";")[0].removeprefix("__Host-coldtake=")
    assert len(secret) >= 43
    kept = (tmp_path / "data" / FOLDER / "device.json").read_text()
    assert secret not in kept
    assert Sharing(tmp_path / "data").pairing.knows(secret), "it is known after a restart too"


def test_what_one_stranger_sent_is_not_kept_for_the_next(stranger):
    """The page of the first was drawn into that of all others."""
    stranger.get("/", headers=PAGE)
    assert "request" not in errors.STRANGER


# --- codes


@pytest.fixture
def pairs(tmp_path, hands):
    return pairing.Pairing(tmp_path / FOLDER, hands)


def wrong(digits, by=1):
    return f"{(int(digits) + by) % 10**pairing.CODE_DIGITS:0{pairing.CODE_DIGITS}d}"


def test_a_wrong_code_pairs_nobody(stranger, sharing):
    digits = sharing.pairing.new_code().digits
    answer = stranger.post("/pair", data={"code": wrong(digits)}, headers=PAGE)
    assert answer.status_code == 422
    assert "This code does not work." in answer.text
    assert "set-cookie" not in answer.headers
    assert sharing.pairing.device is None


def test_a_stranger_cannot_make_this_machine_read_on(stranger, sharing):
    digits = sharing.pairing.new_code().digits
    long = stranger.post("/pair", data={"code": digits, "more": "x" * 200})
    assert long.status_code == 413
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    unsaid = stranger.post("/pair", content=(p for p in (b"code=", digits.encode())), headers=kind)
    assert unsaid.status_code == 413
    assert sharing.pairing.device is None


def test_a_code_ends_after_five_minutes(pairs, hands):
    digits = pairs.new_code().digits
    hands.pass_by(minutes=5)
    with pytest.raises(InputError, match="does not work"):
        pairs.pair(digits, "tablet")
    assert pairs.device is None


def test_a_code_works_once(pairs):
    digits = pairs.new_code().digits
    assert pairs.knows(pairs.pair(digits, "tablet"))
    with pytest.raises(InputError, match="does not work"):
        pairs.pair(digits, "another")
    assert pairs.device.name == "tablet"


def test_a_new_code_ends_the_one_before(pairs):
    first = pairs.new_code().digits
    while pairs.new_code().digits == first:
        pass
    with pytest.raises(InputError, match="does not work"):
        pairs.pair(first, "tablet")


def test_codes_are_spread_over_all_digits(pairs):
    codes = {pairs.new_code().digits for _ in range(300)}
    assert len(codes) > 290
    assert all(re.fullmatch(r"\d{9}", c) for c in codes)
    assert {c[0] for c in codes} == set("0123456789")


def test_wrong_codes_of_a_stranger_do_not_keep_the_player_out(stranger, sharing, app):
    """Ten of them did, and five ended the code."""
    sharing.address, sharing.port = ADDRESS, 8438  # as if it listened
    digits = sharing.pairing.new_code().digits
    for n in range(30):
        assert stranger.post("/pair", data={"code": wrong(digits, n + 1)}).status_code == 422
    own = TestClient(app, base_url="http://localhost")
    assert "30 wrong codes were entered. Yours still works" in own.get("/share").text
    assert stranger.post("/pair", data={"code": digits}).status_code == 303


def test_while_codes_are_guessed_only_the_player_makes_the_next(sharing, app, hands):
    sharing.address, sharing.port = ADDRESS, 8438
    digits = sharing.pairing.new_code().digits
    for n in range(pairing.WRONG_MANY):
        with pytest.raises(InputError):
            sharing.pairing.pair(wrong(digits, n + 1), "tablet")
    hands.pass_by(minutes=6)
    own = TestClient(app, base_url="http://localhost")
    assert "there is no new code" in own.get("/share").text
    assert sharing.pairing.code is None
    own.post("/share/code")
    assert sharing.pairing.knows(sharing.pairing.pair(sharing.pairing.code.digits, "tablet"))


def test_the_chance_of_guessing_is_what_the_page_on_security_says(pairs):
    """Wrong codes wait in one line, so that many senders guess no faster than one."""
    tries = pairing.CODE_LIFE.total_seconds() / pairing.WRONG_PAUSE_S
    assert tries / 10**pairing.CODE_DIGITS <= 6e-6
    digits = pairs.new_code().digits

    def guess(n):
        with pytest.raises(InputError):
            pairs.pair(wrong(digits, n), "tablet")

    began = time.monotonic()
    with ThreadPoolExecutor(8) as many:
        list(many.map(guess, range(1, 9)))
    assert time.monotonic() - began >= 8 * pairing.WRONG_PAUSE_S


def test_forgetting_works_at_the_next_request(app, paired):
    assert paired.get("/").status_code == 200
    TestClient(app, base_url="http://localhost").post("/share/forget")
    assert paired.get("/").status_code == 401
    assert paired.post("/api/events", content="[]").status_code == 401
    assert paired.put(f"/api/takes/{UUID}", content=b"").status_code == 401, (
        "it is sent again later"
    )


def test_a_second_device_takes_the_place_of_the_first(app, sharing, paired):
    digits = sharing.pairing.new_code().digits
    second = device(app)
    assert second.post("/pair", data={"code": digits}).status_code == 303
    assert second.get("/").status_code == 200
    assert paired.get("/").status_code == 401


def test_made_up_secrets_are_strangers(app, paired):
    for secret in ("", "x", "__Host-coldtake", "ö" * 40, "a" * 5000):
        headers = {"Cookie": f"{gate.COOKIE}={secret}".encode("latin-1", "replace")}
        assert device(app).get("/", headers=headers).status_code == 401


def test_another_sites_page_cannot_use_the_paired_device(paired, services):
    headers = {"Origin": "https://example.org", "Sec-Fetch-Site": "cross-site"}
    answer = paired.post("/tomorrow", data={"minutes": "25"}, headers=headers)
    assert answer.status_code == 403
    assert services.state().plans == {}


def test_each_server_answers_under_its_own_names_only(app, paired):
    for host in ("localhost", "127.0.0.1", "127.0.0.3", "example.org"):
        assert paired.get("/pair", headers={"Host": host}).status_code == 421
    own = TestClient(app, base_url="http://localhost")
    assert own.get("/", headers={"Host": str(ADDRESS)}).status_code == 421


def test_the_mark_of_the_shared_server_cannot_be_sent(app):
    own = TestClient(app, base_url="http://localhost")
    assert own.get("/pair", follow_redirects=False).headers["location"] == "/share"
    assert own.post("/pair", data={"code": "123456"}).status_code == 404


def test_without_sharing_the_page_says_so(services):
    answer = TestClient(create_app(services), base_url="http://localhost").get("/share")
    assert answer.status_code == 404
    assert "not possible" in fault_of(answer)


# --- certificate and address


def test_keys_can_be_read_by_this_account_only(sharing, tmp_path):
    assert sharing.authority.fingerprint
    folder = tmp_path / "data" / FOLDER
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    rights = {p.name: stat.S_IMODE(p.stat().st_mode) for p in folder.iterdir()}
    assert rights == {"authority.key": 0o600, "authority.pem": 0o600}


def test_the_authority_stays_until_its_end_is_near(tmp_path, hands):
    first = authority.authority_of(tmp_path, hands())
    hands.pass_by(days=700)
    assert authority.authority_of(tmp_path, hands()).der == first.der
    hands.pass_by(days=110)
    assert authority.authority_of(tmp_path, hands()).der != first.der


def leaf_for(one, name, now):
    """A leaf of this authority for any name, as a thief of its key would make it."""
    made = authority.make_leaf(one, [ADDRESS], now)
    found = made.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    builder = x509.CertificateBuilder(
        made.certificate.issuer,
        made.certificate.subject,
        made.key.public_key(),
        1,
        made.certificate.not_valid_before_utc,
        made.certificate.not_valid_after_utc,
        [e for e in made.certificate.extensions if e != found],
    )
    names = x509.SubjectAlternativeName([name])
    return builder.add_extension(names, critical=False).sign(one.key, authority.hashes.SHA256())


@pytest.mark.parametrize(
    ("name", "asked", "good"),
    [
        (x509.IPAddress(ADDRESS), x509.IPAddress(ADDRESS), True),
        (x509.IPAddress(addresses.checked("fd00::7")), None, True),
        (x509.DNSName("example.org"), None, False),
        (x509.IPAddress(addresses.ipaddress.ip_address("192.0.2.1")), None, False),
    ],
)
def test_the_authority_vouches_for_local_networks_only(hands, name, asked, good):
    """Path validation with name constraints as in RFC 5280, section 6.1, by `cryptography`."""
    one = authority.make_authority(hands())
    leaf = leaf_for(one, name, hands())
    builder = PolicyBuilder().store(Store([one.certificate])).time(hands())
    verifier = builder.build_server_verifier(asked or name)
    if good:
        assert len(verifier.verify(leaf, [])) == 2
    else:
        with pytest.raises(VerificationError):
            verifier.verify(leaf, [])


@pytest.mark.parametrize("text", ["0.0.0.0", "::", "192.0.2.1", "example.org", "", "8.8.8.8"])
def test_only_an_address_of_a_local_network_is_shared(text):
    with pytest.raises(InputError):
        addresses.checked(text)


@pytest.mark.parametrize(
    ("text", "split"),
    [
        ("192.168.1.20", ("192.168.1.20", 8438)),
        ("192.168.1.20:9000", ("192.168.1.20", 9000)),
        ("127.0.0.2:0", ("127.0.0.2", 0)),
        ("fd00::7", ("fd00::7", 8438)),
        ("[fd00::7]:9000", ("fd00::7", 9000)),
    ],
)
def test_an_address_may_carry_its_port(text, split):
    assert addresses.with_port(text, 8438) == split


def test_a_port_that_is_none_is_said():
    for text in ("192.168.1.20:x", "192.168.1.20:70000"):
        with pytest.raises(InputError, match="no port"):
            addresses.with_port(text, 8438)


def test_the_usual_address_is_the_one_that_packets_would_leave_from(monkeypatch):
    monkeypatch.setattr(addresses, "OUTSIDE", ("127.0.0.7", 9))
    assert addresses.usual() in ("127.0.0.1", "127.0.0.7")


# --- the real second server, on another loopback address


@pytest.fixture
def on_air(app, sharing):
    sharing.start(app, "127.0.0.2", 0)
    yield sharing
    sharing.stop()


def shown_leaf(sharing, trusting):
    """Shake hands as a device that trusts the authority; return what was shown."""
    context = ssl.create_default_context(cadata=trusting)
    with (
        socket.create_connection((str(ADDRESS), sharing.port), timeout=10) as raw,
        context.wrap_socket(raw, server_hostname=str(ADDRESS)) as safe,
    ):
        return x509.load_der_x509_certificate(safe.getpeercert(binary_form=True))


def test_a_device_that_trusts_the_authority_gets_a_fresh_leaf_by_itself(tmp_path, app):
    hands = Hands()
    half = timedelta(days=authority.LEAF_DAYS / 2, hours=1)
    hands.at = datetime.now(UTC) - half
    sharing = Sharing(tmp_path / "data", hands)
    sharing.start(app, "127.0.0.2", 0)
    try:
        first = shown_leaf(sharing, sharing.authority.der)
        lives = first.not_valid_after_utc - hands()
        assert abs(lives - timedelta(days=authority.LEAF_DAYS)) < timedelta(seconds=2)
        assert shown_leaf(sharing, sharing.authority.der) == first
        hands.at += half
        second = shown_leaf(sharing, sharing.authority.der)
        assert second.not_valid_after_utc > first.not_valid_after_utc
    finally:
        sharing.stop()


def test_one_address_listens_and_only_while_it_is_shared(on_air):
    with socket.create_connection((str(ADDRESS), on_air.port), timeout=5):
        pass
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", on_air.port), timeout=5)
    port = on_air.port
    on_air.stop()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((str(ADDRESS), port), timeout=5)


def test_a_taken_port_and_a_foreign_address_are_said(app, on_air, tmp_path):
    second = Sharing(tmp_path / "data")
    with pytest.raises(BusyError, match="is taken"):
        second.start(app, "127.0.0.2", on_air.port)
    with pytest.raises(InputError, match="not an address of this computer"):
        second.start(app, "fd00::7", 0)
    assert not second.on


def test_stopping_ends_the_code_and_keeps_the_device(on_air, app):
    digits = on_air.pairing.new_code().digits
    one = device(app)
    one.post("/pair", data={"code": digits})
    on_air.pairing.new_code()
    on_air.stop()
    assert on_air.pairing.code is None
    assert on_air.pairing.device is not None
