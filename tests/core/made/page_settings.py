"""The settings that a page shows, read for tests."""

from __future__ import annotations

from html.parser import HTMLParser


class ShownSettings(HTMLParser):
    """Gathers names and values of all settings, under the heading of their part."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[tuple[str, str, str]] = []
        self._depth = 0
        self._part, self._name, self._text = "", "", ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "div" and (self._depth or dict(attrs).get("class") == "settings"):
            self._depth += 1
        if tag == "section":
            self._part = ""
        self._text = ""

    def handle_endtag(self, tag: str) -> None:
        if self._depth and tag == "h3":
            self._part = self._text
        if self._depth and tag == "dt":
            self._name = self._text
        if self._depth and tag == "dd":
            self.rows.append((self._part, self._name, self._text))
        if self._depth and tag == "div":
            self._depth -= 1

    def handle_data(self, data: str) -> None:
        self._text += data

    def value(self, part: str, name: str) -> str:
        """Return the one value of that name."""
        (found,) = [value for there, what, value in self.rows if (there, what) == (part, name)]
        return found
