"""A folder on object storage, by the library `obstore`: S3 and its like, or a local folder for trials.

The library finds credentials, region and endpoint in the environment by itself (AWS_ACCESS_KEY_ID, AWS_ENDPOINT_URL...);
an address that holds any is refused, since addresses are kept in the store and told in messages.  What the library says
of an error may hold a host, a request or a key's name, so only its class is told.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any, NamedTuple, TypeVar
from urllib.parse import urlsplit

from ledger.errors import MalformedInput, StoreUnavailable, Unsupported

SCHEMES = ("s3", "gs", "az", "file")

AT_ONCE = 16
"""Objects that are read or written at the same time."""

_PLAIN = re.compile(r"[A-Za-z0-9._~/+-]*", re.ASCII)

T = TypeVar("T")
R = TypeVar("R")


class Patience(NamedTuple):
    """Seconds for one request, how often it is tried again, and seconds after which it is not tried again."""

    request_s: int
    retries: int
    whole_s: int


READING = Patience(5, 2, 5)
"""Somebody waits for the answer, perhaps with the book's lock: less than the server lets a writer stand still."""

WRITING = Patience(60, 6, 180)
"""Nobody waits."""


def check_folder_url(url: str) -> str:
    """The address in its one form. Raises MalformedInput for one of no known kind, or with more in it than a place."""
    text = url.rstrip("/")
    parts = urlsplit(text)
    if (
        parts.scheme not in SCHEMES
        or not _PLAIN.fullmatch(f"{parts.netloc}{parts.path}")
        or "?" in text
        or "#" in text
        or not (parts.path or "/").startswith("/")
        or bool(parts.netloc) == (parts.scheme == "file")
        or ".." in parts.path.split("/")
    ):
        raise MalformedInput(
            "not the address of a folder on object storage",
            expected="s3://bucket/folder, gs://, az:// or file:///folder, without names, keys or a query",
            where="address",
            mend="give credentials, region and endpoint by the environment (AWS_ACCESS_KEY_ID, AWS_ENDPOINT_URL...)",
        )
    return text


class Objects:
    """One folder: objects by their paths in it. Threads share it."""

    def __init__(self, url: str, patience: Patience = READING) -> None:
        """Nothing is asked yet; a local folder is made where objects are written.

        Raises MalformedInput, Unsupported where the library is missing, StoreUnavailable.
        """
        self.url = check_folder_url(url)
        try:
            import obstore  # noqa: PLC0415  # an extra
        except ImportError as error:
            raise Unsupported(
                "object storage needs the library obstore, which is not installed",
                mend="install the extra (pip install 'pourbook[archive]')",
            ) from error
        self._library: Any = obstore
        # What is missing is an OSError there, and an option that makes no sense a ValueError.
        self._errors = (obstore.exceptions.BaseError, OSError, ValueError)
        options: dict[str, Any] = {"mkdir": patience is WRITING}
        if not self.url.startswith("file:"):
            options = {
                # An endpoint without TLS is taken where the environment names one.
                "client_options": {"timeout": f"{patience.request_s}s", "connect_timeout": "3s", "allow_http": True},
                "retry_config": {
                    "max_retries": patience.retries,
                    "retry_timeout": timedelta(seconds=patience.whole_s),
                },
            }
        try:
            self._folder: Any = obstore.store.from_url(self.url, **options)
        except self._errors as error:
            raise self._unavailable(error) from None

    def get(self, path: str) -> bytes | None:
        """The object at a path; None where there is none. Raises StoreUnavailable."""
        try:
            return bytes(self._library.get(self._folder, path).bytes())
        except FileNotFoundError:
            return None
        except self._errors as error:
            raise self._unavailable(error) from None

    def put_new(self, path: str, raw: bytes) -> bool:
        """Write an object where none is; False where there is one, which stays. Raises StoreUnavailable."""
        try:
            self._library.put(self._folder, path, raw, mode="create")
        except self._library.exceptions.AlreadyExistsError:
            return False
        except self._errors as error:
            raise self._unavailable(error) from None
        return True

    def replace(self, path: str, raw: bytes) -> None:
        """Write an object over whatever is there. Raises StoreUnavailable."""
        try:
            self._library.put(self._folder, path, raw)
        except self._errors as error:
            raise self._unavailable(error) from None

    def settle(self) -> None:
        """Have what was written on the disk, where this is a local folder; elsewhere an answered write stands."""
        if self.url.startswith("file:") and hasattr(os, "sync"):
            os.sync()

    def _unavailable(self, error: Exception) -> StoreUnavailable:
        return StoreUnavailable(
            "object storage does not answer as it should",
            got=type(error).__name__,
            where=self.url,
            mend="check that the bucket or folder is there, and credentials, region and endpoint in the environment",
        )


def together(function: Callable[[T], R], wanted: Sequence[T]) -> list[R]:
    """``function`` of each, several at the same time, in order. Raises the first error."""
    if len(wanted) <= 1:
        return [function(one) for one in wanted]
    with ThreadPoolExecutor(min(AT_ONCE, len(wanted))) as pool:
        return list(pool.map(function, wanted))


def stretches(wanted: Iterable[T], count: int = AT_ONCE) -> Iterable[list[T]]:
    """The same in lists of at most ``count``."""
    part: list[T] = []
    for one in wanted:
        part.append(one)
        if len(part) == count:
            yield part
            part = []
    if part:
        yield part
