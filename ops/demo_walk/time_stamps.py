"""The third party of the demo: a time stamping authority at an address of its own, where OpenSSL and the extra are there."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.duties.token_talk import Authority
from ledger.errors import Unsupported
from ledger.evidence.time_token import parse_roots, request_token
from ops.demo_walk.openssl_authority import OpenSslAuthority, Reply, served

if TYPE_CHECKING:
    from cryptography import x509

NAME = "third-party"


@dataclass(frozen=True, slots=True)
class TimeStamps:
    """Whom to ask, and the root that a reader trusts, as certificates and as a file; none of it where ``why_none`` says why.

    ``stamp`` asks without the way over HTTP.
    """

    authorities: tuple[Authority, ...] = ()
    roots: tuple[x509.Certificate, ...] = ()
    root_file: Path | None = None
    stamp: Callable[[bytes], bytes] | None = None
    why_none: str = ""


@contextmanager
def time_stamps(place: Path) -> Iterator[TimeStamps]:
    """The authority with its folder at ``place``, made anew, while the block lasts."""
    try:
        request_token(b"whether the extra is installed")
        authority = _made(place)
    except Unsupported as error:
        authority, why = None, error.problem
    if authority is None:
        yield TimeStamps(why_none=why)
        return
    with served(lambda request: Reply(authority.answer(request))) as address:
        yield TimeStamps(
            authorities=(Authority(NAME, address),),
            roots=parse_roots(authority.roots),
            root_file=authority.folder / "root.crt",
            stamp=authority.answer,
        )


def _made(place: Path) -> OpenSslAuthority:
    shutil.rmtree(place, ignore_errors=True)
    return OpenSslAuthority(place, name="Demo only")
