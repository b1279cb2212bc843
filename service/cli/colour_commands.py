"""Commands on typed colours, no file and no record needed: difference."""

from __future__ import annotations

import click

from service.cli.arguments import ColourCommand, Lab, LabType, NumberType
from service.cli.frame import print_json
from service.cli.layout import signed, table

# Above this the formulas were not made to be read to the digit (ASTM D2244-21, 5.2).
MEANT_UP_TO = 5.0
_WEIGHT = NumberType(0.01, 100)


@click.command(
    cls=ColourCommand,
    epilog='Example: keepcard difference "50,2.6772,-79.7751" "50,0,-82.7485"   '
    'With decimal commas: keepcard difference "50,1;2,3;-4" "50,6;2,1;-4,2"',
)
@click.argument("master", type=LabType())
@click.argument("sample", type=LabType())
@click.option("--k-l", type=_WEIGHT, default=1.0, help="Weight of lightness, 1.")
@click.option("--k-c", type=_WEIGHT, default=1.0, help="Weight of chroma, 1.")
@click.option("--k-h", type=_WEIGHT, default=1.0, help="Weight of hue, 1.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def difference(master: Lab, sample: Lab, k_l: float, k_c: float, k_h: float, as_json: bool) -> None:
    """Colour difference between two L*, a*, b*; the first is the MASTER."""
    from colour import difference as formulas
    from colour.words import words as words_for

    steps = formulas.components(master, sample)
    found = {
        "delta_e_2000": formulas.delta_e_2000(master, sample, k_l=k_l, k_c=k_c, k_h=k_h),
        "delta_e_94": formulas.delta_e_94(master, sample),
        "delta_e_cmc_2_1": formulas.delta_e_cmc(master, sample, l=2.0, c=1.0),
        "delta_e_cmc_1_1": formulas.delta_e_cmc(master, sample, l=1.0, c=1.0),
        "delta_e_ab": formulas.delta_e_ab(master, sample),
        "delta_l": steps.delta_l,
        "delta_a": steps.delta_a,
        "delta_b": steps.delta_b,
        "delta_c": steps.delta_c,
        "delta_h": steps.delta_h,
    }
    words = words_for(master, sample)
    if as_json:
        print_json({**found, "words": words})
        return
    click.echo(_as_text(master, sample, found, words, (k_l, k_c, k_h)))


def _as_text(
    master: Lab,
    sample: Lab,
    found: dict[str, float],
    words: str,
    weights: tuple[float, float, float],
) -> str:
    weighted = "" if weights == (1, 1, 1) else " with k_L:k_C:k_H = {:g}:{:g}:{:g}".format(*weights)
    chroma = [(a * a + b * b) ** 0.5 for _, a, b in (master, sample)]
    axes = [
        (axis, f"{one:.2f}", f"{other:.2f}", signed(found[key]))
        for axis, one, other, key in (
            ("L*", master[0], sample[0], "delta_l"),
            ("a*", master[1], sample[1], "delta_a"),
            ("b*", master[2], sample[2], "delta_b"),
            ("C*", *chroma, "delta_c"),
        )
    ]
    lines = [
        f"ΔE00 {found['delta_e_2000']:.2f}{weighted}. Sample against master: {words}.",
        "",
        table(
            ("", "master", "sample", "difference"),
            [*axes, ("H*", "", "", signed(found["delta_h"]))],
        ),
        "",
        f"Other formulas, not to be mixed with it: ΔE94 {found['delta_e_94']:.2f}, "
        f"ΔE CMC(2:1) {found['delta_e_cmc_2_1']:.2f}, CMC(1:1) {found['delta_e_cmc_1_1']:.2f}, "
        f"ΔE*ab {found['delta_e_ab']:.2f}",
    ]
    if found["delta_e_ab"] > MEANT_UP_TO:
        lines.append(
            f"Over ΔE*ab {MEANT_UP_TO:g} this is a different colour: the formulas are meant for "
            "small differences, so do not read the figures to the digit."
        )
    return "\n".join(lines)
