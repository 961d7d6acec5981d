"""What a page holds, read with the standard library's parser."""

from __future__ import annotations

import re
from html.parser import HTMLParser

VOID = {"meta", "link", "img", "br", "hr", "line", "rect", "path", "circle"}


class Outline(HTMLParser):
    """Collects what the tests ask about, and fails on tags that do not close."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)
        assert self.stack == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        if "style" not in self.stack:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"[ \n\t]+", " ", " ".join(self.words))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]
