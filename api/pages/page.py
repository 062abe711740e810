"""A page: a template in the reader's language, with the menu of the account, its form token, and the plant's zone.

In every template: ``_`` and ``ngettext``, ``word(sort, code)``, the filters ``number``, ``instant``, ``day``, ``span`` and
``english`` (text of the book itself, marked as English), ``limit`` (a limit with its signs),
``reason`` (short words without their hyphens), ``session`` (`api.pages.session.BrowserSession` or None), ``may(action)``,
``lag`` (what a standby showed, `ledger.store.look.Shown`, or None), ``menu``, ``here`` (the path), ``address`` (with the query), ``language``, ``languages``, ``origin``, ``zone`` (the plant's, by its IANA name), ``form_token`` (empty
where nobody is signed in).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import jinja2
from litestar import Request, Response
from markupsafe import Markup, escape

from api.pages import HTML
from api.pages.catalogue import ENGLISH, LANGUAGES, Catalogue, catalogue, preferred_language
from api.pages.menu import places_for
from api.pages.session import BrowserSession, session_at
from api.pages.words import english_word, limit_words, reason_words
from api.standby import shown_at_hand
from ledger.access.roles import MAY_DO

LANGUAGE_COOKIE = "pourbook-language"


def page(
    request: Request[Any, Any, Any],
    template: str,
    *,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
    **values: Any,
) -> Response[bytes]:
    """A page from a template under ``templates``, with ``values`` beside what every template has."""
    content = page_text(request, template, **values).encode()
    sent = {"vary": "Accept, Accept-Language, Cookie", **(headers or {})}
    return Response(content=content, media_type=HTML, status_code=status, headers=sent)


def page_text(request: Request[Any, Any, Any], template: str, **values: Any) -> str:
    """The same as text: for a fragment that a script puts into a page."""
    words = catalogue_of(request)
    session = session_at(request)
    common = {
        "session": session,
        "menu": places_for(session.roles) if session is not None else [],
        "may": lambda action: session is not None and not MAY_DO[action].isdisjoint(session.roles),
        "here": request.scope["path"],
        "address": _address(request),
        "language": words.language,
        "languages": LANGUAGES,
        "origin": request.app.state.parts.book.origin,
        "zone": request.app.state.parts.settings.time_zone,
        "form_token": "" if session is None else session.form_token,
        "lag": shown_at_hand(),
        "now_ms": request.app.state.parts.book.clock_ms(),
    }
    return _environment(words).get_template(template).render({**common, **values})


def _address(request: Request[Any, Any, Any]) -> str:
    """The address of a page with its query: where a reader goes on after choosing a language or signing in."""
    query = request.scope["query_string"].decode("latin-1")
    path: str = request.scope["path"]
    return f"{path}?{query}" if query and request.method == "GET" else path


def catalogue_of(request: Request[Any, Any, Any]) -> Catalogue:
    """The language that a request's reader chose (in the session, or by a cookie), or else prefers."""
    session: BrowserSession | None = session_at(request)
    chosen = request.cookies.get(LANGUAGE_COOKIE) or (session.language if session is not None else None)
    accepted = _accepted(request.headers.get("accept-language", ""))
    return catalogue(preferred_language(chosen, accepted), request.app.state.parts.settings.time_zone)


def _accepted(header: str) -> list[str]:
    """The languages of an Accept-Language header, the most wanted first (RFC 9110 section 12.5.4)."""
    weighed = []
    for part in header.replace(" ", "").replace("\t", "").split(",")[:20]:
        code, _, weight = part.strip().partition(";q=")
        try:
            weighed.append((-float(weight or 1), code.strip()))
        except ValueError:
            continue
    return [code for weight, code in sorted(weighed, key=lambda pair: pair[0]) if weight < 0]


@cache
def _environment(words: Catalogue) -> jinja2.Environment:
    # Every template is HTML, whatever its name: nothing is ever left unescaped.
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("api.pages", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        # Read once: an upgrade in place must not show new templates to a program that is still the old one.
        auto_reload=False,
        extensions=["jinja2.ext.i18n", "jinja2.ext.do"],
    )
    environment.install_gettext_callables(words.gettext, words.ngettext, newstyle=True)  # type: ignore[attr-defined]  # the extension adds it
    environment.globals["word"] = lambda sort, code: words.gettext(english_word(sort, code)) if code else ""
    environment.filters |= {
        "number": words.number,
        "instant": words.instant,
        "day": words.day,
        "span": words.span,
        "english": lambda text: english(str(text), words.language),
        "limit": limit_words,
        "reason": reason_words,
        "time": lambda at, **form: _time(words, at, **form),
    }
    return environment


def english(text: str, language: str) -> Markup:
    """What the book says in English alone, marked as such on a page in another language (WCAG 2.2, 3.1.2)."""
    return escape(text) if language == ENGLISH else Markup('<span lang="en">{}</span>').format(text)


def _time(words: Catalogue, at: int | str | None, *, seconds: bool = False) -> Markup:
    moment = words.moment(at)
    if moment is None:
        return Markup("")
    shown = words.instant(at, seconds=seconds)
    return Markup('<time datetime="{}">{}</time>').format(moment.isoformat(timespec="seconds"), shown)
