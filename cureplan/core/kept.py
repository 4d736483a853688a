"""Results that are kept between one question and the next.

A result is found again by all that it was made of, arrays by their bytes: what is given is
what making it anew would give, bit by bit. Nothing is kept until `keep_results` is called or
within `keeping_results`, and never more than they allow.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from hashlib import blake2b
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mark", "keep_results", "keeping_results", "kept", "kept_rows", "mark_of"]

T = TypeVar("T")
Array = NDArray[np.float64]
Mark = bytes
_MARK_BYTES: Final = 20
_LARGE_BYTES: Final = 200_000
_EACH_BYTES: Final = 600
"""What a kept result costs besides its arrays: measured."""


class _Store:
    """Results by their marks, the one longest not asked for let go first; large ones make
    no room for themselves at the cost of the many small."""

    def __init__(self, most_bytes: int) -> None:
        self.most = {True: most_bytes * 2 // 3, False: most_bytes // 3}
        self.bytes = {True: 0, False: 0}
        self.found: dict[bool, OrderedDict[Mark, tuple[Any, int]]] = {
            True: OrderedDict(),
            False: OrderedDict(),
        }

    def get(self, mark: Mark) -> Any:
        for found in self.found.values():
            if mark in found:
                found.move_to_end(mark)
                return found[mark][0]
        return None

    def put(self, mark: Mark, value: Any) -> None:
        size = _EACH_BYTES + _bytes_of(value, set())
        large = size > _LARGE_BYTES
        found, most = self.found[large], self.most[large]
        if size > most or mark in found:
            return
        found[mark] = value, size
        self.bytes[large] += size
        while self.bytes[large] > most:
            _, (_, gone) = found.popitem(last=False)
            self.bytes[large] -= gone


_store: _Store | None = None


def keep_results(most_bytes: int) -> None:
    """From now on keep results, of so many bytes at most; 0 lets all go and keeps none."""
    global _store
    _store = _Store(most_bytes) if most_bytes else None


@contextmanager
def keeping_results(most_bytes: int) -> Iterator[None]:
    """Keep results meanwhile, where none are kept so far.

    Examples
    --------
    >>> with keeping_results(1_000_000):
    ...     kept(lambda: "made once", "a name"), kept(lambda: "again", "a name")
    ('made once', 'made once')
    >>> kept(lambda: "again", "a name")
    'again'
    """
    if _store is not None:
        yield
        return
    keep_results(most_bytes)
    try:
        yield
    finally:
        keep_results(0)


def kept(make: Callable[[], T], *of: object) -> T:
    """What `make` gives, or gave when all it is made of was the same: not to be changed.

    Examples
    --------
    >>> keep_results(1_000_000)
    >>> kept(lambda: "made once", "a name", 1.5), kept(lambda: "again", "a name", 1.5)
    ('made once', 'made once')
    >>> keep_results(0)
    >>> kept(lambda: "again", "a name", 1.5)
    'again'
    """
    if _store is None:
        return make()
    mark = mark_of(*of)
    found = _store.get(mark)
    if found is None:
        found = make()
        _store.put(mark, found)
    return found  # type: ignore[no-any-return]


def kept_rows(
    make: Callable[[Array], tuple[tuple[NDArray[Any], ...], bool]], at: Array, *of: object
) -> tuple[NDArray[Any], ...]:
    """Arrays with a row for each of `at`, made where no such row is kept.

    `make` says besides whether each row is what it would be without the others.
    """
    if _store is None or not len(at):
        return make(at)[0]
    mark = mark_of(*of)
    marks = [mark + one.tobytes() for one in np.ascontiguousarray(at)]
    rows: list[tuple[Any, ...] | None] = [_store.get(each) for each in marks]
    missing = [number for number, row in enumerate(rows) if row is None]
    if missing:
        fresh, alone = make(at[missing])
        if not alone:
            return fresh if len(missing) == len(rows) else make(at)[0]
        for place, number in enumerate(missing):
            rows[number] = tuple(np.copy(column[place]) for column in fresh)
            _store.put(marks[number], rows[number])
    return tuple(np.array(column) for column in zip(*filter(None, rows), strict=True))


def mark_of(*values: object) -> Mark:
    """A mark that differs wherever one of the values does; nothing where none are kept."""
    if _store is None:
        return b""
    digest = blake2b(digest_size=_MARK_BYTES)
    _feed(digest.update, values)
    return digest.digest()


def _feed(take: Callable[[bytes], None], value: object) -> None:
    if isinstance(value, np.ndarray):
        take(f"{value.dtype.str}{value.shape}".encode())
        take(np.ascontiguousarray(value).tobytes())
    elif is_dataclass(value) and not isinstance(value, type):
        take(type(value).__qualname__.encode() + b"(")
        for field in fields(value):
            _feed(take, getattr(value, field.name))
        take(b")")
    elif isinstance(value, Mapping):
        take(b"{")
        for pair in value.items():
            _feed(take, pair)
        take(b"}")
    elif isinstance(value, str | bytes | int | float | None):
        take(f"{type(value).__name__}:{value!r},".encode())
    elif isinstance(value, Sequence):
        take(b"[")
        for one in value:
            _feed(take, one)
        take(b"]")
    else:
        # What has no plain content would be found again by chance, or never.
        raise TypeError(f"a {type(value).__name__} cannot be part of a mark")


def _bytes_of(value: object, counted: set[int]) -> int:
    """What the arrays of a result take up, each counted once."""
    if id(value) in counted:
        return 0
    counted.add(id(value))
    if hasattr(value, "nbytes"):
        return int(value.nbytes)
    parts: Iterable[object] = ()
    if is_dataclass(value) and not isinstance(value, type):
        parts = [getattr(value, field.name) for field in fields(value)]
    elif isinstance(value, Mapping):
        parts = value.values()
    elif isinstance(value, tuple | list):
        parts = value
    return sum(_bytes_of(part, counted) for part in parts)
