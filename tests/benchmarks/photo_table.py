"""The table of what was reached, from readings of simulated photographs by group."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from tests.photo_trials import (
    CHI_SQUARE_95,
    DARK,
    LIMIT,
    NEARLY_NEUTRAL,
    SATURATED,
    Pair,
    Reading,
    root_mean_square,
    share,
)

Readings = Mapping[str, Sequence[Reading]]
# Groups of one kind of photograph, on a sheet printed exactly as its target says.
EXACT = ("good", "coarse")
GOOD = ("good", "printed, nominal", "printed, measured", "coarse", "local", "swapped")
SEEDS_NAMED = 6


def table(found: Readings) -> str:
    return "\n".join(_lines(found))


def _lines(found: Readings) -> Iterator[str]:
    good = list(found.get("good", ()))
    yield "MARKERS on good photographs (at least 98 %)"
    everything = [one for group in GOOD for one in found.get(group, ())]
    yield f"  found {_percent([one.markers / 4 for one in everything])} of all"
    yield f"  all four {_percent([one.markers == 4 for one in everything])} of photographs"
    yield "PAIRS, error of the Lab difference in ΔE00 (rms at most 0.25 from L* 15, 0.6 below)"
    yield _HEAD
    light = _pairs(good, lambda pair: pair.lightness >= DARK)
    dark = _pairs(good, lambda pair: pair.lightness < DARK)
    yield _errors("L* 15 and above", light)
    yield _errors("L* below 15", dark)
    yield _errors("  silvers, neutrals", [(o, p) for o, p in light if p.chroma < NEARLY_NEUTRAL])
    yield _errors("  saturated, C* > 30", [(o, p) for o, p in light if p.chroma > SATURATED])
    for camera in ("MatrixCamera", "SpectralCamera"):
        for name, some in (("light", light), ("dark", dark)):
            chosen = [(one, pair) for one, pair in some if one.settings["camera"] == camera]
            yield _errors(f"  {camera.removesuffix('Camera').lower()} cameras, {name}", chosen)
    exact = [one for group in EXACT for one in found.get(group, ())]
    for low, high in ((75, 84), (85, 91), (92, 98)):
        for name, is_so in (("light", _is_light), ("dark", _is_dark)):
            some = [one for one in exact if low <= one.settings["quality"] <= high]
            yield _errors(f"  quality {low}-{high}, {name}", _pairs(some, is_so))
    for group in ("printed, nominal", "printed, measured", "local"):
        for name, is_so in (("light", _is_light), ("dark", _is_dark)):
            yield _errors(f"{group}, {name}", _pairs(found.get(group, ()), is_so))
    yield from _swapped(found)
    yield f"VERDICTS at limit {LIMIT}, risk 5 % (wrong at most 5 %; 2 and more called at 80 %)"
    for group in ("good", "printed, nominal", "printed, measured", "coarse", "local"):
        yield from _verdicts(group, found.get(group, ()))
    yield "REFUSED (bad at least 95 %, good at most 3 %)"
    yield from _refusals(found)


_HEAD = (
    f"{'':26s}{'pairs':>6s}{'rms':>7s}{'median':>8s}{'p95':>7s}{'ΔE00 rms':>10s}"
    f"{'covered':>9s}{'own Lab':>9s}{'own ΔE00':>10s}  largest (seed)"
)
Read = tuple[Reading, Pair]


def _is_light(pair: Pair) -> bool:
    return pair.lightness >= DARK


def _is_dark(pair: Pair) -> bool:
    return pair.lightness < DARK


def _pairs(readings: Sequence[Reading], wanted: Callable[[Pair], bool]) -> list[Read]:
    return [(one, pair) for one in readings for pair in one.pairs if wanted(pair)]


def _errors(name: str, some: Sequence[Read]) -> str:
    if not some:
        return f"{name:26s}{0:6d}"
    from colour.difference import delta_e_2000

    errors = [pair.vector_error for _, pair in some]
    plain = [pair.seen_difference - pair.true_difference for _, pair in some]
    covered = [pair.squares <= CHI_SQUARE_95 for _, pair in some]
    own = [pair.window_squares(which) <= CHI_SQUARE_95 for _, pair in some for which in (0, 1)]
    absolute = [float(delta_e_2000(pair.truth[0], pair.read[0])) for _, pair in some]
    worst, _ = max(some, key=lambda each: each[1].vector_error)
    return (
        f"{name:26s}{len(some):6d}{root_mean_square(errors):7.3f}{np.median(errors):8.3f}"
        f"{np.quantile(errors, 0.95):7.3f}{root_mean_square(plain):10.3f}"
        f"{100 * share(covered):8.1f}%{100 * share(own):8.1f}%{np.median(absolute):10.2f}"
        f"  {max(errors):.2f} ({worst.settings['seed']})"
    )


def _swapped(found: Readings) -> Iterator[str]:
    first = {one.settings["seed"]: one for one in found.get("swapped", ()) if one.pairs}
    again = {one.settings["seed"]: one for one in found.get("swapped again", ()) if one.pairs}
    single, mean = [], []
    for seed in first.keys() & again.keys():
        pair, other = (
            next(pair for pair in one.pairs if pair.window == "card")
            for one in (first[seed], again[seed])
        )
        # In the second photograph the master lies in the card's window.
        error = (pair.error - other.error) / 2
        single.append(pair.vector_error)
        mean.append(float(np.linalg.norm(error) / np.linalg.norm(pair.error)) * pair.vector_error)
    if single:
        yield (
            f"{'cards swapped':26s}{len(single):6d}  one photograph {root_mean_square(single):.3f} "
            f"rms, mean of two {root_mean_square(mean):.3f}"
        )


def _verdicts(group: str, readings: Sequence[Reading]) -> Iterator[str]:
    pairs = _pairs(readings, lambda pair: True)
    if not pairs:
        return
    given = [(pair, pair.verdict()) for _, pair in pairs]
    seeds = [one.settings["seed"] for one, _ in pairs]
    wrong = [
        f"{seed} {pair.window} {pair.true_difference:.2f}→{pair.seen_difference:.2f} {verdict}"
        for seed, (pair, verdict) in zip(seeds, given, strict=True)
        if pair.is_wrong(verdict)
    ]
    by_photograph = [
        any(pair.is_wrong(pair.verdict()) for pair in one.pairs if pair.window == "card")
        for one in readings
        if one.pairs
    ]
    yield (
        f"  {group}: wrong {_percent([pair.is_wrong(v) for pair, v in given])} of pairs, "
        f"{_percent(by_photograph)} of photographs by their card about the limit"
        + (f"  {wrong[:SEEDS_NAMED]}" if wrong else "")
    )
    bands = (
        ("below 0.6", 0.0, 0.6), ("0.6 to 0.8", 0.6, 0.8), ("0.8 to 1.0", 0.8, 1.0),
        ("1.0 to 2.0", 1.0, 2.0), ("2 and more", 2.0, 99.0),
    )  # fmt: skip
    for name, is_so in (("L* 15 and above", _is_light), ("L* below 15", _is_dark)):
        parts = []
        for band, low, high in bands:
            some = [v for pair, v in given if is_so(pair) and low <= pair.true_difference < high]
            if some:
                counts = "/".join(str(some.count(v)) for v in ("blends", "cannot_tell", "shows"))
                called = f" = {share([v == 'shows' for v in some]):.0%}" * (low >= 2)
                parts.append(f"{band} {counts}{called}")
        yield f"    {name}, blends/cannot tell/shows: {'; '.join(parts)}"


def _refusals(found: Readings) -> Iterator[str]:
    for group in GOOD:
        some = found.get(group, ())
        if some:
            which = [
                f"{one.settings['seed']} {'+'.join(one.refused)}" for one in some if one.refused
            ]
            yield f"  good, {group}: {len(which)} of {len(some)} refused  {which[:SEEDS_NAMED]}"
    bad = {group: some for group, some in found.items() if group.startswith("bad ")}
    for group, some in bad.items():
        codes = [code for one in some for code in set(one.refused)]
        counts = ", ".join(f"{code} {codes.count(code)}" for code in sorted(set(codes)))
        passed = [_passed(one) for one in some if not one.refused]
        yield (
            f"  {group}: {len(some) - len(passed)} of {len(some)} refused ({counts})"
            + (f"  passed: {passed[:SEEDS_NAMED]}" if passed else "")
        )
    everything = [bool(one.refused) for some in bad.values() for one in some]
    if everything:
        yield f"  all bad: {_percent(everything)} refused of {len(everything)}"
    good = [bool(one.refused) for group in GOOD for one in found.get(group, ())]
    if good:
        yield f"  all good: {_percent(good)} refused of {len(good)}"


def _passed(one: Reading) -> str:
    errors = ", ".join(f"{pair.vector_error:.2f}" for pair in one.pairs)
    return f"{one.settings['seed']} warned {'+'.join(one.warned) or 'of nothing'}, off {errors}"


def _percent(values: Sequence[float] | Sequence[bool]) -> str:
    return f"{100 * float(np.mean(values)):.1f} %"
