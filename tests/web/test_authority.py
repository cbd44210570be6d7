"""Our own certificate authority: what TLS thinks of it, what it refuses, when it is renewed."""

from __future__ import annotations

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from fruitwall.errors import FruitwallError
from fruitwall.web.access.authority import (
    RENEWED_BEFORE,
    SERVER_LASTS,
    CertificateFolder,
    is_private,
    write_secret,
)

NAMES = ["localhost", "127.0.0.1", "::1", "192.168.1.20", "orchardpi", "orchardpi.local", "garden.home.arpa"]


class Calendar:
    """A calendar that is turned by hand; TLS itself looks at the true one."""

    def __init__(self) -> None:
        self.moment = datetime.now(UTC)

    def __call__(self) -> datetime:
        return self.moment


@pytest.fixture
def calendar():
    return Calendar()


@pytest.fixture
def folder(tmp_path, calendar):
    return CertificateFolder(tmp_path / "access", calendar)


def certificates_in(path):
    return x509.load_pem_x509_certificates(path.read_bytes())


def handshake(folder, name, files=None):
    """Shake hands with a server that has these files, as a phone that trusts the authority and asked for `name`."""
    files = files or folder.files
    server_side = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server_side.load_cert_chain(files.certificate, files.key)
    phone = ssl.create_default_context(cafile=str(folder.folder / "authority.crt"))
    ours, theirs = socket.socketpair()
    ended: list[Exception] = []

    def serve() -> None:
        try:
            with server_side.wrap_socket(theirs, server_side=True):
                pass
        except (ssl.SSLError, OSError) as error:
            ended.append(error)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with phone.wrap_socket(ours, server_hostname=name) as secure:
            return secure.version()
    finally:
        ours.close()
        thread.join(5)


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_that_trusts_the_authority_trusts_the_server_under_each_name(folder, name):
    assert folder.server(NAMES, "orchardpi")

    assert handshake(folder, name) == "TLSv1.3"


def test_it_does_not_trust_it_under_another_name(folder):
    folder.server(NAMES, "orchardpi")

    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(folder, "other.local")


@pytest.mark.parametrize("name", ["garden.example", "example", "93.184.216.34", "notlocal", "xlocal", "2001:db8::1"])
def test_the_authority_vouches_for_no_public_name(folder, name):
    with pytest.raises(FruitwallError, match="private names and addresses only"):
        folder.server([*NAMES, name], "orchardpi")
    assert not folder.files.certificate.exists()


@pytest.mark.parametrize("name", ["bank.example", "93.184.216.34"])
def test_whoever_stole_the_key_still_cannot_pose_as_a_bank(folder, tmp_path, name):
    folder.server(NAMES, "orchardpi")
    (authority,) = certificates_in(folder.folder / "authority.crt")
    stolen = serialization.load_pem_private_key((folder.folder / "authority.key").read_bytes(), None)
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    try:
        general = x509.IPAddress(ip_address(name))
    except ValueError:
        general = x509.DNSName(name)
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([general]), critical=True)
        .sign(stolen, hashes.SHA256())
    )

    class Forged:
        certificate, key = tmp_path / "forged.crt", tmp_path / "forged.key"

    Forged.certificate.write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    Forged.key.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )

    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(folder, name, Forged)


def test_what_phones_ask_of_certificates(folder, calendar):
    shown = folder.authority("orchardpi")
    folder.server(NAMES, "orchardpi")
    server, authority = certificates_in(folder.files.certificate)

    assert x509.load_der_x509_certificate(shown.certificate) == authority
    assert shown.fingerprint == authority.fingerprint(hashes.SHA256()).hex(":").upper()
    assert isinstance(server.public_key().curve, ec.SECP256R1)
    assert server.not_valid_after_utc - server.not_valid_before_utc <= timedelta(days=398)
    assert server.not_valid_before_utc < calendar.moment - timedelta(hours=23)
    usage = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert x509.oid.ExtendedKeyUsageOID.SERVER_AUTH in usage
    assert authority.extensions.get_extension_for_class(x509.BasicConstraints).value == x509.BasicConstraints(True, 0)
    assert authority.extensions.get_extension_for_class(x509.NameConstraints).critical


def test_keys_are_for_their_owner_alone(folder):
    folder.server(NAMES, "orchardpi")

    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in folder.folder.iterdir()}
    assert modes == dict.fromkeys(("authority.crt", "authority.key", "server.crt", "server.key"), 0o600)
    assert stat.S_IMODE(folder.folder.stat().st_mode) == 0o700


def test_a_certificate_is_made_anew_only_when_it_has_to_be(folder, calendar):
    assert folder.server(NAMES, "orchardpi")
    assert not folder.server(NAMES[:3], "orchardpi")
    assert folder.server([*NAMES, "10.0.0.7"], "orchardpi")

    calendar.moment += SERVER_LASTS - RENEWED_BEFORE - timedelta(days=2)
    assert not folder.server(NAMES, "orchardpi")
    calendar.moment += timedelta(days=2)
    assert folder.server(NAMES, "orchardpi")


@pytest.mark.parametrize("content", [b"", b"no certificate"])
def test_a_damaged_certificate_of_the_server_is_made_anew(folder, content):
    folder.server(NAMES, "orchardpi")
    folder.files.certificate.write_bytes(content)

    assert folder.server(NAMES, "orchardpi")


def test_a_damaged_authority_is_never_replaced_in_silence(folder):
    folder.authority("orchardpi")
    (folder.folder / "authority.key").write_bytes(b"no key")

    with pytest.raises(FruitwallError, match="phones have to be told to trust anew"):
        folder.server(NAMES, "orchardpi")


def test_a_key_of_another_authority_is_not_taken(folder, tmp_path, calendar):
    other = CertificateFolder(tmp_path / "other", calendar)
    for one in (folder, other):
        one.authority("orchardpi")
    (other.folder / "authority.key").replace(folder.folder / "authority.key")

    with pytest.raises(FruitwallError, match="do not belong together"):
        folder.authority("orchardpi")


def test_a_new_authority_has_a_certificate_of_the_server_made_anew(folder):
    folder.server(NAMES, "orchardpi")
    for name in ("authority.crt", "authority.key"):
        (folder.folder / name).unlink()

    assert folder.server(NAMES, "orchardpi")
    assert handshake(folder, "localhost")


@pytest.mark.parametrize(
    ("address", "private"),
    [("192.168.0.1", True), ("100.100.1.1", True), ("fd12::1", True), ("8.8.8.8", False), ("2a00::1", False)],
)
def test_addresses_of_homes_are_told_from_public_ones(address, private):
    assert is_private(ip_address(address)) is private


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")

    with pytest.raises(FruitwallError, match="cannot write"):
        write_secret(tmp_path / "file" / "key", b"x")
