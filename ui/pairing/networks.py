"""Networks of this computer: where a phone can reach it, and which phones are near; no Streamlit here."""

from __future__ import annotations

import ipaddress
import socket
from dataclasses import dataclass

import psutil


@dataclass(frozen=True)
class Near:
    """An address of this computer on a network of its own.

    Attributes
    ----------
    address
        The address, such as 192.168.1.20.
    network
        All addresses of that network.
    name
        What the system calls the connection, such as wlan0.
    """

    address: ipaddress.IPv4Address
    network: ipaddress.IPv4Network
    name: str

    def holds(self, peer: str) -> bool:
        """Tell whether an address belongs to this network."""
        try:
            found = ipaddress.ip_address(peer)
        except ValueError:
            return False
        return found in self.network


def own_networks() -> tuple[Near, ...]:
    """Return this computer's private networks, the one that leads to others first.

    Private as in RFC 1918 and its like: an address that the whole internet can reach is none of them.
    Version 4 alone, which every phone and every clinic's router speaks.
    """
    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    found = [
        near
        for name, addresses in psutil.net_if_addrs().items()
        if name in up
        for address in addresses
        if address.family == socket.AF_INET and (near := _near(address.address, address.netmask, name))
    ]
    usual = _usual_address()
    return tuple(sorted(found, key=lambda near: (near.address != usual, near.name)))


def _near(address: str, netmask: str | None, name: str) -> Near | None:
    try:
        interface = ipaddress.IPv4Interface(f"{address}/{netmask or 32}")
    except ValueError:
        return None
    if interface.is_loopback or not interface.is_private:
        return None
    return Near(interface.ip, interface.network, name)


def _usual_address() -> ipaddress.IPv4Address | None:
    """Return the address from which this computer would speak to another network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.254.254.254", 9))
        except OSError:
            return None
        return ipaddress.IPv4Address(probe.getsockname()[0])
