"""Records of the cards themselves: what hangs in the rack and where it went."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from service.domain.card_code import check_card_code
from service.domain.records.base import JobRecord, check_range, check_text
from service.domain.refused import Invalid
from service.domain.terms import CardKind, HidingMark, Hung, MovementKind, ZoneState


@dataclass(frozen=True, slots=True, kw_only=True)
class Card(JobRecord):
    """The test card of a batch; ``observed_at`` is when it was sprayed."""

    table: ClassVar[str] = "cards"

    batch_id: str
    finish_id: str
    code: str
    kind: CardKind
    slot: str = ""
    substrate: str = ""
    hung: Hung = Hung.UPRIGHT
    hiding_mark: HidingMark = HidingMark.NONE
    ground_shade: str = ""
    replaces: str | None = None
    note: str = ""

    def check(self) -> None:
        check_card_code(self.code)
        if len(self.slot) > 20:
            raise Invalid("slot", f"The slot {self.slot!r} is too long. Keep it to 20 characters.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone(JobRecord):
    """One zone of a card; ``mid_coats`` is the step of a let-down card."""

    table: ClassVar[str] = "zones"

    card_id: str
    name: str
    state: ZoneState
    cleared: bool
    mid_coats: int | None = None

    def check(self) -> None:
        check_text("name", self.name, "The zone's name", 40)
        check_range("mid_coats", self.mid_coats, 0, 20, "The number of mid-coats")
        if (self.state is ZoneState.LET_DOWN_STEP) != (self.mid_coats is not None):
            raise Invalid("mid_coats", "A let-down step, and only it, has a number of mid-coats.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement(JobRecord):
    """A card left its slot, came back, or was found missing."""

    table: ClassVar[str] = "movements"

    card_id: str
    kind: MovementKind
    holder_id: str
    why: str = ""
    state: str = ""
    slot: str = ""

    def check(self) -> None:
        if self.kind is MovementKind.RETURNED:
            check_text("state", self.state, "How the card looks", 500)
        else:
            check_text("why", self.why, "The reason", 500)


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(JobRecord):
    """A photograph of a card; the bytes lie in the photo store under their SHA-256."""

    table: ClassVar[str] = "photos"

    card_id: str
    sha256: str
    media_type: str
    size_bytes: int
    width: int
    height: int
    caption: str = ""

    def check(self) -> None:
        if len(self.sha256) != 64:
            raise Invalid("sha256", f"{self.sha256!r} is not a SHA-256. Send 64 hex digits.")
