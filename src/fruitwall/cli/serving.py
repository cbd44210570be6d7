"""Serving the pages: to this machine, or to the home network once an owner can log in."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

from fruitwall.cli.given import present, refuse
from fruitwall.speech import say

if TYPE_CHECKING:
    import socket

    from fruitwall.service.house import House
    from fruitwall.service.weather_desk import WeatherDesk
    from fruitwall.web.access.authority import CertificateFolder

HERE = "127.0.0.1"

LOOK_AGAIN_S = 3600.0
"""How often a running server looks whether its certificate is about to end, or its addresses changed. [s]"""


@dataclass(frozen=True)
class Listening:
    """Where to listen, as it was asked for.

    Attributes
    ----------
    host : str
        Address to listen on; ``0.0.0.0`` or ``::`` for the whole network.
    port : int
        0 for a free one.
    allow : sequence of str
        More names to answer under.
    https : bool
        Whether to speak https with a certificate of our own authority.
    """

    host: str = HERE
    port: int = 0
    allow: Sequence[str] = ()
    https: bool = False

    @property
    def beyond(self) -> bool:
        """Whether anybody but this machine may come: by its address, or through a proxy under another name."""
        from fruitwall.web.settings import LOCAL_HOSTS

        return not is_loopback(self.host) or any(name.lower() not in LOCAL_HOSTS for name in self.allow)


def serve_pages(
    plan_for: Any, yard: Any, clock: Any, house: House, listening: Listening, weather: WeatherDesk | None = None
) -> None:
    """Serve the pages until interrupted; the address is printed once the port is taken.

    Without `weather` the pages ask no service: the weather is fixed, as that of the demo is.
    """
    import uvicorn

    from fruitwall.web.access.authority import CertificateFolder, access_folder, cookie_key
    from fruitwall.web.access.reach import Reach
    from fruitwall.web.app import create_app
    from fruitwall.web.settings import LOCAL_HOSTS, WebSettings

    if listening.beyond:
        _require_owner(house)
    _tidy(house)
    sock = _bound(listening)
    port = sock.getsockname()[1]
    folder = access_folder(house.journal.place)
    machine = machine_name()
    names = names_of(listening, machine, LOCAL_HOSTS)
    certificates = CertificateFolder(folder, present) if listening.https else None
    authority = None
    if certificates is not None:
        authority = certificates.authority(machine)
        certificates.server(names, machine)
    scheme = "https" if listening.https else "http"
    shown = [name for name in names if name not in LOCAL_HOSTS]
    # An address is what every phone finds; a name ending in .local not every Android; a bare name few.
    shown.sort(key=lambda name: (not _is_address(name), "." not in name))
    addresses = tuple(f"{scheme}://{_in_address(name)}:{port}" for name in shown)
    reach = Reach(
        beyond=listening.beyond, addresses=addresses, authority=authority, cookie_key=cookie_key(folder), now=present
    )
    application = create_app(
        WebSettings(
            plan_for=plan_for, yard=yard, now=clock, house=house, hosts=tuple(names), reach=reach, weather=weather
        )
    )
    local = HERE if is_loopback(listening.host) or listening.host in ("0.0.0.0", "::") else listening.host
    page = f"{scheme}://{_in_address(local)}:{port}/"
    typer.echo("\n" + say("Tonight's page: {address}   (Ctrl-C to stop)", address=page))
    for address in addresses:
        typer.echo(say("      on phones: {address}", address=f"{address}/pair"))
    if authority is not None:
        typer.echo(say("Certificate authority, to be compared on the phone (SHA-256):"))
        typer.echo(f"  {authority.fingerprint}")
    elif listening.beyond:
        typer.echo(
            say("Without --https anybody in the network can read along, and the walk does not open out of reach.")
        )
    sys.stdout.flush()
    secure = (
        {}
        if certificates is None
        else {"ssl_certfile": str(certificates.files.certificate), "ssl_keyfile": str(certificates.files.key)}
    )
    config = uvicorn.Config(application, log_level="warning", server_header=False, **secure)  # type: ignore[arg-type]
    if certificates is not None:
        config.load()
        renew_while_running(config.ssl, certificates, lambda: names_of(listening, machine, LOCAL_HOSTS), machine)
    uvicorn.Server(config).run(sockets=[sock])


def _tidy(house: House) -> None:
    """Take away what killed servers left half-written, and devices that ended long ago."""
    from fruitwall.errors import JournalError
    from fruitwall.service.accounts import People

    house.photos.sweep(now=present())
    # A database that is busy just now is tidied at the next start.
    with suppress(JournalError):
        People(house.accounts, present).purge()


def renew_while_running(
    context: Any, certificates: CertificateFolder, names: Callable[[], list[str]], machine: str
) -> Callable[[], None]:
    """Look now and then whether the certificate is about to end or lacks an address, and make a new one.

    Parameters
    ----------
    context : ssl.SSLContext
        Of the running server; connections made from then on get the new certificate.
    certificates : CertificateFolder
    names : callable
        Gives the names and addresses as they are now.
    machine : str
        Name of this machine.

    Returns
    -------
    callable
        Looks at once; the thread calls it every hour.
    """
    import logging
    import threading

    from fruitwall.errors import FruitwallError

    def look() -> None:
        try:
            if certificates.server(names(), machine):
                context.load_cert_chain(certificates.files.certificate, certificates.files.key)
        except (FruitwallError, OSError) as error:
            logging.getLogger("fruitwall.web").warning("the certificate could not be renewed: %s", error)

    stop = threading.Event()

    def watch() -> None:
        while not stop.wait(LOOK_AGAIN_S):
            look()

    threading.Thread(target=watch, name="certificate", daemon=True).start()
    return look


def names_of(listening: Listening, machine: str, local: Sequence[str]) -> list[str]:
    """Give the names and addresses under which the server answers.

    Parameters
    ----------
    listening : Listening
    machine : str
        Name of this machine.
    local : sequence of str
        Names of this machine for itself.
    """
    names = list(local)
    if not is_loopback(listening.host):
        if listening.host == "0.0.0.0":
            names += [address for address in own_addresses() if ":" not in address]
        else:
            names += own_addresses() if listening.host == "::" else [listening.host]
        if machine:
            names += [machine, machine if machine.endswith(".local") else f"{machine}.local"]
    names += [name.lower() for name in listening.allow]
    return list(dict.fromkeys(names))


def own_addresses() -> list[str]:
    """Give the addresses of this machine in its networks, the one towards the outside first; nothing is sent."""
    import socket

    found: list[str] = []
    # Connecting a datagram socket only asks the routing table. The addresses are of documentation (RFC 5737, 3849).
    for family, outside in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect((outside, 9))
                found.append(probe.getsockname()[0])
        except OSError:
            continue
    with suppress(OSError):
        found += [str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None)]
    private = [address.partition("%")[0] for address in found if _is_private(address)]
    return list(dict.fromkeys(private))


def machine_name() -> str:
    """Give the name of this machine, lower-case; empty for one that could not stand in an address."""
    import socket

    name = socket.gethostname().lower().split(".")[0]
    plain = name.replace("-", "")
    return name if plain.isascii() and plain.isalnum() else ""


def is_loopback(host: str) -> bool:
    """Tell whether an address to listen on answers this machine only."""
    from ipaddress import ip_address

    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _is_private(address: str) -> bool:
    """Tell whether an address is one of a home network, and not of this machine alone."""
    from ipaddress import ip_address

    from fruitwall.web.access.authority import is_private

    one = ip_address(address.partition("%")[0])
    return is_private(one) and not one.is_loopback and not one.is_link_local


def _is_address(name: str) -> bool:
    from ipaddress import ip_address

    try:
        ip_address(name)
    except ValueError:
        return False
    return True


def _in_address(name: str) -> str:
    """Write a name as it stands in an address: IPv6 in brackets."""
    return f"[{name}]" if ":" in name else name


def _require_owner(house: House) -> None:
    """Refuse to answer a network before an owner can log in."""
    from fruitwall.service.accounts import People

    if not People(house.accounts, present).owner_can_log_in():
        refuse(
            say(
                "before others can reach this server there must be an owner with a passphrase. Make one:\n"
                "  fruitwall account add YOUR-NAME --role owner\n"
                "and start again. Helpers and phones follow on the page Settings, People and devices."
            )
        )


def _bound(listening: Listening) -> socket.socket:
    """Take the port."""
    import socket

    host = listening.host
    sock = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if host == "::":
        sock.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
    try:
        sock.bind((host, listening.port))
    except OSError as error:
        sock.close()
        refuse(
            say(
                "cannot listen on {address}: {reason}; choose another --port, or 0 for a free one",
                address=f"{_in_address(host)}:{listening.port}",
                reason=error.strerror,
            )
        )
    return sock
