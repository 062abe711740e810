"""``python -m ops.verify_page``: make anew what in ``verify.html`` and the README follows from other files.

The page is written by hand and has no build. Three things in it or about it are copies all the same: the table of the
dossier's forms, limits and words, which the program holds; the digests of its scripts and its style, by which its own
policy lets them run; and its SHA-256 in the README. A test says when one of them is stale.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from ledger.conformity.words import OUTCOME_WORDS
from ledger.evidence import archive, dossier_format
from ledger.evidence.dossier_format import BallSheet, Counts, KeyLine, LotPage, Manifest, Page
from ledger.evidence.head_check import CLOCKS_APART_MS, READERS_CLOCK_MS
from ledger.evidence.time_token import MAX_RESPONSE_BYTES
from ledger.line.quantity import UNITS
from ledger.line.record import SealedField, sealed_fields
from ledger.line.vocabulary import RECORD_OF

PROJECT = Path(__file__).resolve().parent.parent
PAGE = PROJECT / "ledger" / "evidence" / "files" / "verify.html"
README = PROJECT / "README.md"

_PAGES: tuple[type[Page], ...] = (Manifest, Counts, KeyLine, LotPage, BallSheet)
_TABLE = re.compile(r'(<script type="application/json" id="table">\n).*?(\n    </script>)', re.DOTALL)
_POLICY = re.compile(r'(<meta http-equiv="Content-Security-Policy" content=")[^"]*(">)')
_RUN = re.compile(r"<(script|style)>(.*?)</\1>", re.DOTALL)
_DIGEST = re.compile(r"(SHA-256 of `verify\.html`[^`]*`)[0-9a-f]*(`)")


def fresh_page(text: str) -> str:
    """The page with its table and its policy made anew."""
    told = _TABLE.sub(lambda found: f"{found[1]}{table_text()}{found[2]}", text)
    return _POLICY.sub(lambda found: f"{found[1]}{_policy(told)}{found[2]}", told)


def fresh_readme(text: str, page: bytes) -> str:
    """The README with the SHA-256 of the page as it is."""
    return _DIGEST.sub(lambda found: f"{found[1]}{hashlib.sha256(page).hexdigest()}{found[2]}", text)


def table_text() -> str:
    """The table as JSON, a line for each of its parts."""
    forms = dict(sorted(_forms().items()))
    parts = {
        "forms": forms,
        "limits": _limits(),
        "sealed": {kind: _sealed(sealed_fields(record)) for kind, record in sorted(RECORD_OF.items())},
        "outcomes": OUTCOME_WORDS,
        "units": {unit: one.printed for unit, one in UNITS.items()},
    }
    lines = []
    for name, part in parts.items():
        inner = ",\n".join(f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in part.items())
        lines.append(f"{json.dumps(name)}: {{\n{inner}\n}}")
    return "{\n" + ",\n".join(lines) + "\n}"


def _limits() -> dict[str, int]:
    return {
        "members": archive.MAX_MEMBERS,
        "name": archive.MAX_NAME,
        "member_bytes": archive.MAX_MEMBER_BYTES,
        "keys": dossier_format.MAX_KEYS_BYTES,
        "openings": dossier_format.MAX_OPENINGS_BYTES,
        "line": dossier_format.MAX_LINE_BYTES,
        "lot": dossier_format.MAX_LOT_BYTES,
        "sheet": dossier_format.MAX_SHEET_BYTES,
        "rulebooks": dossier_format.MAX_RULEBOOKS,
        "tokens": dossier_format.MAX_TOKENS,
        "token": MAX_RESPONSE_BYTES,
        "verdicts": dossier_format.MAX_VERDICTS_BYTES,
        "verdict_balls": dossier_format.VERDICTS_LIMIT,
        "clocks_apart_ms": CLOCKS_APART_MS,
        "readers_clock_ms": READERS_CLOCK_MS,
    }


def _policy(text: str) -> str:
    """What the page may do: run and use what stands in it, byte for byte, and nothing else."""
    digests: dict[str, list[str]] = {"script": [], "style": []}
    for sort, content in _RUN.findall(text):
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        digests[sort].append(f"'sha256-{digest}'")
    allowed = "; ".join(f"{sort}-src {' '.join(found)}" for sort, found in digests.items())
    return f"default-src 'none'; {allowed}; connect-src 'none'; form-action 'none'; base-uri 'none'"


def _forms() -> dict[str, Any]:
    """Fields of each JSON file in their order: name, form, and what stands for its absence where it may be absent."""
    forms: dict[str, Any] = {}
    waiting: list[Any] = list(msgspec.inspect.multi_type_info(_PAGES))
    while waiting:
        struct = waiting.pop()
        if struct.cls.__name__ in forms:
            continue
        forms[struct.cls.__name__] = [_field(field) for field in struct.fields]
        waiting.extend(one for field in struct.fields for one in _structs(field.type))
    return forms


def _field(field: Any) -> list[Any]:
    named = [field.encode_name, _form(field.type)]
    if field.required:
        return named
    absent = None if field.default is msgspec.UNSET or field.default is msgspec.NODEFAULT else field.default
    return [*named, list(absent) if isinstance(absent, tuple) else absent]


def _structs(info: Any) -> Iterator[Any]:
    if isinstance(info, msgspec.inspect.StructType):
        yield info
    elif isinstance(info, msgspec.inspect.VarTupleType | msgspec.inspect.ListType):
        yield from _structs(info.item_type)
    elif isinstance(info, msgspec.inspect.DictType):
        yield from _structs(info.value_type)
    elif isinstance(info, msgspec.inspect.Metadata):
        yield from _structs(info.type)


def _form(info: Any) -> dict[str, Any]:
    """One type as the page's own forms say it. Raises TypeError for one that they have no word for."""
    inspect = msgspec.inspect
    if isinstance(info, inspect.Metadata):
        return _form(info.type)
    if isinstance(info, inspect.StructType):
        return {"form": info.cls.__name__}
    if isinstance(info, inspect.VarTupleType | inspect.ListType):
        return _said({"list": _form(info.item_type), "least": info.min_length, "most": info.max_length})
    if isinstance(info, inspect.DictType):
        return {"map": _form(info.value_type), "keys": _form(info.key_type)}
    if isinstance(info, inspect.LiteralType):
        return {"words": list(info.values)}
    if isinstance(info, inspect.BoolType):
        return {"is": "true or false"}
    if isinstance(info, inspect.IntType):
        return _said({"is": "number", "from": info.ge, "to": info.le})
    if isinstance(info, inspect.StrType):
        like = None if info.pattern is None else info.pattern.replace(r"\Z", "$")
        return _said({"is": "text", "least": info.min_length, "most": info.max_length, "like": like})
    raise TypeError(f"the page has no form for {info}")


def _said(form: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in form.items() if value is not None}


def _sealed(fields: tuple[SealedField, ...]) -> list[str]:
    """Where the sealed fields of a kind are: ``*`` each element, ``?`` those of the record that stands there."""
    return ["/".join((*field.steps, "?") if field.variants else field.steps) for field in fields]


def main() -> int:
    """Write the page and the README anew."""
    page = fresh_page(PAGE.read_text("utf-8"))
    PAGE.write_text(page, "utf-8")
    README.write_text(fresh_readme(README.read_text("utf-8"), page.encode()), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
