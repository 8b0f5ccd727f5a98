"""Pages of HTML, read for tests."""

from __future__ import annotations

from html.parser import HTMLParser


class Page(HTMLParser):
    """Gathers a page's words, ids, links and resources; notes what is left open."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.ids: list[str] = []
        self.resources: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []
        self.unlabelled: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.ids += [given["id"] or ""] if "id" in given else []
        self.links += [given["href"] or ""] if tag == "a" else []
        self.resources += [given[name] or "" for name in ("src", "data", "srcset") if name in given]
        if tag == "link":
            self.resources.append(given.get("href") or "")
        if tag == "img" and not given.get("alt"):
            self.unlabelled.append(str(given.get("src"))[:40])
        if tag in {"section", "table", "details", "ul", "svg", "figure", "div"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in {"section", "table", "details", "ul", "svg", "figure", "div"}:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())
