"""The pages, one module for each family.

To add a family, write its module as ``service.web.context`` describes and name it in
``MODULES``.
"""

from __future__ import annotations

from importlib import import_module

from fastapi import APIRouter

MODULES = (
    "entry",
    "trust",
    # Bench; what ends in /new stands before what takes any id in its place.
    "job_new",
    "job_parts",
    "job_policy",
    "job_bake",
    "batch_new",
    "batch_coat",
    "batch_card",
    "bench_reading",
    "readings_file",
    "photograph",
    "photo_sheet",
    "bench",
    "batch",
    "job",
    # Rack
    "rack",
    "nearest",
    "compare",
    "card_moves",
    "card_eye",
    "card_photo",
    "card_master",
    "papers",
    "card",
    "repair_new",
    "repair_reading",
    "repair",
    # Audit; the shop's book has addresses of its own under /shop.
    "audit_due",
    "audit_moved",
    "audit",
    "finish",
    "joint",
    "verdict",
    "accept",
    "release",
    "correct",
    "journal",
    "shop_book_people",
    "shop_book_sheets",
    "shop_book_tiles",
    "shop_book_photo_targets",
    "shop_book_tokens",
    "shop_book_instruments",
    "shop_book",
)
"""Modules of this package with a ``router``; imported when the application is made."""


def page_routers() -> list[APIRouter]:
    """The router of each family, its rules now in the table of access."""
    return [import_module(f"{__name__}.{name}").router for name in MODULES]
