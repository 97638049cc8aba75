"""A status line as it came from the engine, read without trusting that any field is there.

A newer engine may say more, an older one less: what is not known reads as None, "" or an empty list,
and nothing here raises. The fold decides what an unknown value looks like.
"""

from collections.abc import Iterable, Mapping
from typing import Any


class Status:
    """One status; paths are the names of the JSON, outermost first."""

    __slots__ = ("body",)

    def __init__(self, body: Mapping[str, Any]) -> None:
        self.body = body

    def at(self, *path: str) -> Any:
        """Whatever stands at the path, or None."""
        here: Any = self.body
        for name in path:
            if not isinstance(here, Mapping):
                return None
            here = here.get(name)
        return here

    def text(self, *path: str) -> str:
        """A string at the path; "" when there is none."""
        found = self.at(*path)
        return found if isinstance(found, str) else ""

    def number(self, *path: str) -> float | None:
        """A number at the path; None when there is none (true and false are no numbers)."""
        found = self.at(*path)
        if isinstance(found, bool) or not isinstance(found, int | float):
            return None
        return float(found)

    def flag(self, *path: str) -> bool | None:
        """True or false as said; None when not said."""
        found = self.at(*path)
        return found if isinstance(found, bool) else None

    def rows(self, *path: str) -> list["Status"]:
        """The objects of a list."""
        return [Status(row) for row in self._list(*path) if isinstance(row, Mapping)]

    def words(self, *path: str) -> list[str]:
        """The strings of a list."""
        return [word for word in self._list(*path) if isinstance(word, str)]

    def pairs(self, *path: str) -> list[tuple[str, str]]:
        """The `[label, text]` pairs of a list."""
        return [
            (str(pair[0]), str(pair[1]))
            for pair in self._list(*path)
            if isinstance(pair, list | tuple) and len(pair) == 2
        ]

    def numbers(self, *path: str) -> dict[str, float]:
        """The numbers of an object by name."""
        found = self.at(*path)
        if not isinstance(found, Mapping):
            return {}
        inner = Status(found)
        return {name: value for name in found if (value := inner.number(name)) is not None}

    def has(self, *path: str) -> bool:
        """Whether an object stands at the path."""
        return isinstance(self.at(*path), Mapping)

    def _list(self, *path: str) -> Iterable[Any]:
        found = self.at(*path)
        return found if isinstance(found, list | tuple) else ()
