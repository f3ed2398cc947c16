"""Where this machine is reached in its networks, for who opens the dashboard and for its server.

Apart from the commands: the server would load all of them before it opened its door.
"""

from __future__ import annotations

import ipaddress
import socket

PHONE = "FORECAST_PHONE"
"""Set for the server that lets phones in."""


def own_addresses() -> tuple[str, ...]:
    """Give this machine's IPv4 addresses in its networks, the one that others most likely reach first.

    Nobody is asked: its own network cards know, also where nothing leads to elsewhere.
    """
    import ifaddr

    found = [
        ipaddress.IPv4Address(ip.ip)
        for adapter in ifaddr.get_adapters()
        for ip in adapter.ips
        if isinstance(ip.ip, str)
    ]
    towards = _address_towards_elsewhere()

    def rank(address: ipaddress.IPv4Address) -> tuple[bool, bool, bool]:
        # 172.16.0.0/12 is where containers and virtual machines live, more often than a home's network.
        return (
            str(address) != towards,
            not address.is_private,
            address in ipaddress.IPv4Network("172.16.0.0/12"),
        )

    usable = [address for address in found if not (address.is_loopback or address.is_link_local)]
    return tuple(str(address) for address in sorted(dict.fromkeys(usable), key=rank))


def _address_towards_elsewhere() -> str:
    """Give the address from which this machine would reach others elsewhere; nothing where no way leads there."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: it only chooses the way (RFC 5737: an address of nobody).
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return ""
        return str(probe.getsockname()[0])
