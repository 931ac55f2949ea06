"""Reads a page as a browser would: its text, and its elements with their attributes."""

from html.parser import HTMLParser


class Page(HTMLParser):
    """``text`` in one line; ``elements`` as pairs of tag and attributes, in order."""

    def __init__(self, response):
        super().__init__()
        self.elements, self._words = [], []
        self.feed(response.content.decode())
        self.text = " ".join(" ".join(self._words).split())

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data):
        self._words.append(data)

    def all(self, tag, **attributes):
        """Attributes of every element of this tag that has these."""
        return [
            found
            for name, found in self.elements
            if name == tag and attributes.items() <= found.items()
        ]

    def links(self):
        return [found["href"] for found in self.all("a") if "href" in found]
