"""Pages for people: templates with everything escaped, files that they load, and which form a client prefers.

Pages are plain: they work without scripts, in the light and in the dark, and load nothing from another host.
"""

from collections.abc import Mapping
from importlib import resources
from types import MappingProxyType
from typing import Any

import jinja2
from litestar import Request, Response

HTML = "text/html"

# Every template is HTML, whatever its name: nothing is ever left unescaped.
_ENVIRONMENT = jinja2.Environment(
    loader=jinja2.PackageLoader("api.pages", "templates"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)

_TYPES = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
_VIEWER_FILES = ("swagger-ui.css", "swagger-ui-bundle.js")


def render(
    template: str, *, status: int = 200, headers: dict[str, str] | None = None, **values: Any
) -> Response[bytes]:
    """A page from a template."""
    content = _ENVIRONMENT.get_template(template).render(**values).encode()
    return Response(content=content, media_type=HTML, status_code=status, headers=headers)


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


FILES = _read_files()
"""Every file that a page may load: name to content and type. Read once; nothing else is ever served as a file."""
