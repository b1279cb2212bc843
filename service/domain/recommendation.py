"""What to do about a repair: edge to edge, blend out, or tint again; and why.

The rule is plain, and adds no figure of its own. A joint forgives what the shop's limit for its
kind says: the paint is judged against the car by the limit for an edge, then by the one for a
fade. A fade wider than half a degree of view is harder to see than an edge ("An explanation for
the visibility of low-frequency gratings", Vision Research; abstract read, the volume from memory
is 21, 1981). That is of gratings in grey, and nobody measured it on paint, so nothing is
multiplied: where the shop allows a fade no more than an edge, what shows as an edge is to be
tinted again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.domain.beside_car import Beside, Way
from service.domain.comparability import Grade
from service.domain.judging import Draft
from service.domain.records.measuring import EyeCheck
from service.domain.terms import EyeWord, JointKind, Word


class Plan(StrEnum):
    """What is to be done next."""

    READ_CAR = "read_car"
    READ_ALIKE = "read_alike"
    READ_MORE = "read_more"
    TRIAL = "trial"
    EDGE = "edge"
    FADE = "fade"
    TINT = "tint"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """What to do next, in one sentence, with its reasons and with what it cannot know.

    ``card_id`` is the card it rests on, None before anything was read.
    """

    plan: Plan
    sentence: str
    because: tuple[str, ...]
    limits: tuple[str, ...] = ()
    card_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A card the car was held against, by the name people give it, and what eyes saw there."""

    name: str
    beside: Beside
    eyes: tuple[EyeCheck, ...] = ()


UNSEEN = (
    "No number here sees sparkle, grain, gloss or orange peel: hold the card to the car at face, "
    "middle and flop before the gun is filled."
)
"""ASTM E2194: specimens alike at three angles may differ in gloss, peel, texture or flake."""

_JOINT = {JointKind.BUTT: "a butt joint", JointKind.GAP: "a panel gap"}
_RANK = {Word.BLENDS: 0, Word.CANNOT_TELL: 1, Word.SHOWS: 2, Word.NOT_COMPARABLE: 3}


def recommend(
    *,
    car_was_read: bool,
    stored: Tried | None,
    trials: Sequence[Tried] = (),
    neighbours: Sequence[str] = (),
) -> Recommendation:
    """What to do next about a repair, from what was read so far.

    The trial card that lies best beside the car decides once there is one; before that the
    stored card says whether the stored mix is worth a trial as it stands.
    """
    if not car_was_read:
        return Recommendation(
            plan=Plan.READ_CAR,
            sentence="Read the car near the damage first",
            because=("Nothing is known yet of how the car looks today.",),
        )
    if trials:
        return _by_trial(best_of(trials), len(trials), neighbours)
    if stored is None:
        return Recommendation(
            plan=Plan.TRIAL,
            sentence="Spray a trial card: no stored card stands for this panel",
            because=("No card of the stored finish was ever read.",),
        )
    return _by_stored(stored, neighbours)


def best_of(tried: Sequence[Tried]) -> Tried:
    """The card that lies best beside the car: by its word, then by its number, then the newest."""

    def rank(one: Tried) -> tuple[int, float, float]:
        draft = one.beside.edge
        number = draft.decision.delta_e_2000 if draft.decision is not None else float("inf")
        return (_RANK[draft.word], number, -one.beside.card.observed_at.timestamp())

    return min(tried, key=rank)


def _by_trial(best: Tried, count: int, neighbours: Sequence[str]) -> Recommendation:
    edge, fade = best.beside.edge, best.beside.fade
    plan = plan_of(best.beside)
    name = best.name
    because = [_number(name, best.beside)]
    if plan is Plan.EDGE:
        sentence = f"Spray edge to edge: {name} blends with the car"
    elif plan is Plan.FADE and fade is not None:
        sentence = f"Blend {name} out into {_into(neighbours)}; do not stop at an edge"
        because.append(
            f"It blends by the shop’s own limit for a fade, {fade.limit:.2f}, and not by the one "
            f"for {_JOINT[best.beside.kind]}, {edge.limit:.2f}."
        )
    elif plan is Plan.TINT:
        sentence = f"Tint {name} again{_towards(best.beside)}: it would show against the car"
        because += _why_tint(best.beside)
    elif plan is Plan.READ_ALIKE:
        sentence = f"Read the car and {name} alike"
        because = _stopping(edge)
    else:
        sentence = f"Read again: nobody can tell yet whether {name} blends with the car"
        because += [edge.next_step] if edge.next_step else []
        because.append(
            "If the car cannot wait, blend out rather than stop at an edge: a fade is harder to "
            "see, by how much nobody has measured on paint."
        )
    limits = [UNSEEN]
    if count > 1:
        limits.append(
            f"{count} cards were tried, each at its own risk of {edge.risk:.0%} of a wrong word; "
            "the more are tried, the likelier one blends by luck."
        )
    return Recommendation(
        plan=plan,
        sentence=sentence,
        because=tuple([*because, *_eyes(best)]),
        limits=tuple(limits),
        card_id=best.beside.card.root,
    )


def _by_stored(stored: Tried, neighbours: Sequence[str]) -> Recommendation:
    edge, fade = stored.beside.edge, stored.beside.fade
    plan = plan_of(stored.beside)
    because = [_number(stored.name, stored.beside)]
    if plan is Plan.EDGE:
        plan = Plan.TRIAL
        sentence = "Mix the stored formula and prove it on a trial card"
        because.insert(0, "The car still matches its stored card.")
        because.append("If that card blends with the car too, spray edge to edge.")
    elif plan is Plan.FADE and fade is not None:
        plan = Plan.TRIAL
        sentence = f"Spray a trial card, and expect to blend out into {_into(neighbours)}"
        because.append(f"It would pass the shop’s limit for a fade, {fade.limit:.2f}.")
    elif plan is Plan.TINT:
        sentence = f"Tint the stored formula{_towards(stored.beside)}, then spray a trial card"
        because.insert(0, "The car no longer matches its stored card.")
        because += _why_tint(stored.beside)
    elif plan is Plan.READ_ALIKE:
        sentence = "Read the car as its card was read"
        because = _stopping(edge)
    else:
        sentence = "Read the car again: nobody can tell yet whether it still matches its card"
        because += [edge.next_step] if edge.next_step else []
    return Recommendation(
        plan=plan,
        sentence=sentence,
        because=tuple([*because, *_eyes(stored)]),
        limits=("Every pot is another colour until its card has shown otherwise.", UNSEEN),
        card_id=stored.beside.card.root,
    )


def plan_of(beside: Beside) -> Plan:
    """What the words of an edge and of a fade come to."""
    if beside.edge.word is Word.NOT_COMPARABLE:
        return Plan.READ_ALIKE
    if beside.edge.word is Word.BLENDS:
        return Plan.EDGE
    if beside.fade is not None and beside.fade.word is Word.BLENDS:
        return Plan.FADE
    return Plan.TINT if beside.edge.word is Word.SHOWS else Plan.READ_MORE


def turned_flake(ways: Iterable[Way]) -> bool:
    """Whether the face and the flop go opposite ways in lightness: lighter here, darker there."""
    said = {word for way in ways for word in ("lighter", "darker") if word in way.words}
    return len(said) > 1


def _towards(beside: Beside) -> str:
    """Which way the paint has to go to reach the car, by the angle that decided."""
    decision = beside.edge.decision
    return f", {decision.words}" if decision is not None and decision.words else ""


def _why_tint(beside: Beside) -> list[str]:
    angles = [
        f"{way.words} at {way.angle}°" for way in beside.ways if way.angle is not None and way.words
    ]
    said = [f"The car is {', '.join(angles)}."] if len(angles) > 1 else []
    if beside.fade is not None and beside.fade.word is Word.CANNOT_TELL:
        said.append(
            f"Whether a fade would hide it, by its limit of {beside.fade.limit:.2f}, cannot be "
            "told from these readings."
        )
    if turned_flake(beside.ways):
        said.append(
            "Lighter at one angle and darker at another is how the flake lies: look at gun, "
            "pressure, distance and flash before the tint."
        )
    return said


def _number(name: str, beside: Beside) -> str:
    """How the car lies beside the card, with its range and the limit of an edge."""
    draft = beside.edge
    decision = draft.decision
    if decision is None:
        why = " ".join(reason.text for reason in draft.reasons)
        return f"The car cannot be judged against {name} yet. {why}".strip()
    if decision.over_five and draft.word is Word.SHOWS:
        return f"The car is a different colour from {name}: over 5."
    at = "" if decision.angle is None else f" at {decision.angle}°"
    number = "over 5" if decision.over_five else f"{decision.delta_e_2000:.2f}"
    reach = ""
    if decision.low is not None and decision.high is not None and not decision.over_five:
        reach = f" (95 % range {decision.low:.2f} to {decision.high:.2f})"
    way = f", the car {decision.words}" if decision.words else ""
    limit = f"limit {draft.limit:.2f} at {_JOINT[beside.kind]}"
    return f"{number}{reach}{at} between the car and {name}{way}; {limit}."


def _stopping(draft: Draft) -> list[str]:
    stopping = [reason for reason in draft.reasons if reason.grade is Grade.STOPS]
    return [f"{reason.text} {reason.remedy}" for reason in stopping]


def _eyes(tried: Tried) -> list[str]:
    """What eyes saw, where it differs from what was measured; it is said and changes nothing."""
    blends = tried.beside.edge.word is Word.BLENDS
    odd = EyeWord.CLEARLY_SEEN if blends else EyeWord.NO_DIFFERENCE
    said = {EyeWord.CLEARLY_SEEN: "a clear difference", EyeWord.NO_DIFFERENCE: "no difference"}
    return [
        f"An eye saw {said[odd]} at the {check.look} under {check.light}."
        for check in tried.eyes
        if check.word is odd
    ]


def _into(neighbours: Sequence[str]) -> str:
    """The panels a colour can be faded out into, as a choice."""
    names = [f"the {name[:1].lower()}{name[1:]}" for name in neighbours]
    if not names:
        return "the neighbouring panel"
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]
