"""Reads every module of verbs, so that ``VERBS`` is whole; import it from here to be sure."""

from __future__ import annotations

from service.use_cases import (  # noqa: F401  read for the verbs they register
    cards,
    check_tiles,
    closing,
    correcting,
    importing,
    job,
    measuring,
    photographs,
    shop,
    spraying,
)
from service.use_cases.command import VERBS

__all__ = ["VERBS"]
