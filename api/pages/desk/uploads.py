"""Photos and papers that come with a form: told from anything else by their bytes, stored, and named by their digest."""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Request
from litestar.datastructures import UploadFile

from api.pages.access.forms import Form
from api.parts import parts_of
from ledger.application.file_types import file_type
from ledger.errors import RuleStands, TooLarge
from ledger.line.claims import Evidence
from ledger.line.record import Digest
from ledger.store.blobs import put_blob

MOST_BYTES = 64_000_000
"""Bytes of a form with files; each file has the limit of blobs besides."""

SORTS = {"photos": "photo", "receipt": "receipt", "papers": "drilling-sheet"}
"""Fields of forms, and what the files in them show."""

_TYPES = {"PNG": "image/png", "JPEG": "image/jpeg", "PDF": "application/pdf"}


async def evidence_of(request: Request[Any, Any, Any], form: Form) -> tuple[Evidence, ...]:
    """The files of a form, stored; those that an earlier sending of it had stored already come first (``kept``).

    Raises RuleStands naming the field for a file that is neither picture nor document, TooLarge for one over the limit.
    """
    kept = [Evidence(digest=digest, what=what) for what, _, digest in map(_parted, form.every("kept"))]  # type: ignore[arg-type]  # looked at by the record's own decoder
    sent = await request.form()
    limit = parts_of(request).settings.blob_limit
    for field, what in SORTS.items():
        for file in sent.getall(field, []):
            if isinstance(file, UploadFile) and (raw := await file.read()):
                if len(raw) > limit:
                    raise TooLarge("file is too long", expected=f"at most {limit:,} bytes", got=len(raw), where=field)
                kept.append(Evidence(digest=await _stored(request, raw, field), what=what))  # type: ignore[arg-type]  # as above
    return tuple(dict.fromkeys(kept))


def kept_texts(evidence: tuple[Evidence, ...]) -> list[tuple[str, Digest]]:
    """What a form that is shown again keeps of its files: what each shows, and its digest."""
    return [(one.what, one.digest) for one in evidence]


def _parted(text: str) -> tuple[str, str, str]:
    return text.partition(":")


async def _stored(request: Request[Any, Any, Any], raw: bytes, field: str) -> str:
    kind = file_type(raw[:64], raw[-1024:])
    if not kind:
        raise RuleStands(
            "file is no picture and no document, by its own bytes",
            expected="PNG, JPEG or PDF, whole",
            got=f"a file that begins with {raw[:8].hex(' ')}",
            where=field,
            mend="choose a PNG, JPEG or PDF file",
        )
    kept = await asyncio.to_thread(put_blob, parts_of(request).book.store, raw, _TYPES[kind])
    return kept.digest
