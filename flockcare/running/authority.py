"""The certificates with which `up --lan` speaks HTTPS: an authority of its own, and the server's.

The authority is made once, on the first start, and its key stays in the data folder. Phones are
asked to trust it, so it is bound to do little: its name constraints (RFC 5280, 4.2.1.10) let it
vouch for addresses of home networks (RFC 1918, 3927, 4193, 6598), for the address that this
machine had when it was made, and for no further authority. The server's certificate lives a month
and is renewed by itself.
"""

import datetime as dt
import os
import ssl
from dataclasses import dataclass
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS = 3650
SERVER_DAYS = 30
RENEWED_BEFORE_DAYS = 10
# A phone's clock may be behind.
BEHIND_DAYS = 2
HOME_NETWORKS = [
    ip_network(network)
    for network in (
        *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8"),
        *("100.64.0.0/10", "fc00::/7", "fe80::/10", "::1/128"),
    )
]


@dataclass(frozen=True)
class Authority:
    """The files of the authority and of the server's certificate, all in one folder."""

    folder: Path

    @property
    def certificate_file(self) -> Path:
        return self.folder / "authority.pem"

    @property
    def _key_file(self) -> Path:
        return self.folder / "authority-key.pem"

    @property
    def server_file(self) -> Path:
        """The server's key and its certificate, as ``ssl`` reads them."""
        return self.folder / "server.pem"

    def prepare(self, address: str) -> None:
        """Make what is not there yet. OSError where the folder cannot be written."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not (self.certificate_file.exists() and self._key_file.exists()):
            key = ec.generate_private_key(ec.SECP256R1())
            _write(self._key_file, _private(key))
            _write(self.certificate_file, _pem(_authority_certificate(key, address)))

    @property
    def certificate(self) -> x509.Certificate:
        return x509.load_pem_x509_certificate(self.certificate_file.read_bytes())

    def vouches_for(self, address: str) -> bool:
        """Whether phones would believe a certificate of this authority for the address."""
        held = self.certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        return any(
            ip_address(address) in permitted.value
            for permitted in held.permitted_subtrees
            if isinstance(permitted, x509.IPAddress)
        )

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, in pairs of hexadecimal digits, as phones show it."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    def renew(self, address: str, *, now: dt.datetime | None = None) -> bool:
        """Make the server's certificate for this address, if it is due; whether it was."""
        now = now or dt.datetime.now(dt.UTC)
        if self._still_good(address, now):
            return False
        key = ec.generate_private_key(ec.SECP256R1())
        signer = serialization.load_pem_private_key(self._key_file.read_bytes(), password=None)
        certificate = _server_certificate(key, address, self.certificate, signer, now)
        _write(self.server_file, _private(key) + _pem(certificate))
        return True

    def _still_good(self, address: str, now: dt.datetime) -> bool:
        try:
            held = x509.load_pem_x509_certificate(self.server_file.read_bytes())
            held.verify_directly_issued_by(self.certificate)
        except (FileNotFoundError, ValueError, InvalidSignature):
            return False
        names = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        return (
            ip_address(address) in names.get_values_for_type(x509.IPAddress)
            and held.not_valid_before_utc <= now
            and now < held.not_valid_after_utc - dt.timedelta(RENEWED_BEFORE_DAYS)
        )

    def context(self) -> ssl.SSLContext:
        """Speaks TLS 1.2 or later with the server's certificate.

        ``load_cert_chain`` on it takes in a renewed one, for the connections that come after.
        """
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.server_file)
        return context


def _builder(subject: str, key, start: dt.datetime, days: int) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, subject)]))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start - dt.timedelta(BEHIND_DAYS))
        .not_valid_after(start + dt.timedelta(days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(**allowed: bool) -> x509.KeyUsage:
    names = (
        *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment"),
        *("key_agreement", "key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
    )
    return x509.KeyUsage(**{name: allowed.get(name, False) for name in names})


def _authority_certificate(key, address: str) -> x509.Certificate:
    now = dt.datetime.now(dt.UTC)
    # A second installation in the same home has another name in the phone's list.
    subject = f"Flockcare at home, made {now:%d %B %Y %H:%M}"
    constraints = x509.NameConstraints(
        permitted_subtrees=[
            *(x509.IPAddress(network) for network in (*HOME_NETWORKS, ip_network(address))),
            x509.DNSName("localhost"),
        ],
        excluded_subtrees=None,
    )
    return (
        _builder(subject, key, now, AUTHORITY_DAYS)
        .issuer_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, subject)]))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(constraints, critical=True)
        .sign(key, hashes.SHA256())
    )


def _server_certificate(key, address, authority, signer, now) -> x509.Certificate:
    names = {ip_address(address), ip_address("127.0.0.1")}
    return (
        _builder("Flockcare", key, now, SERVER_DAYS)
        .issuer_name(authority.subject)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.SubjectAlternativeName(
                [*map(x509.IPAddress, sorted(names)), x509.DNSName("localhost")]
            ),
            critical=False,
        )
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key()),
            critical=False,
        )
        .sign(signer, hashes.SHA256())
    )


def _private(key) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def _write(path: Path, content: bytes) -> None:
    """All of it or nothing, and readable by us alone."""
    beside = path.with_suffix(".new")
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(content)
    beside.replace(path)
