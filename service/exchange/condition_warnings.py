"""What a readings file leaves open about its conditions, whatever its format."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.exchange.condition_words import geometry_is_known
from service.exchange.readings import FileWarning, Sample

IN_A_TEXT = "State it above the header, as '# {name}: {example}'{column}."
IN_CXF = "State it in the ColorSpecification, or when the file is imported."


def missing_conditions(
    samples: Sequence[Sample], remedy: str = IN_A_TEXT, column: str = ""
) -> Iterator[FileWarning]:
    """One warning for each condition that some sample does not state."""

    def not_stated(name: str, what: str, example: str) -> FileWarning:
        return FileWarning(
            code=f"{name}_not_stated",
            message=f"{what} is not stated. "
            + remedy.format(name=name, example=example, column=column),
        )

    # A spectrum holds under every light; only colours worked out from it have one.
    lit = [s for s in samples if any(r.lab or r.xyz for r in s.readings)]
    if any(sample.conditions.illuminant is None for sample in lit):
        yield not_stated("illuminant", "The illuminant", "D65")
    if any(sample.conditions.observer is None for sample in lit):
        yield not_stated("observer", "The standard observer", "10")
    if any(sample.conditions.geometry is None for sample in samples):
        yield not_stated("geometry", "The measuring geometry", "45:0")
    if any(_specular_is_open(sample) for sample in samples):
        yield not_stated("specular", "Whether the specular reflection is included", "included")
    written = {s.conditions.geometry for s in samples if s.conditions.geometry is not None}
    strange = sorted(text for text in written if not geometry_is_known(text))
    if strange:
        names = ", ".join(f"'{text}'" for text in strange)
        yield FileWarning(
            code="geometry_not_recognised",
            message=f"{names} was kept as written; this program knows forms such as 45:0, 0:45, "
            "d:8 and multi-angle.",
        )


def _specular_is_open(sample: Sample) -> bool:
    """A directional geometry never sees the specular reflection, so there it is no question."""
    geometry = sample.conditions.geometry
    directional = sample.angles() != (None,) or (geometry is not None and "d" not in geometry)
    return sample.conditions.specular is None and not directional
