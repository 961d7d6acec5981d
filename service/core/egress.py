"""HTTP to addresses that callers chose: resolve once, judge every answer, connect to that very
address, follow nothing.

Judging a name and letting the client resolve it again would be open to DNS rebinding, so the
judgement sits where the connection is made (OWASP, Server-Side Request Forgery Prevention).
"""

from __future__ import annotations

import ipaddress
import re
import socket
import ssl
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import httpcore

from service.core.special_addresses import Address, Network, is_metadata, is_public, plain, within

Resolver = Callable[[str, int], Sequence[str]]

MAX_REPLY_BYTES = 4096
"""What is read of a receiver's answer, bytes."""
_PRINTABLE_ASCII = re.compile(r"^[!-~]+$")
_HOST = re.compile(
    r"^(?=.{1,253}$)[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?(\.[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?)*\.?$"
)


class EgressRefused(ValueError):
    """The target is not one we may send to."""


class SendFailed(Exception):
    """The target could not be reached or did not answer in time."""


def system_resolver(host: str, port: int) -> list[str]:
    """Return every address the system knows for a host."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


@dataclass(frozen=True, slots=True)
class Answer:
    """What a receiver answered: status, header fields (names in lower case), start of its body."""

    status: int
    headers: Mapping[str, str]
    body: bytes


def is_allowed(address: Address, private_networks: Iterable[Network]) -> bool:
    """Judge one address: public, or in a range the operator opened.

    Metadata of a cloud stays closed within an opened range; it must be opened by itself.
    """
    direct = plain(address)
    for network in private_networks:
        if within(direct, network) and (network.num_addresses == 1 or not is_metadata(direct)):
            return True
    return is_public(address)


class Egress:
    """Sends POST requests to judged targets.

    Parameters
    ----------
    private_networks : iterable of str
        Ranges that are allowed although they are not public. Empty by default.
    allow_http : bool
        Whether ``http:`` is allowed; also implied for targets written as an address of a private
        network that was opened.
    """

    def __init__(
        self,
        private_networks: Iterable[str] = (),
        *,
        allow_http: bool = False,
        resolver: Resolver = system_resolver,
        ssl_context: ssl.SSLContext | None = None,
    ) -> None:
        self._networks = tuple(ipaddress.ip_network(text) for text in private_networks)
        self._allow_http = allow_http
        self._resolver = resolver
        self._ssl = ssl_context

    def check_url(self, url: str) -> None:
        """Raise :class:`EgressRefused` when the URL cannot be a target whatever it resolves to."""
        if not _PRINTABLE_ASCII.match(url):
            raise EgressRefused("write it in ASCII: host names in Punycode, the rest in % codes")
        try:
            parts = urlsplit(url)
            port = parts.port
        except ValueError as error:
            raise EgressRefused("the address cannot be read") from error
        if parts.scheme not in ("https", "http"):
            raise EgressRefused("only https addresses are allowed")
        if not parts.hostname:
            raise EgressRefused("the address names no host")
        if ":" not in parts.hostname and not _HOST.match(parts.hostname):
            raise EgressRefused("the host name is not a valid one")
        if parts.username is not None or parts.password is not None:
            raise EgressRefused("the address must not hold a user name or password")
        literal = _literal(parts.hostname)
        if literal is not None and not is_allowed(literal, self._networks):
            raise EgressRefused("the address is not a public one")
        opened = literal is not None and any(
            within(plain(literal), network) for network in self._networks
        )
        if parts.scheme == "http" and not (self._allow_http or opened):
            raise EgressRefused("only https addresses are allowed")
        if port not in (None, 443, 80) and not (self._allow_http or self._networks):
            raise EgressRefused("only port 443 is allowed")
        if port == 80 and parts.scheme == "https":
            raise EgressRefused("port 80 does not speak https")

    def post(self, url: str, body: bytes, headers: Mapping[str, str], timeout_s: float) -> Answer:
        """POST a body and return the answer; redirects are answers like any other.

        Raises
        ------
        EgressRefused
            The target is not allowed.
        SendFailed
            No answer within ``timeout_s`` seconds in all, or no connection.
        """
        self.check_url(url)
        if self._ssl is None:  # reading the certificates takes a while: not before they are needed
            self._ssl = httpcore.default_ssl_context()
        deadline = time.monotonic() + timeout_s
        backend = _JudgingBackend(self._resolver, self._networks, deadline)
        limits = dict.fromkeys(("connect", "read", "write", "pool"), timeout_s)
        try:
            with (
                httpcore.ConnectionPool(
                    ssl_context=self._ssl, network_backend=backend, max_connections=1, retries=0
                ) as pool,
                pool.stream(
                    "POST",
                    url,
                    headers=[("host", _host_header(url)), *headers.items()],
                    content=body,
                    extensions={"timeout": limits},
                ) as reply,
            ):
                said = b""
                for piece in reply.iter_stream():
                    said += piece[: MAX_REPLY_BYTES - len(said)]
                    if len(said) >= MAX_REPLY_BYTES:
                        break
                fields = {
                    k.decode("latin-1").lower(): v.decode("latin-1") for k, v in reply.headers
                }
                return Answer(int(reply.status), fields, said)
        except EgressRefused:
            raise
        except (httpcore.TimeoutException, TimeoutError) as error:
            raise SendFailed(f"no answer within {timeout_s:g} s") from error
        except (
            httpcore.NetworkError,
            httpcore.ProtocolError,
            httpcore.UnsupportedProtocol,
            OSError,
        ) as error:
            raise SendFailed(f"connection failed: {type(error).__name__}") from error


def _literal(host: str) -> Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        pass
    try:  # decimal, octal and hexadecimal forms that the C library would accept
        return ipaddress.IPv4Address(socket.inet_aton(host))
    except OSError:
        return None


def _host_header(url: str) -> str:
    return urlsplit(url).netloc


class _JudgingBackend(httpcore.NetworkBackend):
    """Resolves, judges all answers, connects to the first of them."""

    def __init__(self, resolver: Resolver, networks: tuple[Network, ...], deadline: float) -> None:
        self._resolver = resolver
        self._networks = networks
        self._deadline = deadline
        self._inner = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str | bytes,  # httpcore may pass either
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        name = host.decode() if isinstance(host, bytes) else host
        try:
            texts = self._resolver(name, port)
        except OSError as error:
            raise httpcore.ConnectError("name not resolved") from error
        addresses = [ipaddress.ip_address(text.split("%")[0]) for text in texts]
        if not addresses:
            raise httpcore.ConnectError("name not resolved")
        for address in addresses:
            if not is_allowed(address, self._networks):
                raise EgressRefused("the name resolves to an address that is not public")
        failure: Exception | None = None
        for address in addresses:
            try:
                stream = self._inner.connect_tcp(
                    str(address), port, timeout=_left(self._deadline), local_address=local_address
                )
                return _DeadlineStream(stream, self._deadline)
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                failure = error
        assert failure is not None
        raise failure

    def connect_unix_socket(self, *args: Any, **kwargs: Any) -> httpcore.NetworkStream:
        raise EgressRefused("sockets are not a target")

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


class _DeadlineStream(httpcore.NetworkStream):
    """Bounds the whole exchange, so that a reply of one byte a second cannot hold a sender."""

    def __init__(self, inner: httpcore.NetworkStream, deadline: float) -> None:
        self._inner = inner
        self._deadline = deadline

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._inner.read(max_bytes, _left(self._deadline))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._inner.write(buffer, _left(self._deadline))

    def close(self) -> None:
        self._inner.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        stream = self._inner.start_tls(ssl_context, server_hostname, _left(self._deadline))
        return _DeadlineStream(stream, self._deadline)

    def get_extra_info(self, info: str) -> Any:
        return self._inner.get_extra_info(info)


def _left(deadline: float) -> float:
    left = deadline - time.monotonic()
    if left <= 0:
        raise TimeoutError
    return left
