"""The words a business has for soils and for old fences: those its price rules have a rate for. Letter case does not matter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fencing.model.faults import Fault
from fencing.model.measure import Measure, Run

HAZARDOUS = "hazardous"
"""The choice of a removal rate that marks a kind of old fence only a licensed contractor may take down."""
SPOIL = "spoil"
_WORDED = frozenset({"labour", "disposal", "factor"})


def plain_word(text: str) -> str:
    """Return a word as words are compared: small letters, single spaces.

    >>> plain_word("  Timber  Paling ")
    'timber paling'
    """
    return " ".join(text.split()).casefold()


def rule_key(kind: str, key: str) -> str:
    """Return the key of a price rule as it is stored: keys that hold words of people are in small letters.

    >>> rule_key("labour", "dig.Clay"), rule_key("tax", "GST")
    ('dig.clay', 'GST')
    """
    return plain_word(key) if kind in _WORDED else key


@dataclass(frozen=True, slots=True)
class SiteWords:
    """Soils and kinds of old fences that a measure may name. ``hazardous`` are among the ``old_fences``."""

    soils: tuple[str, ...] = ()
    old_fences: tuple[str, ...] = ()
    hazardous: frozenset[str] = frozenset()

    def faults(self, document: Mapping[str, Any]) -> Iterator[Fault]:
        """Yield a fault for each soil and each kind of old fence in a measure document that the price rules do not know."""
        soil = _text(document.get("defaults"), "soil")
        if soil is not None:
            yield from self._soil(soil, "/defaults/soil")
        for index, run in enumerate(_runs(document)):
            soil = _text(run, "soil")
            if soil is not None:
                yield from self._soil(soil, f"/runs/{index}/soil")
            kind = _text(run.get("existing_fence") if isinstance(run, Mapping) else None, "kind")
            if kind is not None and plain_word(kind) not in self.old_fences:
                add = "add a rate such as remove.brick to the price rules"
                text = _unknown("kind of old fence", kind, self.old_fences, add)
                yield Fault(f"/runs/{index}/existing_fence/kind", "existing_fence.unknown", text)

    def _soil(self, soil: str, pointer: str) -> Iterator[Fault]:
        if plain_word(soil) not in self.soils:
            text = _unknown("soil", soil, self.soils, "add a rate such as dig.clay to the price rules")
            yield Fault(pointer, "soil.unknown", text)


NO_WORDS = SiteWords()


def names_words(document: object) -> bool:
    """Return whether a measure document names a soil or an old fence anywhere."""
    holders = [document.get("defaults"), *_runs(document)] if isinstance(document, Mapping) else []
    return any(isinstance(holder, Mapping) and ("soil" in holder or "existing_fence" in holder) for holder in holders)


def normalize_words(measure: Measure) -> Measure:
    """Return the measure with its words spelled as the price rules spell them."""
    return replace(measure, runs=tuple(_normalize_run(run) for run in measure.runs))


def site_words(labour: Iterable[str], disposal: Iterable[str], hazardous: frozenset[str]) -> SiteWords:
    """Return the words that the keys of labour rates and tipping charges hold.

    >>> site_words(["dig", "dig.clay", "remove.brick"], ["spoil", "hedge"], frozenset({"asbestos"})).old_fences
    ('asbestos', 'brick', 'hedge')
    """
    keys = [key.partition(".") for key in labour]
    soils = {word for activity, _, word in keys if activity == "dig" and word}
    kinds = {word for activity, _, word in keys if activity == "remove" and word}
    return SiteWords(tuple(sorted(soils)), tuple(sorted(kinds | hazardous | (set(disposal) - {SPOIL}))), hazardous)


def hazardous_kinds(choices: Mapping[str, str]) -> frozenset[str]:
    """Return the kinds of old fence that the choices of labour rates mark.

    >>> hazardous_kinds({"remove.asbestos": "hazardous", "dig.clay": "700"})
    frozenset({'asbestos'})
    """
    marked = (key.partition(".") for key, choice in choices.items() if choice == HAZARDOUS)
    return frozenset(kind for activity, _, kind in marked if activity == "remove")


def _normalize_run(run: Run) -> Run:
    old = run.existing_fence and replace(run.existing_fence, kind=plain_word(run.existing_fence.kind))
    return replace(run, soil=None if run.soil is None else plain_word(run.soil), existing_fence=old)


def _runs(document: Mapping[str, Any]) -> Sequence[object]:
    runs = document.get("runs")
    return runs if isinstance(runs, list) else ()


def _text(holder: object, name: str) -> str | None:
    """Return a text of an object of the document; None for a blank one and for anything else, which its reader refuses."""
    value = holder.get(name) if isinstance(holder, Mapping) else None
    return value if isinstance(value, str) and value.strip() else None


def _unknown(what: str, word: str, known: Sequence[str], add: str) -> str:
    if not known:
        return f"the price rules know no {what}, so {word!r} has no price; leave it out, or {add}"
    return f"the price rules know no {what} {word!r}; write one of: {', '.join(known)}; or {add}"
