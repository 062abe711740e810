"""Pages for people: the files that they load, and which form a client prefers; `api.pages.page` makes a page.

Pages work without scripts where a form can, in the light and in the dark, and load nothing from another host.
"""

from collections.abc import Mapping
from importlib import resources
from types import MappingProxyType
from typing import Any

from litestar import Request

HTML = "text/html"

_TYPES = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
_VIEWER_FILES = ("swagger-ui.css", "swagger-ui-bundle.js")


def prefers_html(request: Request[Any, Any, Any]) -> bool:
    """Whether a client asks for HTML before JSON; one that asks for anything gets JSON."""
    return request.accept.best_match(["application/json", "text/html"], "application/json") == "text/html"


def _read_files() -> Mapping[str, tuple[bytes, str]]:
    own = resources.files("api.pages").joinpath("static")
    found = {file.name: file.read_bytes() for file in own.iterdir() if _type_of(file.name)}
    viewer = resources.files("swagger_ui_bundle").joinpath("vendor")
    # The package holds one version, in a folder named for it.
    version = next(folder for folder in viewer.iterdir() if folder.joinpath(_VIEWER_FILES[0]).is_file())
    found |= {name: version.joinpath(name).read_bytes() for name in _VIEWER_FILES}
    return MappingProxyType({name: (content, _type_of(name)) for name, content in found.items()})


def _type_of(name: str) -> str:
    return _TYPES.get("." + name.rpartition(".")[2], "")


VIEWER = resources.files("api.pages").joinpath("templates", "viewer.html").read_bytes()
"""The page of the viewer; it has nothing to fill in."""

FILES = _read_files()
"""Every file that a page may load: name to content and type. Read once; nothing else is ever served as a file."""
