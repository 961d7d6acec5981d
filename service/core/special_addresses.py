"""Addresses that are no place to send a caller's data to: own list, whatever Python's says.

Sources: the IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890, updated by RFC 8190;
entries with their own RFC beside them, those marked globally reachable included, since none of them
is a receiver's own host), and the addresses under which common clouds serve metadata and
credentials to machines in them (from the clouds' public documentation, from memory).

IPv6 is judged the other way round: only 2000::/3 is handed out for global unicast (RFC 4291, IANA
IPv6 Address Space), all else is closed; within it the list below is closed.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from typing import Final

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

SPECIAL_IPV4: Final = {
    "0.0.0.0/8": "this network (RFC 791)",
    "10.0.0.0/8": "private use (RFC 1918)",
    "100.64.0.0/10": "shared address space (RFC 6598)",
    "127.0.0.0/8": "loopback (RFC 1122)",
    "169.254.0.0/16": "link local (RFC 3927)",
    "172.16.0.0/12": "private use (RFC 1918)",
    "192.0.0.0/24": "IETF protocol assignments (RFC 6890)",
    "192.0.2.0/24": "documentation (RFC 5737)",
    "192.31.196.0/24": "AS112 (RFC 7535)",
    "192.52.193.0/24": "AMT (RFC 7450)",
    "192.88.99.0/24": "6to4 relay anycast, given up (RFC 7526)",
    "192.168.0.0/16": "private use (RFC 1918)",
    "192.175.48.0/24": "AS112 direct delegation (RFC 7534)",
    "198.18.0.0/15": "benchmarking (RFC 2544)",
    "198.51.100.0/24": "documentation (RFC 5737)",
    "203.0.113.0/24": "documentation (RFC 5737)",
    "224.0.0.0/4": "multicast (RFC 5771)",
    "240.0.0.0/4": "reserved (RFC 1112), limited broadcast included (RFC 919)",
}
SPECIAL_IPV6: Final = {
    "2001::/23": "IETF protocol assignments (RFC 2928): Teredo, ORCHID, AMT, AS112 and others",
    "2001:db8::/32": "documentation (RFC 3849)",
    "2002::/16": "6to4 (RFC 3056)",
    "2620:4f:8000::/48": "AS112 direct delegation (RFC 7534)",
    "3fff::/20": "documentation (RFC 9637)",
}
"""Within global unicast space; what lies outside needs no entry."""
METADATA: Final = {
    "100.100.100.200/32": "metadata of a cloud",
    "168.63.129.16/32": "platform services of a cloud, on a public address",
    "169.254.0.23/32": "metadata of a cloud",
    "169.254.42.42/32": "metadata of a cloud",
    "169.254.169.254/32": "metadata of most clouds",
    "169.254.170.2/32": "credentials of containers",
    "169.254.170.23/32": "credentials of containers",
    "192.0.0.192/32": "metadata of a cloud",
    "fd00:42::42/128": "metadata of a cloud",
    "fd00:ec2::23/128": "credentials of containers",
    "fd00:ec2::254/128": "metadata of a cloud",
    "fd20:ce::254/128": "metadata of a cloud",
}

_SPECIAL = tuple(ipaddress.ip_network(text) for text in (*SPECIAL_IPV4, *SPECIAL_IPV6))
_METADATA = tuple(ipaddress.ip_network(text) for text in METADATA)
_GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")
_MAPPED = ipaddress.IPv6Network("::ffff:0:0/96")
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
_TEREDO = ipaddress.IPv6Network("2001::/32")
_SIX_TO_FOUR = ipaddress.IPv6Network("2002::/16")
_LOW = 0xFFFFFFFF
"""The low 32 bits of an address, where an IPv4 address is embedded (RFC 4291, 2.5.5)."""
ISATAP_MARKS: Final = (0x00005EFE, 0x02005EFE)
"""Upper half of an ISATAP interface identifier, local and global (RFC 5214, section 6.1)."""


def within(address: Address, network: Network) -> bool:
    """Tell whether an address lies in a network; one of the other version does not."""
    return address.version == network.version and address in network


def plain(address: Address) -> Address:
    """Return the IPv4 address that a socket reaches by an IPv4-mapped one (RFC 4291), or itself."""
    if within(address, _MAPPED):
        return ipaddress.IPv4Address(int(address) & _LOW)
    return address


def embedded(address: Address) -> Iterator[ipaddress.IPv4Address]:
    """Yield every IPv4 address that an IPv6 address leads to by a published rule.

    IPv4-mapped (RFC 4291), NAT64 (RFC 6052, well-known prefix), 6to4 (RFC 3056), Teredo server and
    client (RFC 4380), ISATAP under any prefix (RFC 5214).
    """
    if address.version == 4:
        return
    number = int(address)
    if within(address, _MAPPED) or within(address, _NAT64):
        yield ipaddress.IPv4Address(number & _LOW)
    if within(address, _SIX_TO_FOUR):
        yield ipaddress.IPv4Address(number >> 80 & _LOW)
    if within(address, _TEREDO):
        yield ipaddress.IPv4Address(number >> 64 & _LOW)
        yield ipaddress.IPv4Address(~number & _LOW)
    if number >> 32 & _LOW in ISATAP_MARKS:
        yield ipaddress.IPv4Address(number & _LOW)


def is_public(address: Address) -> bool:
    """Tell whether an address, and every one embedded in it, is an ordinary public one."""
    if any(not is_public(inner) for inner in embedded(address)):
        return False
    if within(address, _MAPPED) or within(address, _NAT64):
        return True  # what counts is the address inside
    if address.version == 6 and address not in _GLOBAL_UNICAST:
        return False
    return not any(within(address, network) for network in (*_SPECIAL, *_METADATA))


def is_metadata(address: Address) -> bool:
    """Tell whether a cloud serves metadata or credentials there."""
    return any(
        within(one, network) for one in (address, *embedded(address)) for network in _METADATA
    )
