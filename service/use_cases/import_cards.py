"""Which card of the shop a sample is of, by its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from service.domain.card_code import grouped, read_card_code
from service.domain.code_slips import as_a_code
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.refused import Invalid
from service.use_cases.import_names import Beside, read_beside, read_freely, taken_apart
from service.use_cases.import_ports import SampleRead
from service.use_cases.import_trouble import Trouble
from service.use_cases.importing import PlaceOfCode
from service.use_cases.ports import Store


@dataclass(frozen=True, slots=True)
class Found:
    """The card a sample is of, its zone if the name says it, and what else the name says."""

    job: RecordFile
    card: Card
    zone: Zone | None
    beside: Beside


@dataclass(slots=True)
class CardFinder:
    """Looks cards up by the names of samples.

    ``codes`` are those of the cards that were found, ``left_out`` the samples that name none, if
    that is allowed.
    """

    store: Store
    place_of_code: PlaceOfCode
    trouble: Trouble
    leave_out_unknown: bool
    left_out: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    _jobs: dict[str, RecordFile] = field(default_factory=dict)

    def one_card(self, samples: Sequence[SampleRead], card: str) -> str | None:
        """The code of the one card a file is said to be of; None where it cannot be all of it."""
        code = read_card_code(card)
        named = [taken_apart(sample.name or "") for sample in samples]
        read = [read_freely(one.words) for one in named if not one.codes]
        unlike = {words for words, _ in read}
        repeats = {beside.repeat for _, beside in read}
        if len(unlike) > 1 or len(repeats) < len(read):
            self.trouble.wrong(
                "one_card",
                0,
                None,
                f"The file holds {len(samples)} samples, so {self.trouble.option}card cannot "
                "stand for all.",
                "Name the samples by their cards' codes.",
            )
            return None
        return code

    def find(self, number: int, sample: SampleRead, whole: str | None) -> Found | None:
        """The card of a sample; ``whole`` is the one the file is said to be of."""
        name = sample.name or ""
        taken = taken_apart(name)
        here = {code: self.place_of_code(code) for code in taken.codes}
        known = [code for code, place in here.items() if place is not None]
        if len(known) > 1:
            listed = " and ".join(grouped(code) for code in known)
            self.trouble.wrong(
                "two_cards", number, name, f"it names two cards, {listed}.", "Name one."
            )
            return None
        if whole is not None and known and known[0] != whole:
            self.trouble.wrong(
                "other_card",
                number,
                name,
                f"it is named by the card {grouped(known[0])}, not {grouped(whole)}.",
                "Take the file in without naming a card, or choose the right one.",
            )
            return None
        code = known[0] if known else whole
        if code is None:
            self._no_card(number, name, taken.codes)
            return None
        place = here.get(code) or self.place_of_code(code)
        if place is None:
            self._no_card(number, name, (code,))
            return None
        self.codes.append(grouped(code))
        job = self._job(place[0])
        zones = job.by(Zone, "card_id", place[1])
        if code not in known:
            beside = read_freely(taken.words)[1]
        else:
            try:
                beside = read_beside(taken.words, [zone.name for zone in zones])
            except Invalid as refused:
                remedy = "Write one of these there, or the code alone."
                self.trouble.wrong("name", number, name, str(refused), remedy)
                return None
        zone = zones[beside.zone] if beside.zone is not None else None
        return Found(job, job.get(Card, place[1]), zone, beside)

    def _job(self, job_id: str) -> RecordFile:
        if job_id not in self._jobs:
            self._jobs[job_id] = self.store.job(job_id)
        return self._jobs[job_id]

    def _no_card(self, number: int, name: str, codes: Sequence[str]) -> None:
        if self.leave_out_unknown:
            self.left_out.append(name or "(no name)")
            return
        if codes:
            listed = " or ".join(grouped(code) for code in codes)
            what, remedy = f"no card here has the code {listed}.", "Log the card first."
        elif not name:
            what = "it names no card."
            remedy = f"Name it by the card's code, or give {self.trouble.option}card."
        else:
            what = f"{name!r} names no card."
            if as_a_code(name) is not None:
                try:
                    read_card_code(name)
                except Invalid as refused:
                    what = str(refused)
            remedy = "Name the sample by its card's code."
        self.trouble.wrong("no_card", number, name, what, remedy)
