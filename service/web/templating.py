"""The templates: loaded once, strict about what they are given, with one helper for links."""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlencode

from fastapi.routing import APIRoute

if TYPE_CHECKING:
    from jinja2 import Environment

HERE = Path(__file__).parent
TEMPLATES = HERE / "templates"
STATIC = HERE / "static"

ENTRANCES = {"bench": "/bench", "rack": "/rack", "audit": "/audit", "person": "/person"}
"""Addresses the frame of every page links to, wherever their pages come from."""


class Links:
    """Turns the name of a route and its parts into an address.

    Parts that the path does not name become the query; a part that is None or empty is left
    out of it. Static files carry a digest of their content, so that they may be kept for ever.
    """

    def __init__(self) -> None:
        self._paths = dict(ENTRANCES)
        self._static: dict[str, str] = {}

    def add(self, routes: Iterable[APIRoute]) -> None:
        """Know the GET routes (and others by their names) of these."""
        for route in routes:
            if route.name not in self._paths or "GET" in (route.methods or ()):
                self._paths[route.name] = route.path

    def __call__(self, name: str, **parts: Any) -> str:
        if name == "static":
            return self._static_link(str(parts["path"]))
        path = self._paths.get(name)
        if path is None:
            raise LookupError(f"there is no route named {name!r}; known: {sorted(self._paths)}")
        query: dict[str, str] = {}
        for key, value in parts.items():
            slot = "{" + key + "}"
            if slot in path:
                path = path.replace(slot, quote(str(value), safe=""))
            elif value not in (None, ""):
                query[key] = str(value)
        if "{" in path:
            raise LookupError(f"the link {name!r} wants all parts of {path}, got {sorted(parts)}")
        return f"{path}?{urlencode(query)}" if query else path

    def _static_link(self, path: str) -> str:
        found = self._static.get(path)
        if found is None:
            digest = sha256((STATIC / path).read_bytes()).hexdigest()[:10]
            found = self._static[path] = f"/static/{path}?v={digest}"
        return found


def make_environment(links: Links, **more: Any) -> Environment:
    """The Jinja environment: everything escaped, nothing undefined passed over."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from service.web import filters

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    filters.install(environment, link=links, **more)
    return environment
