"""``python -m ops.page_messages``: the messages of the pages that a language lacks, as lines for a ``.po`` file of its own.

Messages are read from the templates and sources of ``api/pages``; the files of a language lie in ``api/pages/locale``, one
for each concern.  A message that several pages say may be in several files, in the same words; one that no page has any
more is named too.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from api.pages.catalogue import ENGLISH, LANGUAGES, message_files

PAGES = Path(__file__).resolve().parent.parent / "api" / "pages"

_METHODS = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
_OPTIONS = {
    "**/templates/**.html": {
        "trim_blocks": "true",
        "lstrip_blocks": "true",
        "silent": "false",
        "extensions": "jinja2.ext.do",
    }
}
_KEYWORDS: dict[str, tuple[int, ...] | None] = {"_": None, "N_": None, "gettext": None, "ngettext": (1, 2)}


class Compared(NamedTuple):
    """What a language has against what the pages say: messages not translated, no longer said, or said in two ways."""

    missing: list[Message]
    orphans: list[str]
    twice: list[str]


def said_messages() -> Catalog:
    """Every message of the pages, with the files that say it."""
    said = Catalog()
    for name, line, message, comments, context in extract_from_dir(PAGES, _METHODS, _OPTIONS, keywords=_KEYWORDS):
        said.add(message, None, [(f"api/pages/{name}", line)], auto_comments=comments, context=context)
    return said


def compare(language: str) -> Compared:
    """A language against the pages."""
    said = said_messages()
    said_in: dict[str, set[tuple[str, ...]]] = {}
    translated: set[str] = set()
    for name in message_files(language):
        with (PAGES / "locale" / language / name).open("rb") as file:
            for message in read_po(file, locale=language):
                if message.id:
                    texts = (
                        tuple(map(str, message.string))
                        if isinstance(message.string, tuple)
                        else (str(message.string or ""),)
                    )
                    said_in.setdefault(_key(message), set()).add(texts)
                    if all(texts) and not message.fuzzy:
                        translated.add(_key(message))
    keys = {_key(message) for message in said if message.id}
    return Compared(
        [message for message in said if message.id and _key(message) not in translated],
        sorted(set(said_in) - keys),
        sorted(key for key, ways in said_in.items() if len(ways) > 1),
    )


def _key(message: Message) -> str:
    return message.id[0] if isinstance(message.id, tuple) else str(message.id)


def main() -> int:
    """Write what each language lacks; 1 where one lacks something."""
    lacking = False
    for language in LANGUAGES:
        if language == ENGLISH:
            continue
        found = compare(language)
        lacking = lacking or any(found)
        missing = Catalog(locale=language)
        for message in found.missing:
            missing.add(message.id, locations=message.locations)
        write_po(sys.stdout.buffer, missing, omit_header=True, width=120)
        for name, keys in (("no page says", found.orphans), ("said in two ways", found.twice)):
            for key in keys:
                print(f"# {name}: {key}")
    return int(lacking)


if __name__ == "__main__":
    sys.exit(main())
