"""Which address of this machine may be shared: one of a local network, chosen on purpose."""

import ipaddress
import socket
from urllib.parse import urlsplit

from coldtake.errors import InputError

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

# Private and link-local networks (RFC 1918, RFC 3927, RFC 4193, RFC 4291) and loopback (RFC 1122).
LOCAL_NETWORKS = tuple(
    ipaddress.ip_network(n)
    for n in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",
        "169.254.0.0/16",
        "127.0.0.0/8",
        "fc00::/7",
        "fe80::/10",
        "::1/128",
    )
)
OUTSIDE = ("192.0.2.1", 9)  # never assigned (RFC 5737); nothing is sent to it


def checked(text: str) -> Address:
    """Read an address that may be shared. Raises InputError."""
    try:
        address = ipaddress.ip_address(text.strip())
    except ValueError as fault:
        raise InputError(
            f"“{text}” is not an address of this computer.",
            where="address",
            remedy="Enter numbers such as 192.168.1.20; the system's network settings show them.",
        ) from fault
    if not any(address.version == n.version and address in n for n in LOCAL_NETWORKS):
        raise InputError(
            f"{address} is not an address of a local network.",
            where="address",
            remedy="Use the address of this computer in your own network.",
        )
    return address


def with_port(text: str, usual_port: int) -> tuple[str, int]:
    """Split `192.168.1.20:9000` or `[fd00::7]:9000`. Raises InputError for a port that is none."""
    if text.count(":") != 1 and not text.startswith("["):
        return text, usual_port
    try:
        parts = urlsplit(f"//{text}")
        port = parts.port
    except ValueError as fault:
        raise InputError(
            f"“{text}” has no port from 0 to 65535.", remedy="Write 192.168.1.20:8438."
        ) from fault
    return parts.hostname or "", usual_port if port is None else port


def usual() -> str:
    """Return the address under which the local network reaches this machine, or nothing.

    A datagram socket that is connected only asks the system which address it would send from; no
    packet leaves.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(OUTSIDE)
            found: str = asked.getsockname()[0]
        except OSError:
            return ""
    try:
        return str(checked(found))
    except InputError:
        return ""
