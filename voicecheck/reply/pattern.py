"""Patterns: one description of what may be said, read in four ways.

Rules of this file:

1. A pattern is written once. From it come the words, the JSGF text, the reader and the samples, so
   that the recogniser can never be told a language other than the one that is understood.
2. A reader gives every reading, not the first one. Whoever asks decides what two readings mean.
3. ``TwoWays`` marks what people say although it has more than one meaning. It belongs to the
   language, because a recogniser that cannot hear it would turn it into something else; it is heard
   and refused.
4. Patterns are finite: repetition has an upper bound.

A reading is a pair (index of the word after the last one read, value).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType
from typing import Any

Reading = tuple[int, Any]
Memo = dict[tuple[int, int], tuple[Reading, ...]]

_SAME_SOUND: Mapping[str, str] = MappingProxyType(
    {
        "wun": "one",
        "too": "two",
        "ait": "eight",
        "alpha": "alfa",
        "juliet": "juliett",
        "metre": "meter",
        "metres": "meters",
        "millimetre": "millimeter",
        "millimetres": "millimeters",
        "kilometre": "kilometer",
        "kilometres": "kilometers",
        "litre": "liter",
        "litres": "liters",
    }
)


def sound_key(word: str) -> str:
    """One spelling for words that are pronounced alike ("wun" and "one"), for comparing."""
    return _SAME_SOUND.get(word, word)


class Doubt(Enum):
    """Value of a reading that must not count.

    ``WEAK`` gives way to a proper reading of the same words; ``STRONG`` stands beside it.
    """

    WEAK = "weak"
    STRONG = "strong"


class Pick:
    """A fixed sequence of choices (linear congruential, Numerical Recipes constants), no chance."""

    def __init__(self) -> None:
        self._state = 1

    def below(self, count: int) -> int:
        """The next choice out of ``count``."""
        self._state = (1664525 * self._state + 1013904223) % 2**32
        return (self._state >> 8) % count


@dataclass
class Net:
    """States and word edges of a pattern; an edge without word is free."""

    edges: list[list[tuple[str | None, int]]] = field(default_factory=list)

    def state(self) -> int:
        """A new state."""
        self.edges.append([])
        return len(self.edges) - 1

    def join(self, start: int, word: str | None, end: int) -> None:
        """An edge from start to end."""
        self.edges[start].append((word, end))

    def closure(self, states: Iterable[int]) -> frozenset[int]:
        """The states and all that free edges reach from them."""
        found = set(states)
        todo = list(found)
        while todo:
            for word, end in self.edges[todo.pop()]:
                if word is None and end not in found:
                    found.add(end)
                    todo.append(end)
        return frozenset(found)

    def walk(self, states: Iterable[int], keys: Sequence[str]) -> frozenset[int]:
        """The states after those words (compared by sound); empty when there is no way."""
        now = self.closure(states)
        for key in keys:
            now = self.closure(
                end for state in now for word, end in self.edges[state] if word == key
            )
            if not now:
                break
        return now


class Pattern(ABC):
    """One thing that may be said."""

    one_meaning: bool = True  # False: nothing in it may be understood

    def readings(self, keys: Sequence[str], at: int, memo: Memo) -> tuple[Reading, ...]:
        """All distinct readings that begin at word ``at``."""
        spot = (id(self), at)
        found = memo.get(spot)
        if found is None:
            found = tuple(dict.fromkeys(self._read(keys, at, memo)))
            memo[spot] = found
        return found

    @abstractmethod
    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]: ...

    @abstractmethod
    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        """One sentence with its value, made by going through the pattern, not by reading."""

    @abstractmethod
    def net(self, net: Net, start: int) -> int:
        """Adds the pattern to the net; gives its end state."""

    @abstractmethod
    def longest(self) -> int:
        """Number of words of the longest sentence."""

    @abstractmethod
    def jsgf(self) -> str:
        """JSGF expansion; safe inside a sequence."""

    @abstractmethod
    def parts(self) -> tuple[Pattern, ...]:
        """The patterns it is made of."""

    def words(self) -> frozenset[str]:
        """Every word in it."""
        return frozenset().union(*(part.words() for part in self.parts()))

    def rules(self) -> dict[str, str]:
        """JSGF rules that it refers to, name to expansion."""
        found: dict[str, str] = {}
        for part in self.parts():
            found.update(part.rules())
        return found


class Say(Pattern):
    """Words in that order, with a value."""

    def __init__(self, text: str, value: Any = None) -> None:
        self._words = tuple(text.split())
        self._keys = tuple(sound_key(word) for word in self._words)
        self._value = value

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        end = at + len(self._keys)
        if tuple(keys[at:end]) == self._keys:
            yield end, self._value

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        return self._words, self._value

    def net(self, net: Net, start: int) -> int:
        for key in self._keys:
            end = net.state()
            net.join(start, key, end)
            start = end
        return start

    def longest(self) -> int:
        return len(self._words)

    def jsgf(self) -> str:
        return " ".join(self._words)

    def parts(self) -> tuple[Pattern, ...]:
        return ()

    def words(self) -> frozenset[str]:
        return frozenset(self._words)


class Run(Pattern):
    """Patterns one after the other; ``make`` turns their values into one.

    A ``Doubt`` in a part is the value of the whole. ``make`` gets the values as one list.
    """

    def __init__(self, *parts: Pattern, make: Callable[[list[Any]], Any]) -> None:
        self._parts = parts
        self._make = make
        self.one_meaning = all(part.one_meaning for part in parts)

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        partial: list[tuple[int, tuple[Any, ...]]] = [(at, ())]
        for part in self._parts:
            partial = [
                (end, (*values, value))
                for here, values in partial
                for end, value in part.readings(keys, here, memo)
            ]
        for end, values in partial:
            yield end, _joined(list(values), self._make)

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        taken = [part.sample(pick) for part in self._parts]
        words = tuple(word for words, _ in taken for word in words)
        return words, _joined([value for _, value in taken], self._make)

    def net(self, net: Net, start: int) -> int:
        for part in self._parts:
            start = part.net(net, start)
        return start

    def longest(self) -> int:
        return sum(part.longest() for part in self._parts)

    def jsgf(self) -> str:
        return " ".join(part.jsgf() for part in self._parts)

    def parts(self) -> tuple[Pattern, ...]:
        return self._parts


class Either(Pattern):
    """One of the patterns."""

    def __init__(self, *parts: Pattern) -> None:
        self._parts = parts
        self._sampled = tuple(part for part in parts if part.one_meaning)
        self.one_meaning = bool(self._sampled)

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        for part in self._parts:
            yield from part.readings(keys, at, memo)

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        choice = self._sampled or self._parts
        return choice[pick.below(len(choice))].sample(pick)

    def net(self, net: Net, start: int) -> int:
        end = net.state()
        for part in self._parts:
            net.join(part.net(net, self._entry(net, start)), None, end)
        return end

    @staticmethod
    def _entry(net: Net, start: int) -> int:
        entry = net.state()
        net.join(start, None, entry)
        return entry

    def longest(self) -> int:
        return max((part.longest() for part in self._parts), default=0)

    def jsgf(self) -> str:
        return "( " + " | ".join(part.jsgf() for part in self._parts) + " )"

    def parts(self) -> tuple[Pattern, ...]:
        return self._parts


class Maybe(Pattern):
    """The pattern or nothing; nothing has the value ``other``."""

    def __init__(self, part: Pattern, other: Any = None) -> None:
        self._part = part
        self._other = other

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        yield at, self._other
        yield from self._part.readings(keys, at, memo)

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        if self._part.one_meaning and pick.below(2):
            return self._part.sample(pick)
        return (), self._other

    def net(self, net: Net, start: int) -> int:
        end = self._part.net(net, start)
        last = net.state()
        net.join(end, None, last)
        net.join(start, None, last)
        return last

    def longest(self) -> int:
        return self._part.longest()

    def jsgf(self) -> str:
        return f"[ {self._part.jsgf()} ]"

    def parts(self) -> tuple[Pattern, ...]:
        return (self._part,)


class Times(Pattern):
    """The pattern ``least`` to ``most`` times; ``make`` gets the list of values."""

    def __init__(
        self, part: Pattern, least: int, most: int, make: Callable[[list[Any]], Any]
    ) -> None:
        self._part = part
        self._least = least
        self._most = most
        self._make = make
        self.one_meaning = part.one_meaning

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        partial: list[tuple[int, tuple[Any, ...]]] = [(at, ())]
        for count in range(self._most + 1):
            if count >= self._least:
                for end, values in partial:
                    yield end, _joined(list(values), self._make)
            # Equal partial readings are merged, so that the work stays linear in the words.
            partial = list(
                dict.fromkeys(
                    (end, (*values, value))
                    for here, values in partial
                    for end, value in self._part.readings(keys, here, memo)
                )
            )

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        count = self._least + pick.below(self._most - self._least + 1)
        taken = [self._part.sample(pick) for _ in range(count)]
        words = tuple(word for words, _ in taken for word in words)
        return words, _joined([value for _, value in taken], self._make)

    def net(self, net: Net, start: int) -> int:
        last = net.state()
        for count in range(self._most):
            if count >= self._least:
                net.join(start, None, last)
            start = self._part.net(net, start)
        net.join(start, None, last)
        return last

    def longest(self) -> int:
        return self._most * self._part.longest()

    def jsgf(self) -> str:
        one = self._part.jsgf()
        rest = ""
        for _ in range(self._most - self._least):
            rest = f"[ {one} {rest}]" if rest else f"[ {one} ]"
        return " ".join([one] * self._least + ([rest] if rest else []))

    def parts(self) -> tuple[Pattern, ...]:
        return (self._part,)


class Rule(Pattern):
    """A pattern with a name of its own in the JSGF text."""

    def __init__(self, name: str, part: Pattern) -> None:
        self._name = name
        self._part = part
        self.one_meaning = part.one_meaning

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        yield from self._part.readings(keys, at, memo)

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        return self._part.sample(pick)

    def net(self, net: Net, start: int) -> int:
        return self._part.net(net, start)

    def longest(self) -> int:
        return self._part.longest()

    def jsgf(self) -> str:
        return f"<{self._name}>"

    def parts(self) -> tuple[Pattern, ...]:
        return (self._part,)

    def rules(self) -> dict[str, str]:
        return {**self._part.rules(), self._name: self._part.jsgf()}


class TwoWays(Pattern):
    """What is heard but has more than one meaning; its value is always a ``Doubt``."""

    one_meaning = False

    def __init__(self, part: Pattern, doubt: Doubt = Doubt.WEAK) -> None:
        self._part = part
        self._doubt = doubt

    def _read(self, keys: Sequence[str], at: int, memo: Memo) -> Iterator[Reading]:
        for end, _ in self._part.readings(keys, at, memo):
            yield end, self._doubt

    def sample(self, pick: Pick) -> tuple[tuple[str, ...], Any]:
        return self._part.sample(pick)[0], self._doubt

    def net(self, net: Net, start: int) -> int:
        return self._part.net(net, start)

    def longest(self) -> int:
        return self._part.longest()

    def jsgf(self) -> str:
        return self._part.jsgf()

    def parts(self) -> tuple[Pattern, ...]:
        return (self._part,)


def _joined(values: list[Any], make: Callable[[list[Any]], Any]) -> Any:
    doubts = [value for value in values if isinstance(value, Doubt)]
    if doubts:
        return Doubt.STRONG if Doubt.STRONG in doubts else Doubt.WEAK
    return make(values)
