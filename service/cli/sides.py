"""The two sides of a comparison, out of two readings files."""

from __future__ import annotations

from collections.abc import Sequence

from service.cli.frame import Refusal, ports, read_file
from service.cli.like_with_like import Side
from service.cli.ports import SampleRead

_MOST_NAMES = 5
# Judging takes unnamed rows for repeats by contract, and says of both files at once what they
# leave open.
_NOT_SAID_AGAIN = ("no_names", "repeats_by_name")


def read_side(path: str, angle: int | None) -> Side:
    """The repeats of the one card a file holds; at ``angle`` where it has several."""
    try:
        file = ports().read_readings(read_file(path))
    except Exception as error:
        # Two files are read, so the reader's own words need the name of the one they are about.
        from service.domain.refused import Refused

        if isinstance(error, Refused):
            raise Refusal(f"{path}: {error}") from error
        raise
    samples = [sample for sample in file.samples if sample.labs_by_angle()]
    if not samples:
        raise Refusal(
            f"{path} holds no L*, a*, b*. A spectrum or X, Y, Z alone cannot be judged here; "
            "export the readings with L*, a*, b*."
        )
    _one_card(path, samples)
    labs: dict[int | None, list[tuple[float, float, float]]] = {}
    for sample in samples:
        for at, repeats in sample.labs_by_angle().items():
            labs.setdefault(at, []).extend(repeats)
    chosen = _chosen_angle(path, list(labs), angle)
    return Side(
        name=path,
        labs=tuple(labs[chosen]),
        angle=chosen,
        sample=samples[0],
        temperatures_c=tuple(t for sample in samples for t in sample.temperatures_c()),
        warnings=tuple(
            (warning.code, f"{path}: {warning.message}")
            for warning in file.warnings
            if warning.code not in _NOT_SAID_AGAIN and not warning.code.endswith("_not_stated")
        ),
    )


def _one_card(path: str, samples: Sequence[SampleRead]) -> None:
    """Refuse a file of several cards, or of one card under several conditions.

    Rows without names are repeat readings: that is what a file given to ``judge`` holds.
    """
    names = list(dict.fromkeys(sample.name for sample in samples))
    if len(names) > 1:
        shown = ", ".join(str(name) for name in names[:_MOST_NAMES])
        more = ", ..." if len(names) > _MOST_NAMES else ""
        raise Refusal(
            f"{path} holds {len(names)} samples ({shown}{more}). One card is judged against one "
            "master: keep the readings of one in the file."
        )
    kinds = {(sample.conditions, sample.stage) for sample in samples}
    if len(kinds) > 1:
        raise Refusal(
            f"{path} holds readings under {len(kinds)} sets of conditions. Keep the readings of "
            "one in the file: they must not be averaged."
        )


def _chosen_angle(path: str, there: list[int | None], wanted: int | None) -> int | None:
    shown = ", ".join("no stated angle" if at is None else f"{at}°" for at in there)
    if wanted is not None:
        if wanted not in there:
            raise Refusal(f"{path} has no reading at {wanted}°; it has {shown}.")
        return wanted
    if len(there) > 1:
        raise Refusal(
            f"{path} has readings at {shown}. Every angle is judged by itself, the worst decides: "
            "add --angle and run once for each."
        )
    return there[0]
