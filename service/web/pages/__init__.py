"""The pages, one module for each family.

To add a family, write its module as ``service.web.context`` describes and name it in
``MODULES``.
"""

from __future__ import annotations

from importlib import import_module

from fastapi import APIRouter

MODULES = ("entry",)
"""Modules of this package with a ``router``; imported when the application is made."""


def page_routers() -> list[APIRouter]:
    """The router of each family, its rules now in the table of access."""
    return [import_module(f"{__name__}.{name}").router for name in MODULES]
