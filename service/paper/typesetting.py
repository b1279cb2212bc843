"""From values to pages: templates of the typesetter beside this file, and the values as JSON.

What people typed reaches the typesetter as data and never as source, so nothing in a name can be
read as a command. Fonts are the typesetter's own and are read once for the life of the process.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from service.paper.letters import lacks_letters, settable

if TYPE_CHECKING:
    import typst

_TEMPLATES = Path(__file__).parent
Values = Mapping[str, Any]


def typeset(
    template: Literal["document", "labels"],
    values: Values,
    form: Literal["pdf", "png"] = "pdf",
    ppi: float | None = None,
) -> bytes:
    """The pages of a template filled with values; a picture is of the only page."""
    import typst

    plain, texts = _plain(values)
    given = json.dumps({**plain, "lacks_letters": lacks_letters(texts)}, ensure_ascii=False)
    drawn: bytes = typst.compile(
        _TEMPLATES / f"{template}.typ",
        root=_TEMPLATES,
        format=form,
        ppi=ppi,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs={"values": given},
        # Tags let a screen reader go through a paper; labels go to a printer, and faster without.
        pdf_tags=template == "document",
    )
    return drawn


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False)


def _plain(values: Values) -> tuple[dict[str, Any], list[str]]:
    """The values with every text as it may be set, and the texts."""
    texts: list[str] = []

    def walk(value: Any) -> Any:
        if isinstance(value, str):
            text = settable(value)
            texts.append(text)
            return text
        if isinstance(value, Mapping):
            return {
                # A drawing is ours and holds no words.
                key: inner if key == "svg" else walk(inner)
                for key, inner in value.items()
            }
        if isinstance(value, (list, tuple)):
            return [walk(inner) for inner in value]
        return value

    return walk(values), texts
