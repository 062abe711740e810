"""The files of a form are closed when its request is answered, whatever became of it: the framework leaves them open."""

from collections.abc import Mapping
from typing import Any

from litestar.datastructures import UploadFile
from litestar.utils.scope.state import ScopeState


async def close_uploads(message: Any, scope: Any) -> None:
    """With the last of an answer, close every file that the form of its request held."""
    if message["type"] != "http.response.body" or message.get("more_body"):
        return
    form: Any = ScopeState.from_scope(scope).form
    for said in form.values() if isinstance(form, Mapping) else ():
        for value in said if isinstance(said, list) else [said]:
            if isinstance(value, UploadFile):
                value.file.close()
