"""Rule files made to cost much: none holds up those who write, none grows beyond its text.

Expansion by nested aliases is known as "billion laughs" (first described for XML entities, 2003;
for YAML in its specification 1.2.2, chapter 10, as a matter of loaders).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import pytest

from models.practice import rules as reader
from models.practice.bounded_yaml import Bounds, load_bounded
from service.core.wiring import Wiring
from tests.integration.api.conftest import assert_problem
from tests.integration.api.test_practice_rules import OWN, send

FINDING = (
    "  - {{id: own{0}, metric: front_knee_flexion, event: trophy, is: '<=', value: 90, unit: deg, "
    "scale: 5, text: {1}, source: our own rule, drills: [{2}]}}\n"
)
HEAD = "name: Club rules\nfindings:\n"
KB = 1000


def laughs(levels: int, width: int = 10) -> str:
    lines = ["a0: &a0 [ha, ha]"]
    for level in range(1, levels):
        inner = ", ".join([f"*a{level - 1}"] * width)
        lines.append(f"a{level}: &a{level} [{inner}]")
    return "\n".join(lines) + "\n" + OWN


def aliased_text(times: int, length: int) -> str:
    first = FINDING.format(0, "&t " + "x" * length, "hold_loaded")
    return HEAD + first + "".join(FINDING.format(n, "*t", "hold_loaded") for n in range(1, times))


REFUSED: dict[str, str] = {
    # the four that once silenced a service: 240 kB of findings, of lists, of aliases, of depth
    "240 kB of findings": HEAD
    + "".join(FINDING.format(n, "bend", "hold_loaded") for n in range(1500)),
    "240 kB of small lists": OWN + "x: [" + "[],[1],{}," * 24_000 + "1]",
    "116 kB that aliases make 400 MB": aliased_text(1000, 60 * KB),
    "240 kB of brackets": OWN + "x: " + "[" * 120_000 + "]" * 120_000,
    # and more
    "billion laughs": laughs(10),
    "laughs of many levels": laughs(90, 2),
    "many aliases of one word": OWN + "y: &y word\nx: [" + "*y, " * 5000 + "*y]",
    "an alias of a long text": aliased_text(90, 1900),
    "a merge of merges": "a: &a {k: v}\n"
    + "".join(f"m{n}: &m{n} {{<<: [*a, *a, *a, *a, *a]}}\n" for n in range(60))
    + OWN,
    "a mapping as key": OWN + "? {a: b}\n: c\n",
    "one long text": OWN.replace("Bend more.", "x" * 5000),
    "one long key": OWN + "x" * 3000 + ": 1\n",
    "many keys": OWN + "".join(f"k{n}: 1\n" for n in range(6000)),
    "many empty documents": "---\n" * 15_000 + OWN,
    "deep block lists": OWN + "x:\n" + "".join("  " * n + "-\n" for n in range(1, 60)),
    "deep flow mappings": OWN + "x: " + "{a: " * 40 + "1" + "}" * 40,
    "an anchor that contains itself": "a: &a [*a, *a]\n" + OWN,
    "a number of many digits": OWN.replace("value: 90", "value: " + "9" * 1900),
    "many wrong entries": HEAD + "".join(f"  - {{id: a{n}}}\n" for n in range(1200)),
    "an unknown tag": OWN + "x: !!python/object/apply:os.system [true]\n",
    "a binary value": OWN + "x: !!binary " + "A" * 1996 + "\n",
    "unknown keys": OWN + "".join(f"k{n}: 1\n" for n in range(500)),
    "tabs for indentation": OWN + "\tx: 1\n",
    "a finding of thousands of drills": HEAD
    + FINDING.format(0, "bend", ", ".join(["hold_loaded"] * 4990)),
}


def refuse(client: httpx.Client, text: str) -> dict[str, Any]:
    reply = send(client, text)
    if len(text) > 256 * 1024:
        return assert_problem(reply, 413, "payload_too_large")
    return assert_problem(reply, 422, "invalid_request")


@pytest.mark.parametrize("name", REFUSED)
def test_a_file_that_would_cost_much_is_refused_without_holding_the_database(
    client: httpx.Client, wired: Wiring, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    writing = watch_transactions(wired, monkeypatch)
    inside: list[bool] = []
    read = reader.load_bounded

    def watched(text: str, bounds: Bounds) -> Any:
        inside.append(bool(writing))
        return read(text, bounds)

    monkeypatch.setattr(reader, "load_bounded", watched)
    problem = refuse(client, REFUSED[name])
    assert len(problem["detail"]) < 20_000
    assert not any(inside), "read before the transaction, if at all"
    assert client.get("/v1/practice-rules").json()["items"] == []


def watch_transactions(wired: Wiring, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that holds something while a transaction that writes is open."""
    writing: list[int] = []
    write: Callable[..., Any] = wired.database.write

    @contextmanager
    def watched(*arguments: Any) -> Iterator[Any]:
        with write(*arguments) as session:
            writing.append(1)
            try:
                yield session
            finally:
                writing.pop()

    monkeypatch.setattr(wired.database, "write", watched)
    return writing


def test_a_file_near_the_limits_is_taken(client: httpx.Client) -> None:
    text = HEAD + "".join(FINDING.format(n, f"&t{n} bend", "hold_loaded") for n in range(150))
    assert send(client, text).status_code == 201


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("x" * 101, "characters of the file"),
        ("[1, 2, 3, 4, 5, 6, 7, 8, 9, 10]", "entries"),
        ("[[[[1]]]]", "within each other"),
        ("[&a 1, *a, *a, *a]", "aliases"),
        ("[" + "y" * 31 + "]", "one text"),
        ("[" + "y" * 25 + ", " + "z" * 25 + "]", "all texts"),
    ],
)
def test_each_limit_is_named(text: str, what: str) -> None:
    bounds = Bounds(characters=100, nodes=10, depth=3, aliases=2, scalar=30, expanded=45)
    with pytest.raises(reader.InvalidRequest) as caught:
        load_bounded(text, bounds)
    assert what in str(caught.value)


def test_aliases_count_with_all_they_stand_for() -> None:
    bounds = Bounds(characters=1000, nodes=20, depth=5, aliases=50, scalar=50, expanded=1000)
    assert load_bounded("{a: &a [1, 2, 3], b: *a, c: *a}", bounds)["c"] == [1, 2, 3]
    with pytest.raises(reader.InvalidRequest):
        load_bounded("{a: &a [1, 2, 3], b: &b [*a, *a], c: [*b, *b]}", bounds)
