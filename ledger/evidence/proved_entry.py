"""What is asked of an entry beside its records, once it was proved: however it was read."""

from __future__ import annotations

from typing import Protocol


class ProvedEntry(Protocol):
    """What is asked of an entry beside its records, once it was proved."""

    @property
    def index(self) -> int:
        """Its place in the book, from 0."""
        ...

    @property
    def author(self) -> str:
        """The account that said it."""
        ...

    @property
    def recorded_at(self) -> str:
        """When the book took it."""
        ...

    @property
    def breaches(self) -> list[dict[str, object]]:
        """What the writer found wrong."""
        ...
