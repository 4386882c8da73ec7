"""The authority of `up --lan`, what phones would believe of it, and the front that speaks TLS."""

import datetime as dt
import http.client
import http.server
import ssl
import stat
import threading
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from flockcare.running import front
from flockcare.running.authority import Authority

HOME = "192.168.178.20"


@pytest.fixture
def authority(tmp_path):
    made = Authority(tmp_path / "https")
    made.prepare(HOME)
    return made


def shake_hands(served: ssl.SSLContext, trusted: ssl.SSLContext, name: str) -> None:
    """A TLS handshake in memory; raises what the client would say."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = trusted.wrap_bio(to_client, to_server, server_hostname=name)
    server = served.wrap_bio(to_server, to_client, server_side=True)
    left = [client, server]
    while left:
        for side in list(left):
            try:
                side.do_handshake()
                left.remove(side)
            except ssl.SSLWantReadError:
                pass


def trusting(authority: Authority) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=authority.certificate_file)


def forged(authority: Authority, name: x509.GeneralName, folder) -> ssl.SSLContext:
    """What a thief of the authority's key could serve."""
    key = ec.generate_private_key(ec.SECP256R1())
    signer = serialization.load_pem_private_key(
        (authority.folder / "authority-key.pem").read_bytes(), None
    )
    now = dt.datetime.now(dt.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(authority.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(1))
        .not_valid_after(now + dt.timedelta(1))
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .sign(signer, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    file = folder / "forged.pem"
    file.write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        + certificate.public_bytes(pem)
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    return context


def test_a_phone_that_trusts_the_authority_believes_the_server(authority):
    authority.renew(HOME)
    for name in (HOME, "127.0.0.1", "localhost"):
        shake_hands(authority.context(), trusting(authority), name)
    with pytest.raises(ssl.SSLCertVerificationError, match="IP address mismatch"):
        shake_hands(authority.context(), trusting(authority), "192.168.178.21")


@pytest.mark.parametrize(
    "name", ["www.example.org", "192.0.2.80", "2001:db8::80"], ids=["a site", "IPv4", "IPv6"]
)
def test_the_authority_cannot_vouch_for_the_rest_of_the_world(authority, tmp_path, name):
    """RFC 5280, 4.2.1.10: not even whoever steals its key can pass for a bank."""
    named = x509.DNSName(name) if "example" in name else x509.IPAddress(ip_address(name))
    served = forged(authority, named, tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake_hands(served, trusting(authority), name)


def test_the_authority_is_made_once_and_its_key_is_nobody_elses(authority):
    fingerprint = authority.fingerprint
    authority.prepare(HOME)
    assert authority.fingerprint == fingerprint
    authority.renew(HOME)
    assert {stat.S_IMODE(file.stat().st_mode) for file in authority.folder.iterdir()} == {0o600}
    assert stat.S_IMODE(authority.folder.stat().st_mode) == 0o700


def test_the_servers_certificate_is_renewed_in_time_and_no_sooner(authority):
    now = dt.datetime.now(dt.UTC)
    assert authority.renew(HOME, now=now)
    assert not authority.renew(HOME, now=now + dt.timedelta(19))
    assert authority.renew(HOME, now=now + dt.timedelta(21))
    assert authority.renew("192.168.178.99", now=now + dt.timedelta(21)), "another address"
    assert not authority.renew("192.168.178.99", now=now + dt.timedelta(21))


@pytest.mark.parametrize("spoilt", [b"", b"half of a fi", None], ids=["empty", "cut", "other's"])
def test_a_spoilt_certificate_is_made_anew(authority, tmp_path, spoilt):
    authority.renew(HOME)
    if spoilt is None:
        other = Authority(tmp_path / "other")
        other.prepare(HOME)
        other.renew(HOME)
        spoilt = other.server_file.read_bytes()
    authority.server_file.write_bytes(spoilt)
    assert authority.renew(HOME)
    shake_hands(authority.context(), trusting(authority), HOME)


def test_an_address_of_no_home_network_is_vouched_for_from_the_start_only(tmp_path):
    made = Authority(tmp_path)
    made.prepare("203.0.113.7")
    assert made.vouches_for("203.0.113.7")
    assert made.vouches_for("10.1.2.3")
    assert not made.vouches_for("203.0.113.8")


class Echo(http.server.BaseHTTPRequestHandler):
    """Says what it was sent."""

    protocol_version = "HTTP/1.1"

    def answer(self):
        sent = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        body = f"{self.command} {self.path}\n{self.headers}".encode() + sent
        self.send_response(304 if self.path == "/same" else 200, "Well")
        for cookie in ("a=1", "b=2"):
            self.send_header("Set-Cookie", cookie)
        self.send_header("Content-Encoding", "gzip")  # Is not: whoever unpacks it fails.
        if self.path == "/unknown-length":
            self.send_header("Connection", "close, X-Mine")
            self.send_header("X-Mine", "1")
        elif self.path != "/same":
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.command != "HEAD" and self.path != "/same":
            self.wfile.write(body)
        self.close_connection = True

    do_GET = do_POST = do_HEAD = answer

    def log_message(self, *args):
        pass


@pytest.fixture
def ask(tmp_path):
    """Asks a small server through the front: status, headers and body of its answer."""
    authority = Authority(tmp_path)
    authority.prepare("127.0.0.1")
    authority.renew("127.0.0.1")
    inner = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Echo)
    threading.Thread(target=inner.serve_forever, daemon=True).start()
    listening = front.open_port("127.0.0.1", 0)
    front.serve(listening, authority.context(), inner=f"http://127.0.0.1:{inner.server_address[1]}")

    def ask(method, path, body=None, headers=None):
        visitor = http.client.HTTPSConnection(
            "127.0.0.1", listening.getsockname()[1], timeout=30, context=trusting(authority)
        )
        visitor.request(method, path, body, headers or {})
        answer = visitor.getresponse()
        return answer.status, answer.headers, answer.read()

    ask.inner = inner
    yield ask
    inner.shutdown()
    inner.server_close()


def test_the_front_passes_on_what_was_asked_and_answered(ask):
    path = "/f/a%2Fb/?q=%C3%A4&q=+"
    status, headers, body = ask("GET", path, headers={"Host": "192.168.1.5:8443"})
    assert status == 200
    assert body.decode().startswith(f"GET {path}\n")
    assert "Host: 192.168.1.5:8443" in body.decode()
    assert headers.get_all("Set-Cookie") == ["a=1", "b=2"]
    assert headers["Content-Encoding"] == "gzip"


def test_the_front_says_where_it_comes_from_whatever_the_phone_says(ask):
    lies = {"X-Forwarded-For": "203.0.113.1", "X-Forwarded-Proto": "http", "Forwarded": "for=x"}
    body = ask("GET", "/", headers=lies)[2].decode()
    assert body.count("X-Forwarded-For") == 1
    assert "X-Forwarded-For: 127.0.0.1" in body
    assert "X-Forwarded-Proto: https" in body
    assert "for=x" not in body


def test_the_front_carries_a_large_body_whole(ask):
    sent = bytes(range(256)) * 20_000
    body = ask("POST", "/", sent, {"Expect": "", "Content-Type": "x/y"})[2]
    assert body.endswith(sent)
    assert b"Content-Type: x/y" in body


def test_the_front_knows_answers_without_a_body_or_a_length(ask):
    assert ask("HEAD", "/")[::2] == (200, b"")
    assert ask("GET", "/same")[::2] == (304, b"")
    status, headers, body = ask("GET", "/unknown-length")
    assert (status, body[:20]) == (200, b"GET /unknown-length\n")
    assert headers["X-Mine"] is None, "what is of one connection stays there"


def test_the_front_says_when_nothing_answers_behind_it(ask):
    ask.inner.shutdown()
    ask.inner.server_close()
    status, _, body = ask("GET", "/")
    assert (status, b"Try again" in body) == (502, True)


@pytest.fixture
def served_here(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    settings.LAN_HTTPS = "https://192.168.1.5:8443"
    made = Authority(tmp_path / "https")
    made.prepare(HOME)
    return made


def test_the_page_for_phones_is_open_and_hands_out_the_certificate_alone(client, served_here):
    page = client.get("/phone/")
    assert served_here.fingerprint in page.content.decode()
    assert "img-src 'self' https://192.168.1.5:8443 blob:" in page["Content-Security-Policy"]
    handed = client.get("/phone/flockcare-home.crt").content
    assert x509.load_pem_x509_certificates(handed) == [served_here.certificate]
    assert b"PRIVATE" not in handed


def test_without_own_https_there_is_no_such_page(client):
    assert client.get("/phone/").status_code == 404
    assert client.get("/phone/flockcare-home.crt").status_code == 404


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("host", "secure", "says"),
    [
        ("192.168.1.5:8000", False, True),
        ("192.168.1.5:8443", True, False),
        ("localhost:8000", False, False),
        ("[::1]:8000", False, False),
    ],
)
def test_today_says_what_works_over_plain_http(cast, settings, served_here, host, secure, says):
    settings.ALLOWED_HOSTS = ["*"]
    today = f"/f/{cast.flock.pk}/today/"
    page = cast.clients.owner.get(today, headers={"host": host}, secure=secure).content.decode()
    assert ("Set up this phone" in page) == says
