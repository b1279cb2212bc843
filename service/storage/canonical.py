"""Canonical JSON (RFC 8785) for what the journal holds: text, whole numbers, truths, null.

Floats never get here (the codec writes them as decimal strings), so what is left of RFC 8785
is what the standard library's encoder does with sorted keys and no spaces; a test holds it
against the ``rfc8785`` package. Keys are field names and codes, all below U+D800, where sorting
by code point and by UTF-16 unit agree.
"""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

_encode = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode


def canonical(value: Any) -> str:
    """Canonical JSON text of a value without floats."""
    return _encode(value)


def sha256_of(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes, in hexadecimal."""
    return sha256(text.encode()).hexdigest()
