"""What is said of a card beside its master under several lights, and how surely."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service.domain.instruments import variance_between_instruments
from service.domain.pooling import known_uncertainty
from service.domain.records.measuring import Lab, Reading
from service.domain.terms import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderLight:
    """A card and its master under one light.

    ``delta_e_2000`` is what is seen there, ``index_2000`` (special metamerism index, CIEDE2000)
    what the change of light alone brings. ``low`` and ``high`` bound 95 % of where the difference
    lies. ``settled`` says whether ``matches`` holds at the finish's risk, None where nothing is
    known of the noise.
    """

    illuminant: str
    place: str
    delta_e_2000: float
    index_2000: float
    matches: bool
    different: bool
    master: Lab
    card: Lab
    settled: bool | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderLights:
    """The pair under the light of its readings and under the others; or ``why_not``.

    ``answer`` finishes a sentence that begins with the batch; ``words`` has every light with its
    figure; ``sureness`` says what the figures are worth, ``next_step`` what to do.
    ``missing_spectrum`` names whose is missing: master, card or both.
    """

    why_not: str = ""
    missing_spectrum: str = ""
    limit: float = 0.0
    angle: int | None = None
    stage: Stage | None = None
    observer: int = 0
    reference: UnderLight | None = None
    tests: tuple[UnderLight, ...] = ()
    words: str = ""
    answer: str = ""
    sureness: str = ""
    next_step: str = ""
    master_reading_id: str = ""
    card_reading_id: str = ""

    @property
    def lights(self) -> tuple[UnderLight, ...]:
        """All of them, the light of the readings first."""
        return (self.reference, *self.tests) if self.reference is not None else ()


@dataclass(frozen=True, slots=True)
class Noise:
    """What is known of how surely the two were read.

    Standard uncertainty of a repeat in each channel, where known; variance that different
    instruments add to each channel; and why nothing can be known of it.
    """

    of_a_repeat: float | None
    between: float
    doubt: str


def noise_of(master: Reading, card: Reading) -> Noise:
    """What is known of two readings."""
    named = master.instrument_id, card.instrument_id
    apart = master.inter_instrument_uncertainty, card.inter_instrument_uncertainty
    doubt = ""
    if None not in named and named[0] != named[1] and None in apart:
        doubt = (
            "The two were read by different instruments and nobody said how far these stand apart"
        )
    if master.past_calibration or card.past_calibration:
        doubt = "An instrument was past its calibration when it read them"
    return Noise(
        known_uncertainty([master, card]), variance_between_instruments(master, card), doubt
    )


def answer_of(seen: Sequence[UnderLight]) -> str:
    """Matches in daylight and shows under shop LED: the light of the readings, then what shows."""
    reference, *others = seen
    near = [light for light in others if light.settled is False]
    shows = [light for light in others if not light.matches and light.settled is not False]
    matches = [light for light in others if light.matches and light.settled is not False]
    first = f"{_verb(reference)} {reference.place}"
    if shows and reference.matches and reference.settled is not False:
        return f"{first} and shows {_places(shows)}"
    if shows:
        return f"{first}, and shows {_places(shows)}"
    if near:
        return f"{first}, and is too near the limit {_places(near)}"
    if not matches:
        return first
    also = "also " if reference.matches and reference.settled is not False else ""
    return f"{first}, and {also}matches {_places(matches)}"


def _verb(light: UnderLight) -> str:
    if light.settled is False:
        return "is too near the limit"
    return "matches" if light.matches else "shows"


def _places(lights: Iterable[UnderLight]) -> str:
    """Under a filament lamp, under shop LED and in daylight; each place once."""
    places = list(dict.fromkeys(light.place for light in lights))
    return places[0] if len(places) == 1 else f"{', '.join(places[:-1])} and {places[-1]}"


def sureness_of(seen: Sequence[UnderLight], noise: Noise) -> str:
    """What the figures are worth."""
    if noise.doubt:
        return (
            f"{noise.doubt}, so the figures are compared with the limit as they stand and are no "
            "verdict."
        )
    if any(light.settled is None for light in seen):
        return (
            "Nothing is known of the noise of these readings, so the figures are compared with "
            "the limit as they stand and are no verdict. Read each card three times or more, "
            "lifting the instrument."
        )
    basis = "the scatter of the repeats"
    if noise.of_a_repeat is not None:
        basis = "the instrument's repeatability, taken to be the same under every light"
    unsettled = [light for light in seen if not light.settled]
    if not unsettled:
        return f"Each holds by itself against {basis}. It is no verdict."
    return (
        f"By {basis} it is not settled {_places(unsettled)}: more readings may tell. "
        "It is no verdict."
    )


def next_step_of(seen: Sequence[UnderLight]) -> str:
    """What to do about it; empty where it matches under every light."""
    reference, *others = seen
    if reference.settled is False:
        return f"Read both cards more often, to settle first what it does {reference.place}."
    if not reference.matches:
        return f"Bring the colour right {reference.place} first, then look at the other lights."
    shows = [light for light in others if not light.matches and light.settled is not False]
    near = [light for light in others if light.settled is False]
    if shows:
        return (
            f"Hold the two cards side by side {_places(shows)} before the job leaves. Tinting "
            "moves the colour under every light at once, so where it must not be seen there, mix "
            "again from the pigments of the master's batch."
        )
    if near:
        return f"Read both cards more often, to settle what it does {_places(near)}."
    return ""
