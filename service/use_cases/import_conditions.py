"""The conditions a sample was read under: the file's words, and what is stated beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.domain.comparability import normal_geometry
from service.domain.records.shop import Instrument
from service.domain.terms import Stage
from service.use_cases.import_ports import SampleRead
from service.use_cases.import_trouble import Trouble
from service.use_cases.importing import NO_INSTRUMENT, Stated

NEEDED = ("stage", "illuminant", "observer", "geometry")


@dataclass(slots=True)
class Conditions:
    """What is known of a file's conditions.

    ``might_say`` gathers the fields of ``Stated`` that some sample is without and could do with.
    """

    stated: Stated
    instruments: Sequence[Instrument]
    fill_gaps: bool
    trouble: Trouble
    might_say: set[str] = field(default_factory=set)

    def of(
        self, number: int, sample: SampleRead, stage_by_name: Stage | None
    ) -> tuple[Stated, Instrument | None] | None:
        """The file's own word first; where two words differ, neither is guessed to be right."""
        name, stated = sample.name, self.stated
        before = len(self.trouble.problems)
        stage = sample.stage
        if stage is not None and stage_by_name is not None and stage != stage_by_name:
            self.trouble.wrong(
                "contradiction",
                number,
                name,
                f"the file says stage {stage}, its name says {stage_by_name.value}.",
                "Correct one of them.",
            )
        in_file: dict[str, Any] = {
            "stage": stage or stage_by_name,
            "illuminant": sample.conditions.illuminant,
            "observer": sample.conditions.observer,
            "geometry": sample.conditions.geometry,
            "specular": sample.conditions.specular,
        }
        said: dict[str, Any] = {}
        for field_name, value in in_file.items():
            other = getattr(stated, field_name)
            said[field_name] = value if value is not None else other
            clash = value is not None and other is not None and not _alike(value, other)
            if clash and not self.fill_gaps:
                self.trouble.wrong(
                    "contradiction",
                    number,
                    name,
                    f"the file says {field_name} {value}, "
                    f"{self.trouble.option}{field_name} says {other}.",
                    "Leave one out.",
                )
        instrument = self._instrument(number, sample)
        known = len(self.trouble.problems) == before
        by_instrument = instrument is not None and bool(instrument.geometry)
        missing = tuple(
            field_name
            for field_name in NEEDED
            if said[field_name] is None
            # An instrument that is still to be named may have a geometry of its own.
            and not (field_name == "geometry" and (by_instrument or not known))
        )
        if missing:
            remedy = (
                f"State {', '.join(self.trouble.option + field_name for field_name in missing)}."
            )
            what = "the file does not say everything."
            self.trouble.wrong("unsaid", number, name, what, remedy, missing)
        temperatures = sample.temperatures_c()
        temperature = (
            sum(temperatures) / len(temperatures) if temperatures else stated.temperature_c
        )
        self._note_what_might_be_said(said, instrument, temperature)
        if len(self.trouble.problems) > before:
            return None
        named = instrument.name if instrument else NO_INSTRUMENT
        return Stated(**said, instrument=named, temperature_c=temperature), instrument

    def _note_what_might_be_said(
        self, said: Mapping[str, Any], instrument: Instrument | None, temperature: float | None
    ) -> None:
        geometry = normal_geometry(said["geometry"] or (instrument.geometry if instrument else ""))
        own = instrument.specular if instrument else None
        if said["specular"] is None and own is None and geometry[:1] in ("d", ""):
            self.might_say.add("specular")
        if instrument is None and self.instruments and self.stated.instrument is None:
            self.might_say.add("instrument")
        if temperature is None:
            self.might_say.add("temperature_c")

    def _instrument(self, number: int, sample: SampleRead) -> Instrument | None:
        # A file names the instrument as its maker does, the shop as it likes: here the shop's
        # word holds, where everywhere else two different words are a contradiction.
        named = [sample.instrument, self.stated.instrument]
        if not self.fill_gaps:
            named.reverse()
        for name in named:
            for instrument in self.instruments:
                if name is not None and _same_name(instrument.name, name):
                    return instrument
        wanted = self.stated.instrument
        wanted = sample.instrument if wanted is None else wanted
        if wanted:
            self.trouble.wrong(
                "instrument",
                number,
                sample.name,
                f"no instrument is registered as {wanted}.",
                f"Register it, or name a registered one by {self.trouble.option}instrument.",
                ("instrument",),
            )
        return None


def _same_name(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()


def _alike(one: object, other: object) -> bool:
    return normal_geometry(str(one).strip()) == normal_geometry(str(other).strip())
