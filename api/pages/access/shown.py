"""Pages of this package: no cache keeps them, and what was wrong with a form stands in the form."""

from typing import Any

from litestar import Request, Response

from api.pages.access.forms import Fault
from api.pages.page import page

NO_STORE = {"cache-control": "no-store"}


def show(
    request: Request[Any, Any, Any], template: str, *, fault: Fault | None = None, status: int = 200, **values: Any
) -> Response[bytes]:
    """A page of ``templates/access``; ``fault`` is what was wrong with the form that it answers."""
    return page(
        request,
        f"access/{template}",
        status=status,
        headers=NO_STORE,
        fault=fault,
        **values,
    )
