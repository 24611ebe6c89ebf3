"""A certificate authority of one's own, so that a page on the local network is a secure page.

The authority is made once per data folder and may only vouch for addresses of local networks (name
constraints, RFC 5280 section 4.2.1.10): a stolen key is of no use against any site of the outside.
The leaf that the server shows lives for `LEAF_DAYS` and is made again at half of that.

Published rules kept here: serverAuth in the leaf and no more than 825 days for either, which
iPadOS asks of certificates that people install themselves (Apple, Requirements for trusted
certificates in iOS 13 and macOS 10.15, 2019); the address as subjectAltName (RFC 9525).
"""

import ssl
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from coldtake.errors import StoreError
from coldtake.web.sharing.addresses import LOCAL_NETWORKS, Address
from coldtake.web.sharing.files import private_folder, read_private, write_private

AUTHORITY_DAYS = 820
LEAF_DAYS = 14
_EARLY = timedelta(hours=24)  # clocks of tablets are not always right
_NAME = "Coldtake on this computer"
_KEY, _CERTIFICATE = "authority.key", "authority.pem"


@dataclass(frozen=True, slots=True)
class Authority:
    """The authority of one data folder: its key and its certificate."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    @property
    def der(self) -> bytes:
        """The certificate as devices take it in (DER)."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate in pairs of hexadecimal digits, as devices show it."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def until(self) -> datetime:
        """The instant at which it ends (UTC)."""
        return self.certificate.not_valid_after_utc


@dataclass(frozen=True, slots=True)
class Leaf:
    """What the server shows for one address, with its key."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    def due(self, now: datetime) -> bool:
        """Say whether more than half of its life is over."""
        return now > self.certificate.not_valid_after_utc - timedelta(days=LEAF_DAYS / 2)


def authority_of(folder: Path, now: datetime) -> Authority:
    """Read the authority kept in a folder, or make it. Raises StoreError.

    One that ends before its next leaf would is replaced: devices must then take in the new one.
    """
    private_folder(folder)
    known = _read(folder)
    if known and known.until > now + timedelta(days=LEAF_DAYS):
        return known
    made = make_authority(now)
    secret = made.key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    write_private(folder / _KEY, secret)
    write_private(folder / _CERTIFICATE, made.certificate.public_bytes(serialization.Encoding.PEM))
    return made


def _read(folder: Path) -> Authority | None:
    secret, certificate = read_private(folder / _KEY), read_private(folder / _CERTIFICATE)
    if secret is None or certificate is None:
        return None
    try:
        key = serialization.load_pem_private_key(secret, password=None)
        read = x509.load_pem_x509_certificate(certificate)
    except ValueError as fault:
        raise _broken(folder) from fault
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != read.public_key():
        raise _broken(folder)
    return Authority(key, read)


def _broken(folder: Path) -> StoreError:
    return StoreError(
        "The certificate kept for sharing cannot be read.",
        where=str(folder),
        remedy="Remove that folder and share again; the tablet then needs the new certificate.",
    )


def make_authority(now: datetime) -> Authority:
    """Make a fresh authority that may vouch for local networks only."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _NAME)])
    builder = (
        _certificate(name, name, key, now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(_constraints(), critical=True)
    )
    return Authority(key, builder.sign(key, hashes.SHA256()))


def _constraints() -> x509.NameConstraints:
    networks: list[x509.GeneralName] = [x509.IPAddress(n) for n in LOCAL_NETWORKS]
    return x509.NameConstraints([*networks, x509.DNSName("localhost")], None)


def make_leaf(authority: Authority, addresses: Iterable[Address], now: datetime) -> Leaf:
    """Make a certificate for addresses of this machine, with a key of its own."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Coldtake")])
    names = x509.SubjectAlternativeName([x509.IPAddress(a) for a in addresses])
    issuer = authority.certificate
    builder = (
        _certificate(name, issuer.subject, key, now, LEAF_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(names, critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()),
            critical=False,
        )
    )
    return Leaf(key, builder.sign(authority.key, hashes.SHA256()))


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime,
    days: int,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLY)
        .not_valid_after(now + timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def context_of(leaf: Leaf, folder: Path) -> ssl.SSLContext:
    """Return a server's TLS context (1.2 and up) that shows this leaf.

    The `ssl` module reads keys from files only: one stands in the private folder for a moment.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    pem = leaf.key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + leaf.certificate.public_bytes(serialization.Encoding.PEM)
    with tempfile.TemporaryDirectory(dir=folder) as place:  # made with rights 0700
        path = Path(place) / "leaf.pem"
        write_private(path, pem)
        context.load_cert_chain(path)
    return context
