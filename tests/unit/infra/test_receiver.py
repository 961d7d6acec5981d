from __future__ import annotations

import base64
import hashlib
import hmac
import importlib.util
import json
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import httpx
import pytest

FILE = Path(__file__).resolve().parents[3] / "infra" / "examples" / "receiver.py"
KEY = bytes(range(32))
SECRET = "whsec_" + base64.b64encode(KEY).decode()
BODY = json.dumps({"id": "evt_1", "type": "analysis.completed"}).encode()


@pytest.fixture(scope="module")
def receiver() -> ModuleType:
    spec = importlib.util.spec_from_file_location("example_receiver", FILE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def signed(body: bytes, *, key: bytes = KEY, at: float | None = None) -> dict[str, str]:
    """Sign by hand, by the text of Standard Webhooks 1.0: HMAC-SHA256 of id.timestamp.body."""
    stamp = str(int(time.time() if at is None else at))
    digest = hmac.new(key, b"msg_1." + stamp.encode() + b"." + body, hashlib.sha256).digest()
    return {
        "Webhook-Id": "msg_1",
        "Webhook-Timestamp": stamp,
        "Webhook-Signature": "v1," + base64.b64encode(digest).decode(),
    }


def test_good_signature_is_accepted(receiver: ModuleType) -> None:
    assert receiver.accept(SECRET, signed(BODY), BODY)["id"] == "evt_1"


@pytest.mark.parametrize(
    ("headers", "body"),
    [
        ({}, BODY),
        (signed(BODY, key=b"x" * 32), BODY),
        (signed(BODY), BODY + b" "),
        (signed(BODY, at=time.time() - 3600), BODY),
        (signed(BODY) | {"Webhook-Timestamp": "soon"}, BODY),
        (signed(BODY) | {"Webhook-Signature": "nonsense"}, BODY),
        (signed(BODY) | {"Webhook-Signature": "v1,%%%"}, BODY),
        (signed(b"\xff\xfe"), b"\xff\xfe"),
        (signed(b"not json"), b"not json"),
        (signed(b"[1]"), b"[1]"),
    ],
)
def test_everything_else_is_rejected_and_nothing_else_is_raised(
    receiver: ModuleType, headers: dict[str, str], body: bytes
) -> None:
    with pytest.raises(receiver.Rejected):
        receiver.accept(SECRET, headers, body)


@pytest.fixture
def address(receiver: ModuleType) -> Iterator[str]:
    server = receiver.Receiver(0, SECRET)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()
    thread.join()


def test_repeated_delivery_is_printed_once(
    address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with httpx.Client(trust_env=False) as client:
        answers = [client.post(address, content=BODY, headers=signed(BODY)) for _ in range(3)]
        forged = client.post(address, content=BODY, headers=signed(BODY, key=b"y" * 32))
        garbage = client.post(address, content=b"\xff", headers={"webhook-id": "1"})
        huge = client.post(address, content=b"0" * 70_000, headers=signed(BODY))
    assert [a.status_code for a in answers] == [204] * 3
    assert forged.status_code == garbage.status_code == 401
    assert huge.status_code == 413
    printed = capsys.readouterr().out.splitlines()
    assert [json.loads(line)["id"] for line in printed] == ["evt_1"]
