"""A certificate authority of one's own, so that phones at home can talk to this server in secret.

Public authorities give no certificates for ``garden.local`` or ``192.168.1.20``. So this server makes an authority
that vouches for nothing but names and addresses of private networks (name constraints, RFC 5280, 4.2.1.10): whoever
steals its key cannot pose as a bank before the phones that trust it. The keys never leave the folder, mode 0600.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.errors import FruitwallError
from fruitwall.speech import say

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

    Key = EllipticCurvePrivateKey

PRIVATE_NAMES = ("local", "home.arpa", "internal", "lan", "localhost")
"""Domains that only ever mean something at home: mDNS (RFC 6762), RFC 8375, ICANN's choice of 2024 for private use,
the habit of routers, RFC 6761. Names below them are vouched for as well."""

PRIVATE_NETWORKS = (
    "127.0.0.0/8",
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "100.64.0.0/10",
    "::1/128",
    "fc00::/7",
    "fe80::/10",
)
"""Addresses that no two homes share a route to: RFC 1918, 3927, 6598 (used by home tunnels), 4193, 4291."""

AUTHORITY_LASTS = timedelta(days=3650)
"""How long phones need not be told anew. Our judgement."""

SERVER_LASTS = timedelta(days=397)
"""Below the 398 days that browsers take at most from public authorities; ours stay within them to be safe."""

RENEWED_BEFORE = timedelta(days=60)
"""How long before its end a certificate is made anew. Our judgement."""

BACKDATED = timedelta(days=1)
"""How far a certificate reaches back, for phones whose clock is late. Our judgement."""


@dataclass(frozen=True)
class Authority:
    """The authority as shown to whoever shall trust it.

    Attributes
    ----------
    certificate : bytes
        In DER, as phones install it.
    fingerprint : str
        SHA-256 of it in hexadecimal, pairs parted by colons.
    name : str
        As the phone lists it.
    until : datetime, aware
    """

    certificate: bytes
    fingerprint: str
    name: str
    until: datetime


@dataclass(frozen=True)
class Files:
    """Where the server finds its certificate and key, for TLS."""

    certificate: Path
    key: Path


class CertificateFolder:
    """The authority and the certificate of the server, on disk.

    Parameters
    ----------
    folder : Path
        Made on the first use, closed to other users.
    now : callable
        Gives the present moment, aware.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self.folder = folder
        self.now = now

    @property
    def files(self) -> Files:
        """Where the server's certificate lies, whether it is there or not."""
        return Files(self.folder / "server.crt", self.folder / "server.key")

    def authority(self, host: str) -> Authority:
        """Give the authority; make one if there is none or the old one is about to end.

        Parameters
        ----------
        host : str
            Name of this machine; the only name outside `PRIVATE_NAMES` that is vouched for.
        """
        certificate, _ = self._authority(host)
        return _shown(certificate)

    def server(self, names: Iterable[str], host: str) -> bool:
        """Make the certificate of the server if it is not there, about to end, or lacks a name.

        Parameters
        ----------
        names : iterable of str
            Names and addresses under which it is reached.
        host : str
            Name of this machine.

        Returns
        -------
        bool
            Whether a new one was made.

        Raises
        ------
        FruitwallError
            If a name is none of a private network: a phone would refuse the certificate.
        """
        from cryptography import x509
        from cryptography.exceptions import InvalidSignature

        authority, key = self._authority(host)
        wanted = _names_of(names)
        strange = [str(one.value) for one in wanted if not _within(one, authority)]
        if strange:
            raise FruitwallError(
                say(
                    "the own certificate authority vouches for private names and addresses only, and not for {strange}."
                    " For a public name use a reverse proxy with a public certificate, or name the server NAME.local "
                    "or NAME.home.arpa",
                    strange=", ".join(strange),
                )
            )
        try:
            present = x509.load_pem_x509_certificates(self.files.certificate.read_bytes())[0]
            has = set(present.extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
            # A clock that was wrong once must not leave a certificate that begins in the future.
            lasts = present.not_valid_before_utc <= self.now() < present.not_valid_after_utc - RENEWED_BEFORE
            if lasts and present.issuer == authority.subject and set(wanted) <= has and self.files.key.is_file():
                present.verify_directly_issued_by(authority)
                return False
        except (OSError, ValueError, TypeError, IndexError, x509.ExtensionNotFound, InvalidSignature):
            pass  # whatever is wrong with the old one, a new one mends it
        self._make_server(wanted, authority, key)
        return True

    # ------------------------------------------------------------ inside

    def _authority(self, host: str) -> tuple[x509.Certificate, Key]:
        from cryptography import x509
        from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
        from cryptography.hazmat.primitives.serialization import load_pem_private_key

        certificate_file, key_file = self.folder / "authority.crt", self.folder / "authority.key"
        if certificate_file.exists() and key_file.exists():
            try:
                certificate = x509.load_pem_x509_certificate(certificate_file.read_bytes())
                key = load_pem_private_key(key_file.read_bytes(), None)
            except ValueError as error:
                raise FruitwallError(
                    say(
                        "the certificate authority in {folder} cannot be read ({error}); take both files away and a "
                        "new one is made, which phones have to be told to trust anew",
                        folder=self.folder,
                        error=error,
                    )
                ) from error
            if not isinstance(key, EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
                raise FruitwallError(
                    say("certificate and key of the authority in {folder} do not belong together", folder=self.folder)
                )
            # Near its end a new one is made; phones have to be told anew, and the page says so.
            if self.now() < certificate.not_valid_after_utc - SERVER_LASTS:
                return certificate, key
        return self._make_authority(host, certificate_file, key_file)

    def _make_authority(self, host: str, certificate_file: Path, key_file: Path) -> tuple[x509.Certificate, Key]:
        from cryptography import x509
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.x509.oid import NameOID

        key = ec.generate_private_key(ec.SECP256R1())
        # The mark tells two authorities of one household apart in the list of a phone.
        mark = secrets.token_hex(2)
        name = x509.Name(
            [
                x509.NameAttribute(NameOID.ORGANIZATION_NAME, "fruitwall"),
                x509.NameAttribute(NameOID.COMMON_NAME, f"fruitwall at home {mark}"),
            ]
        )
        allowed: list[x509.GeneralName] = [x509.DNSName(one) for one in PRIVATE_NAMES]
        if _is_name(host) and host not in PRIVATE_NAMES:
            allowed.append(x509.DNSName(host))
        allowed += [x509.IPAddress(ip_network(one)) for one in PRIVATE_NETWORKS]
        now = self.now()
        certificate = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - BACKDATED)
            .not_valid_after(now + AUTHORITY_LASTS)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(_key_usage(signs_certificates=True), critical=True)
            .add_extension(x509.NameConstraints(permitted_subtrees=allowed, excluded_subtrees=None), critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .sign(key, SHA256())
        )
        self._write(key_file, _key_pem(key))
        self._write(certificate_file, _certificate_pem(certificate))
        return certificate, key

    def _make_server(self, names: list[x509.GeneralName], authority: x509.Certificate, signer: Key) -> None:
        from cryptography import x509
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

        key = ec.generate_private_key(ec.SECP256R1())
        now = self.now()
        certificate = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "fruitwall")]))
            .issuer_name(authority.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - BACKDATED)
            .not_valid_after(now - BACKDATED + SERVER_LASTS)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_key_usage(signs_certificates=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
            .sign(signer, SHA256())
        )
        self._write(self.files.key, _key_pem(key))
        self._write(self.files.certificate, _certificate_pem(certificate) + _certificate_pem(authority))

    def _write(self, path: Path, content: bytes) -> None:
        write_secret(path, content)


def access_folder(place: str) -> Path:
    """Give the folder of certificates and keys that belongs to a database.

    Parameters
    ----------
    place : str
        `Journal.place`.

    Returns
    -------
    Path
        Beside an SQLite file, else in the user's own data folder.
    """
    import platformdirs

    if "://" in place or place.startswith("the database"):
        return platformdirs.user_data_path("fruitwall", appauthor=False) / "access"
    return Path(f"{place}.access")


def is_private(address: IPv4Address | IPv6Address) -> bool:
    """Tell whether an address is of `PRIVATE_NETWORKS`."""
    networks = [ip_network(one) for one in PRIVATE_NETWORKS]
    return any(address in network for network in networks if network.version == address.version)


def write_secret(path: Path, content: bytes) -> None:
    """Write a file that only its owner may read; whoever finds it finds it whole.

    Parameters
    ----------
    path : Path
        Its folder is made, closed to other users.
    content : bytes
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError as error:
        raise FruitwallError(say("cannot write {path}: {reason}", path=path, reason=error.strerror)) from error


def cookie_key(folder: Path) -> bytes:
    """Give the key that signs cookies, so that devices stay known over a restart; made on the first use."""
    path = folder / "cookie.key"
    if not path.exists():
        write_secret(path, secrets.token_bytes(32))
    key = path.read_bytes()
    if len(key) < 32:
        raise FruitwallError(
            say("{path} is not whole; take it away and a new one is made, and all devices log in anew", path=path)
        )
    return key


def _names_of(names: Iterable[str]) -> list[x509.GeneralName]:
    from cryptography import x509

    found: dict[x509.GeneralName, None] = {}
    for name in names:
        address = _address(name)
        found[x509.DNSName(name.lower()) if address is None else x509.IPAddress(address)] = None
    return list(found)


def _within(name: x509.GeneralName, authority: x509.Certificate) -> bool:
    """Tell whether an authority may vouch for a name."""
    from cryptography import x509

    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    if isinstance(name, x509.IPAddress):
        networks = [limit.value for limit in limits if isinstance(limit, x509.IPAddress)]
        return any(name.value in network for network in networks)  # type: ignore[operator]
    domains = [limit.value for limit in limits if isinstance(limit, x509.DNSName)]
    return any(name.value == domain or str(name.value).endswith("." + domain) for domain in domains)


def _address(text: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(text.partition("%")[0])
    except ValueError:
        return None


def _is_name(host: str) -> bool:
    """Tell a bare name of a machine, such as ``orchardpi``, from a public one, which is not vouched for."""
    return bool(host) and "." not in host and host.replace("-", "").isascii() and host.replace("-", "").isalnum()


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _key_pem(key: Key) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _certificate_pem(certificate: x509.Certificate) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding

    return certificate.public_bytes(Encoding.PEM)


def _shown(certificate: x509.Certificate) -> Authority:
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.serialization import Encoding
    from cryptography.x509.oid import NameOID

    name = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value
    return Authority(
        certificate.public_bytes(Encoding.DER),
        certificate.fingerprint(SHA256()).hex(":").upper(),
        str(name),
        certificate.not_valid_after_utc,
    )
