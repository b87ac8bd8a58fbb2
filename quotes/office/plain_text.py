"""A fence in words for people: the take-off's summary without the codes of the document."""

from __future__ import annotations

from fencing.documents.explain import summary
from fencing.model.measure import Layout
from fencing.quantities.take_off import TakeOff
from quotes.documents.number_format import worded


def in_words(taken: TakeOff) -> str:
    """Describe a take-off, with the labels of the page and figures by its locale."""
    return without_codes(worded(summary(taken)))


def without_codes(text: str) -> str:
    """Layouts as the sheet calls them; a code of one word is a word.

    >>> without_codes("Run A: 18240 mm, stepped, from_start, 10 posts"), without_codes("level, even")
    ('Run A: 18240 mm, stepped, full bays from the start, 10 posts', 'level, even')
    """
    for layout in Layout:
        text = text.replace(layout.value, layout.label) if "_" in layout.value else text
    return text
