"""No connection to any target inside the operator's walls: a table, over real sockets.

Sources: IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890, RFC 8190), IANA IPv6
Address Space, the metadata addresses in the public documentation of common clouds (from memory),
and the ways of writing an address that C libraries read (POSIX inet_addr).
"""

from __future__ import annotations

import ipaddress
import socket
import ssl
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.egress import Egress, EgressRefused, is_allowed
from service.core.special_addresses import embedded, is_public


def words(table: str) -> list[str]:
    return table.split()


V4 = words(
    """
0.0.0.0 0.0.0.1 0.1.2.3 0.255.255.255
10.0.0.0 10.0.0.1 10.1.2.3 10.96.0.1 10.255.255.255
100.64.0.0 100.64.0.1 100.100.100.200 100.127.255.255
127.0.0.0 127.0.0.1 127.0.0.2 127.0.1.1 127.0.0.53 127.255.255.254 127.255.255.255
169.254.0.0 169.254.0.1 169.254.0.23 169.254.42.42 169.254.169.249 169.254.169.250 169.254.169.251
169.254.169.253 169.254.169.254 169.254.170.2 169.254.170.23 169.254.255.255
172.16.0.0 172.16.0.1 172.17.0.1 172.20.10.1 172.31.255.255
192.0.0.0 192.0.0.1 192.0.0.7 192.0.0.8 192.0.0.9 192.0.0.10 192.0.0.11 192.0.0.170 192.0.0.171
192.0.0.192 192.0.0.255
192.0.2.0 192.0.2.1 192.0.2.255
192.31.196.0 192.31.196.1 192.31.196.255
192.52.193.0 192.52.193.1 192.52.193.255
192.88.99.0 192.88.99.1 192.88.99.2 192.88.99.255
192.168.0.0 192.168.0.1 192.168.1.1 192.168.255.255
192.175.48.0 192.175.48.1 192.175.48.6 192.175.48.42 192.175.48.255
198.18.0.0 198.18.0.1 198.19.255.255
198.51.100.0 198.51.100.1 198.51.100.255
203.0.113.0 203.0.113.1 203.0.113.255
168.63.129.16
224.0.0.0 224.0.0.1 224.0.0.251 232.1.1.1 239.255.255.250 239.255.255.255
240.0.0.0 240.0.0.1 247.1.2.3 255.255.255.254 255.255.255.255
"""
)
V6 = words(
    """
:: ::1 ::2 ::127.0.0.1 ::10.0.0.1 ::8.8.8.8
::ffff:0.0.0.0 ::ffff:127.0.0.1 ::ffff:10.0.0.1 ::ffff:169.254.169.254 ::ffff:192.168.0.1
::ffff:168.63.129.16 ::ffff:100.100.100.200 ::ffff:192.0.0.9 ::ffff:224.0.0.1
::ffff:0:127.0.0.1 ::ffff:0:10.0.0.1 ::ffff:0:8.8.8.8
64:ff9b::127.0.0.1 64:ff9b::10.0.0.1 64:ff9b::169.254.169.254 64:ff9b::192.0.0.170
64:ff9b::168.63.129.16 64:ff9b::255.255.255.255
64:ff9b:1:: 64:ff9b:1::7f00:1 64:ff9b:1:7f00:0:100:: 64:ff9b:1:ffff:ffff:ffff:ffff:ffff 64:ff9b:2::1
100:: 100::1 100::ffff:ffff:ffff:ffff 100:0:0:1:: 100:0:0:1::1
200::1 400::1 800::1 1000::1 4000::1 5f00:: 5f00::1 6000::1 8000::1 a000::1 c000::1 e000::1 f000::1
f800::1 fbff:ffff::1
2001:: 2001::1 2001:0:7f00:1:: 2001:0:4136:e378:8000:63bf:80ff:fffe 2001:0:808:808::f7f7:f7f7
2001:1::1 2001:1::2 2001:1::3 2001:2:: 2001:2::1 2001:3:: 2001:3::1 2001:4:112:: 2001:4:112::1
2001:5::1 2001:10::1 2001:1f:ffff::1 2001:20:: 2001:20::1 2001:2f:ffff::1 2001:30::1 2001:3f::1
2001:1ff:ffff:ffff:ffff:ffff:ffff:ffff 2001:db8:: 2001:db8::1 2001:db8:ffff::1
2002:: 2002:7f00:1:: 2002:a00:1::1 2002:a9fe:a9fe:: 2002:c0a8:1::1 2002:c058:6301:: 2002:808:808::1
2620:4f:8000:: 2620:4f:8000::1 2620:4f:8000:ffff::1 3fff:: 3fff::1 3fff:fff:ffff::1
fc00:: fc00::1 fd00::1 fd00:42::42 fd00:ec2::23 fd00:ec2::254 fd20:ce::254 fdff:ffff::1
fe80:: fe80::1 fe80::a9fe:a9fe fe80::5efe:a00:1 fe80::200:5efe:a00:1 febf:ffff::1
fec0:: fec0::1 feff:ffff::1 ff00::1 ff01::1 ff02::1 ff02::fb ff05::2 ff0e::1 ffff::1
2606:2800::5efe:10.0.0.1 2606:2800::200:5efe:10.0.0.1 2606:2800::5efe:169.254.169.254
2606:2800::200:5efe:127.0.0.1 2a00:1450::5efe:192.168.1.1 2a00:1450::200:5efe:168.63.129.16
"""
)
SPELLINGS = words(
    """
2130706433 017700000001 0x7f000001 0x7f.1 0x7f.0.0.1 0177.1 0177.0.0.1 127.1 127.0.1 0 0x0 00
3232235777 0xc0a80101 0300.0250.1.1 192.168.257 2852039166 0xa9fea9fe 0251.0376.0251.0376
169.254.43518 0xa9.0xfe.0xa9.0xfe 167772161 0x0a000001 012.0.0.1 10.1 0xa83f8110 168.63.33040
[0:0:0:0:0:0:0:1] [0000:0000::0001] [::ffff:7f00:1] [0:0:0:0:0:ffff:127.0.0.1] [::FFFF:10.0.0.1]
[64:FF9B::A9FE:A9FE] [fe80::1%25lo] [fe80::1%lo] [FEC0::1] [FD00:EC2::254]
"""
)
REACHED_BEFORE = words(
    """
192.0.0.8 192.0.0.9 192.0.0.10 192.0.0.192 fec0::1 3fff::1 192.88.99.1 192.31.196.1 192.52.193.1
192.175.48.1 168.63.129.16 2620:4f:8000::1 fe80::5efe:a00:1 2606:2800::5efe:10.0.0.1
2606:2800::200:5efe:10.0.0.1 feff:ffff::1
"""
)
PUBLIC = words(
    """
1.1.1.1 8.8.8.8 93.184.215.14 9.255.255.255 11.0.0.0 100.63.255.255 100.128.0.0 126.255.255.255
128.0.0.1 169.253.255.255 169.255.0.0 172.15.255.255 172.32.0.0 192.0.1.0 192.0.3.0 192.167.255.255
192.169.0.0 198.17.255.255 198.20.0.0 223.255.255.255 168.63.129.15 168.63.129.17
2001:200::1 2001:4860:4860::8888 2003::1 2400:cb00::1 2606:2800:21f:cb07:6820:80da:af6b:8b2c
2620:4f:7fff::1 2620:4f:8001::1 2a00:1450::1 3ffe:ffff::1 3fff:1000::1
::ffff:93.184.215.14 64:ff9b::93.184.215.14 2606:2800::5efe:93.184.215.14
"""
)

TRUST = ssl.create_default_context()
_connections: list[object] = []
_watching = threading.Event()


def _note(event: str, arguments: tuple[object, ...]) -> None:
    if event in ("socket.connect", "socket.sendto") and _watching.is_set():
        _connections.append(arguments[1])


sys.addaudithook(_note)  # sees every connection of this process, whoever makes it


@contextmanager
def watched() -> Iterator[list[object]]:
    """Yield the list of connections that are tried meanwhile."""
    _connections.clear()
    _watching.set()
    try:
        yield _connections
    finally:
        _watching.clear()


def bracketed(text: str) -> str:
    return f"[{text}]" if ":" in text else text


def test_the_table_is_as_long_as_it_says() -> None:
    targets = {*V4, *V6, *SPELLINGS}
    assert len(targets) == len(V4) + len(V6) + len(SPELLINGS) >= 183
    assert len(set(REACHED_BEFORE)) == 16
    assert set(REACHED_BEFORE) <= targets


@pytest.mark.parametrize("host", [*map(bracketed, (*V4, *V6)), *SPELLINGS])
def test_no_connection_to_an_address_that_is_written_down(host: str) -> None:
    egress = Egress(allow_http=True)  # even where plain http and any port are allowed
    with watched() as connections:
        for url in (f"https://{host}/", f"http://{host}/", f"http://{host}:8080/a?b"):
            with pytest.raises(EgressRefused):
                egress.check_url(url)
            with pytest.raises(EgressRefused):
                egress.post(url, b"{}", {}, 0.5)
    assert connections == []


@pytest.mark.parametrize("address", [*V4, *V6])
def test_no_connection_to_an_address_that_a_name_resolves_to(address: str) -> None:
    for answers in ([address], ["93.184.215.14", address], [address, "93.184.215.14"]):
        egress = Egress(
            allow_http=True, resolver=lambda host, port, found=answers: found, ssl_context=TRUST
        )
        with watched() as connections:
            for scheme in ("https", "http"):
                with pytest.raises(EgressRefused):
                    egress.post(f"{scheme}://hooks.example.org/", b"{}", {}, 0.5)
        assert connections == []


@pytest.mark.parametrize("text", PUBLIC)
def test_neighbours_of_special_ranges_are_ordinary(text: str) -> None:
    assert is_allowed(ipaddress.ip_address(text), ())


def forms(address: ipaddress.IPv4Address, noise: int) -> list[ipaddress.IPv6Address]:
    """Return the IPv6 addresses that lead to an IPv4 address, by the RFCs' own arithmetic."""
    number, low = int(address), noise & 0xFFFFFFFF
    subnet = 0x2A001450 << 96 | (noise & 0xFFFFFFFF) << 64
    return [
        ipaddress.IPv6Address(value)
        for value in (
            0xFFFF << 32 | number,  # RFC 4291 2.5.5.2
            0x64FF9B << 96 | number,  # RFC 6052 2.1
            0x2002 << 112 | number << 80 | low,  # RFC 3056 2
            0x20010000 << 96 | number << 64 | low,  # RFC 4380 4: server
            0x20010000 << 96 | low << 64 | (number ^ 0xFFFFFFFF),  # RFC 4380 4: client, inverted
            subnet | 0x00005EFE << 32 | number,  # RFC 5214 6.1
            subnet | 0x02005EFE << 32 | number,
        )
    ]


special = st.one_of(
    *(st.ip_addresses(v=4, network=block) for block in ("10.0.0.0/8", "127.0.0.0/8")),
    *(st.ip_addresses(v=4, network=block) for block in ("169.254.0.0/16", "192.168.0.0/16")),
    *(st.ip_addresses(v=4, network=block) for block in ("100.64.0.0/10", "192.0.0.0/24")),
    st.sampled_from([ipaddress.IPv4Address(text) for text in V4]),
)
noises = st.integers(0, 2**64 - 1)


@given(special, noises)
def test_an_embedded_special_address_closes_every_form(
    address: ipaddress.IPv4Address, noise: int
) -> None:
    for form in forms(address, noise):
        assert address in embedded(form)
        assert not is_allowed(form, ())


@given(st.ip_addresses(v=4), noises)
def test_mapped_and_translated_forms_are_judged_like_the_address(
    address: ipaddress.IPv4Address, noise: int
) -> None:
    mapped, translated, *tunnels = forms(address, noise)
    assert is_public(mapped) == is_public(translated) == is_public(address)
    for form in tunnels[:3]:  # 6to4 and Teredo lead to no receiver of today
        assert not is_public(form)


@given(st.ip_addresses(v=6))
def test_only_global_unicast_is_open(address: ipaddress.IPv6Address) -> None:
    if is_public(address):
        top = int(address) >> 125
        translated = int(address) >> 32 in (0xFFFF, 0x64FF9B << 64)
        assert top == 0b001 or translated


@pytest.mark.parametrize("text", ["169.254.169.254", "100.100.100.200", "fd00:ec2::254"])
def test_metadata_stays_closed_within_an_opened_range(text: str) -> None:
    around = {"169.254.169.254": "169.254.0.0/16", "100.100.100.200": "100.64.0.0/10"}
    wide = ipaddress.ip_network(around.get(text, "fc00::/7"))
    address = ipaddress.ip_address(text)
    assert is_allowed(wide[1], (wide,))
    assert not is_allowed(address, (wide,))
    assert is_allowed(address, (ipaddress.ip_network(text),))


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(status: int) -> None:
    """The listener is reached, and seen to be: what counts connections can count."""
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]

    def serve() -> None:
        for _ in range(2):  # a second request would be answered as well
            try:
                connection, _ = server.accept()
            except OSError:
                return
            with connection:
                connection.recv(65536)
                connection.sendall(
                    f"HTTP/1.1 {status} Go\r\nLocation: http://127.0.0.1:{port}/other\r\n"
                    "Content-Length: 0\r\n\r\n".encode()
                )

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    with watched() as connections:
        answer = Egress(["127.0.0.1/32"]).post(f"http://127.0.0.1:{port}/", b"{}", {}, 5)
    server.shutdown(socket.SHUT_RDWR)
    server.close()
    thread.join(5)
    assert answer.status == status
    assert connections == [("127.0.0.1", port)]
