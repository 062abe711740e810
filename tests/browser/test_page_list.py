"""The list of pages is whole: each page of the service has an example, and each example is of a page. Needs no browser."""

from __future__ import annotations

import re

from litestar import Litestar
from litestar.routes import HTTPRoute
from litestar.status_codes import HTTP_200_OK

from api.app import ROUTES
from api.operation import operation_of
from ops.screens.page_list import PAGES

PUBLIC = {"/", "/problems/{code}", "/01/{gtin}/21/{serial}"}
"""Addresses that are pages for browsers and something else for programs, or were pages before any other."""


def pages_of_service() -> set[str]:
    """The address of every operation that is a page and is looked at."""
    found = set()
    for route in Litestar(route_handlers=ROUTES, openapi_config=None).routes:
        for handler in route.route_handlers if isinstance(route, HTTPRoute) else ():
            operation = operation_of(handler)
            is_page = operation is not None and operation.page
            if is_page and "GET" in handler.http_methods and handler.status_code == HTTP_200_OK:
                found.add(re.sub(r"\{(\w+):\w+\}", r"{\1}", route.path))
    return found


def test_every_page_has_an_example() -> None:
    """A page without an example would be in no picture and in no test."""
    assert set() == pages_of_service() - {example.route for example in PAGES}


def test_every_example_is_of_a_page() -> None:
    """An example whose page is gone is taken from the list."""
    assert set() == {example.route for example in PAGES} - pages_of_service() - PUBLIC


def test_names_of_examples_differ() -> None:
    """Pictures are named for their example."""
    names = [example.name for example in PAGES]
    assert sorted(set(names)) == sorted(names)
