"""What all messages share: a kind number, `pack` and `unpack`; ValueError says what does not fit."""

from collections.abc import Iterable
from struct import Struct
from typing import Any, ClassVar, Protocol, Self


class Message(Protocol):
    """Anything that can be put into a frame."""

    KIND: ClassVar[int]

    def pack(self) -> bytes: ...

    @classmethod
    def unpack(cls, payload: bytes) -> Self: ...


class Fixed:
    """A message whose fields are exactly those of FORM, in order; a dataclass with slots below it."""

    __slots__ = ()
    KIND: ClassVar[int]
    FORM: ClassVar[Struct]

    def pack(self) -> bytes:
        return self.FORM.pack(*[getattr(self, name) for name in _fields(self)])

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        return cls(**dict(zip(_fields(cls), take(cls.FORM, payload), strict=True)))


def _fields(owner: object) -> Iterable[str]:
    names: Iterable[str] = getattr(owner, "__slots__")  # noqa: B009 (set by dataclass(slots=True))
    return names


def take(form: Struct, payload: bytes) -> tuple[Any, ...]:
    """Fields of a payload that must have exactly the size of `form`."""
    if len(payload) != form.size:
        raise ValueError(f"payload of {len(payload)} bytes instead of {form.size}")
    return form.unpack(payload)


def bits(*flags: bool) -> int:
    """First flag = bit 0."""
    return sum(1 << at for at, flag in enumerate(flags) if flag)


def inverse(value: int, width: int) -> int:
    """The bit-wise complement that a message carries beside a value that matters."""
    return value ^ ((1 << width) - 1)


def must_match(value: int, other: int, width: int) -> None:
    if inverse(value, width) != other:
        raise ValueError("a value and its complement do not match")
