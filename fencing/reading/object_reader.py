"""Reader for one object of a document: reads each member and adds every fault to a list.

A method that finds a fault adds it to the list and returns a *stand-in* of the right type, so that reading continues and
finds the other faults. No stand-in leaves this package, because the faults are raised at the end. Checks that need several
members call :meth:`ObjectReader.good` first, so that one fault is not reported twice.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from typing import TypeVar

from fencing.model.faults import FaultList, extend_pointer, find_nearest, join_words, show_value

LONGEST = 20_000_000
"""20 km: no run, piece or level of a fence job is longer [mm]."""

DECIMAL_TEXT = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,9})?")
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,31}")

T = TypeVar("T")


class ObjectReader:
    """An object at a pointer, with the keys it may have."""

    __slots__ = ("_bad", "_members", "at", "faults", "whole_lost")

    def __init__(self, value: object, at: str, faults: FaultList, keys: Collection[str]) -> None:
        self.at = at
        self.faults = faults
        self._bad: set[str] = set()
        self.whole_lost = not isinstance(value, Mapping)
        self._members: Mapping[str, object] = value if isinstance(value, Mapping) else {}
        if self.whole_lost:
            faults.add(
                at, "type", f"{show_value(value)} is not an object; write {{…}} with the keys {join_words(keys, 'and')}"
            )
        for key in self._members:
            if key not in keys:
                self._unknown(key, keys)

    def _unknown(self, key: str, keys: Collection[str]) -> None:
        like = None if self.faults.full else find_nearest(key, keys)
        hint = f"did you mean {like}?" if like else f"known are {join_words(keys, 'and')}"
        self.faults.add(self.pointer(key), "key.unknown", f"there is no key {show_value(key)} here; {hint}")

    def __contains__(self, key: str) -> bool:
        return key in self._members

    def pointer(self, key: str) -> str:
        """Return the JSON Pointer of a member [RFC 6901].

        >>> ObjectReader({}, "/runs/0", FaultList(), ("id",)).pointer("id")
        '/runs/0/id'
        """
        return extend_pointer(self.at, key)

    def fault(self, key: str, code: str, text: str) -> None:
        """Add a fault of one member [key, code, sentence].

        >>> table = ObjectReader({"id": "A"}, "/runs/0", FaultList(), ("id",))
        >>> table.fault("id", "name", "write another")
        >>> table.faults.found[0].pointer
        '/runs/0/id'
        """
        self._bad.add(key)
        self.faults.add(self.pointer(key), code, text)

    def good(self, *keys: str) -> bool:
        """Return whether these members [keys] have no faults, so that they can be compared.

        >>> table = ObjectReader({"id": 7}, "/runs/0", FaultList(), ("id",))
        >>> _ = table.name("id")
        >>> table.good("id"), table.good("length_mm")
        (False, True)
        """
        return not self.whole_lost and self._bad.isdisjoint(keys)

    def raw(self, key: str, hint: str = "") -> object:
        """Return the member unchanged [any value]; a missing member is a fault and gives None.

        >>> table = ObjectReader({"id": "A"}, "", FaultList(), ("id", "label"))
        >>> table.raw("id"), table.raw("label"), table.faults.found[0].code
        ('A', None, 'missing')
        """
        if key not in self._members:
            self._bad.add(key)
            if not self.whole_lost:
                self.faults.add(self.pointer(key), "missing", f"{key} is missing{hint}")
            return None
        return self._members[key]

    def _choose(self, key: str, default: T | None, hint: str = "") -> tuple[bool, T | None]:
        """Return (true, default) if the member is left out; a missing member without a default is a fault."""
        if key in self._members:
            return False, None
        if default is not None:
            return True, default
        self.raw(key, hint)
        return True, None

    def whole(
        self, key: str, minimum: int, maximum: int, default: int | None = None, unit: str = "mm", plausible: int = 0
    ) -> int:
        """Read a whole number from ``minimum`` to ``maximum``. The fault for a wrong unit suggests cm or m.

        Args:
            key: key of the member.
            minimum, maximum: accepted range [``unit``].
            default: value if the member is left out; None if the member is required.
            unit: unit of the number, for sentences [mm].
            plausible: a length below this is probably in another unit.

        Returns:
            The number, or a stand-in if it has a fault.

        Source: house rule.

        Example:
            >>> table = ObjectReader({"height_mm": 180}, "/runs/0", FaultList(), ("height_mm",))
            >>> _ = table.whole("height_mm", 1, 6000, plausible=250)
            >>> table.faults.found[0].text
            '180 mm is too small to be meant; is it in cm? 180 cm is 1800 mm'
        """
        settled, stand_in = self._choose(key, default)
        if settled:
            return minimum if stand_in is None else stand_in
        value = self._members[key]
        if isinstance(value, bool) or not isinstance(value, int):
            text = f"{_describe_value(value)}; write {_describe_range(unit, minimum, maximum)}"
            self.fault(key, "type", text + (_suggest_unit(value, minimum, maximum) if unit == "mm" else ""))
            return minimum
        hint = _suggest_unit(value, max(minimum, plausible), maximum) if unit == "mm" else ""
        if not minimum <= value <= maximum:
            text = f"{show_value(value)} is out of range; write {_describe_range(unit, minimum, maximum)}"
            self.fault(key, "range", text + hint)
            return minimum
        if value < plausible and hint:
            self.fault(key, "unit", f"{value} mm is too small to be meant{hint}")
            return plausible
        return value

    def whole_again(self, key: str) -> int | None:
        """Return a whole number [mm] that was read before, or None if it is missing or has a fault.

        >>> ObjectReader({"pitch_mm": 2400}, "", FaultList(), ("pitch_mm",)).whole_again("pitch_mm")
        2400
        """
        value = self._members.get(key)
        return value if isinstance(value, int) and self.good(key) else None

    def decimal(self, key: str, minimum: int, maximum: int, default: Decimal | None = None, unit: str = "") -> Decimal:
        """Read a number or a decimal text from ``minimum`` to ``maximum`` [``unit``]; give a stand-in if it has a fault.

        >>> ObjectReader({"turn_deg": "12.5"}, "", FaultList(), ("turn_deg",)).decimal("turn_deg", -360, 360, unit="degrees")
        Decimal('12.5')
        """
        settled, stand_in = self._choose(key, default)
        if settled:
            return Decimal(minimum) if stand_in is None else stand_in
        number = convert_decimal(self._members[key])
        if number is None or not minimum <= number <= maximum:
            code = "type" if number is None else "range"
            text = f'write a number{_name_unit(unit)} from {minimum} to {maximum}, as 12.5 or "12.5"'
            self.fault(key, code, f"{_describe_value(self._members[key])}; {text}")
            return Decimal(minimum)
        return number

    def text(self, key: str, longest: int) -> str:
        """Read a text of 1 to ``longest`` [characters].

        >>> ObjectReader({"label": "Rear"}, "", FaultList(), ("label",)).text("label", 200)
        'Rear'
        """
        value = self.raw(key)
        if key not in self:
            return ""
        if not isinstance(value, str):
            self.fault(key, "type", f"{_describe_value(value)}; write a text of 1 to {longest} characters")
            return ""
        if not value.strip() or len(value) > longest:
            self.fault(key, "range", f"{len(value)} characters; write a text of 1 to {longest} visible characters")
        return value

    def name(self, key: str, default: str | None = None) -> str:
        """Read an id or a code [1 to 32 characters] that is safe to print, sort and use in a file name.

        >>> table = ObjectReader({"id": "run 1"}, "", FaultList(), ("id",))
        >>> table.name("id"), table.faults.found[0].code
        ('', 'name')
        """
        settled, stand_in = self._choose(key, default)
        if settled:
            return stand_in or ""
        value = self._members[key]
        if not isinstance(value, str) or not NAME.fullmatch(value):
            text = "write 1 to 32 letters a-z, digits, '-', '_' or '.', a letter or digit first"
            self.fault(key, "name", f"{show_value(value)} can't be a name; {text}")
            return ""
        return value

    def word(self, key: str, words: Collection[str], default: str | None = None) -> str:
        """Read one of the words [case matters]; the first word is the stand-in.

        >>> table = ObjectReader({"form": "steped"}, "", FaultList(), ("form",))
        >>> table.word("form", ("level", "stepped")), "did you mean stepped?" in table.faults.found[0].text
        ('level', True)
        """
        settled, stand_in = self._choose(key, default, f"; write {join_words(words)}")
        if settled:
            return stand_in or next(iter(words))
        value = self._members[key]
        if isinstance(value, str) and value in words:
            return value
        like = find_nearest(value, words) if isinstance(value, str) and not self.faults.full else None
        hint = f"did you mean {like}? " if like else ""
        self.fault(key, "word", f"{show_value(value)} is not known here; {hint}write {join_words(words)}")
        return next(iter(words))

    def flag(self, key: str) -> bool:
        """Read true or false.

        >>> ObjectReader({"raked": True}, "", FaultList(), ("raked",)).flag("raked")
        True
        """
        value = self.raw(key)
        if key in self and not isinstance(value, bool):
            self.fault(key, "type", f"{_describe_value(value)}; write true or false")
        return value is True

    def table(self, key: str, keys: Collection[str]) -> ObjectReader:
        """Read a member that is an object with these keys. If it is optional, check ``key in table`` first.

        >>> ObjectReader({"hole": {"depth_mm": 650}}, "", FaultList(), ("hole",)).table("hole", ("depth_mm",)).at
        '/hole'
        """
        if key not in self._members:
            self.raw(key)
            lost = ObjectReader({}, self.pointer(key), FaultList(), keys)
            lost.whole_lost = True
            return lost
        table = ObjectReader(self._members[key], self.pointer(key), self.faults, keys)
        if table.whole_lost:
            self._bad.add(key)
        return table

    def mapping(self, key: str) -> Mapping[str, object]:
        """Read an object with any keys; it is empty if the member is left out.

        >>> ObjectReader({}, "", FaultList(), ("shares",)).mapping("shares")
        {}
        """
        value = self._members.get(key, {})
        if isinstance(value, Mapping):
            return value
        self.fault(key, "type", f"{_describe_value(value)}; write an object {{…}}")
        return {}

    def items(self, key: str, maximum: int, minimum: int = 0) -> Iterator[tuple[str, object]]:
        """Yield the items of a list [``minimum`` to ``maximum``] with their pointers; nothing if an optional list is left out.

        >>> list(ObjectReader({"runs": ["a"]}, "", FaultList(), ("runs",)).items("runs", 1000))
        [('/runs/0', 'a')]
        """
        if key not in self._members:
            if minimum:
                self.raw(key)
            return
        value = self._members[key]
        if not isinstance(value, list):
            self.fault(key, "type", f"{_describe_value(value)}; write a list […] of {minimum} to {maximum}")
            return
        if not minimum <= len(value) <= maximum:
            self.fault(key, "range", f"{len(value)} in the list; it may have {minimum} to {maximum}")
        for index, item in enumerate(value[:maximum]):
            yield f"{self.pointer(key)}/{index}", item

    def wholes(
        self, key: str, max_items: int, minimum: int, maximum: int, min_items: int = 0, plausible: int = 0
    ) -> tuple[int, ...]:
        """Read a list of whole numbers [mm], each from ``minimum`` to ``maximum``; ``plausible`` as in :meth:`whole`.

        >>> ObjectReader({"bays_mm": [2400, 2350]}, "", FaultList(), ("bays_mm",)).wholes("bays_mm", 1000, 1, 30000)
        (2400, 2350)
        """
        numbers: list[int] = []
        for pointer, item in self.items(key, max_items, min_items):
            hint = _suggest_unit(item, max(minimum, plausible), maximum)
            fits = isinstance(item, int) and not isinstance(item, bool) and minimum <= item <= maximum
            if isinstance(item, int) and fits and (item >= plausible or not hint):
                numbers.append(item)
                continue
            self._bad.add(key)
            text = f"write a whole number of mm from {minimum} to {maximum}"
            self.faults.add(pointer, "unit" if fits else "range", f"{_describe_value(item)}; {text}{hint}")
        return tuple(numbers)


def convert_decimal(value: object) -> Decimal | None:
    """Convert a JSON number or a decimal text [9 digits each side]; return None for other values.

    >>> convert_decimal("12.50"), convert_decimal(12), convert_decimal("twelve")
    (Decimal('12.50'), Decimal('12'), None)
    """
    if isinstance(value, bool):
        return None
    if isinstance(value, int | Decimal):
        return Decimal(value)
    return Decimal(value) if isinstance(value, str) and DECIMAL_TEXT.fullmatch(value) else None


def _suggest_unit(value: object, minimum: int, maximum: int) -> str:
    """Return a hint if a length may be in metres or centimetres: if that would be a whole number of mm in range.

    >>> _suggest_unit(Decimal("18.24"), 1, 20_000), _suggest_unit(180, 250, 6000), _suggest_unit("wide", 1, 10)
    ('; is it in m? 18.24 m is 18240 mm', '; is it in cm? 180 cm is 1800 mm', '')
    >>> _suggest_unit("18240", 1, 20_000_000)  # correct mm, only with quotes: no fence is 18 km long
    ''
    """
    number = convert_decimal(value)
    for unit, size in (("m", 1000), ("cm", 10)) if number is not None and 0 < number < min(maximum, 1000) else ():
        meant = number * size if number is not None else Decimal(0)
        if meant == meant.to_integral_value() and minimum <= meant <= maximum:
            return f"; is it in {unit}? {show_value(number)} {unit} is {int(meant)} mm"
    return ""


def _describe_value(value: object) -> str:
    if isinstance(value, str):
        return f"the text {show_value(value)} is not valid here"
    return f"{show_value(value)} is not valid here"


def _describe_range(unit: str, minimum: int, maximum: int) -> str:
    return f"{minimum}" if minimum == maximum else f"a whole number{_name_unit(unit)} from {minimum} to {maximum}"


def _name_unit(unit: str) -> str:
    return f" of {unit}" if unit else ""
