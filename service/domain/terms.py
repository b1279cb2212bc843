"""The closed sets of words the record uses; the trade's and the standards' own."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """What a person may do; one person may hold several."""

    PAINTER = "painter"
    REFINISHER = "refinisher"
    MANAGER = "manager"


class FinishKind(StrEnum):
    """Kind of a paint colour system."""

    SOLID = "solid"
    METALLIC = "metallic"
    PEARL = "pearl"
    TRI_COAT = "tri_coat"

    @property
    def has_flop(self) -> bool:
        """Whether its colour changes with the angle of view."""
        return self is not FinishKind.SOLID


class JointKind(StrEnum):
    """How two sprays meet: edge contact, a gap, a fade inside a panel, an edge inside a panel."""

    BUTT = "butt"
    GAP = "gap"
    FADE = "fade"
    WITHIN = "within"


class ComponentRole(StrEnum):
    """What a component does in a mixed pot."""

    BASE = "base"
    MID = "mid"
    CLEAR = "clear"
    HARDENER = "hardener"
    REDUCER = "reducer"
    ADDITIVE = "additive"


class CoatRole(StrEnum):
    """What a coat does in the stack."""

    GROUND = "ground"
    BASE = "base"
    MID = "mid"
    CLEAR = "clear"

    @property
    def gives_colour(self) -> bool:
        """Whether the coat is one of the colour coats that make the two sides of a joint."""
        return self is not CoatRole.CLEAR


class CardKind(StrEnum):
    """Trial: sprayed before the car. Retention: sprayed together with the panel."""

    TRIAL = "trial"
    RETENTION = "retention"


class Hung(StrEnum):
    """How the card hung while it was sprayed; flake lies down otherwise."""

    UPRIGHT = "upright"
    FLAT = "flat"


class HidingMark(StrEnum):
    """What is seen of the black-and-white hiding mark under the colour coats."""

    NONE = "none"
    COVERED = "covered"
    SHOWS_THROUGH = "shows_through"


class Stage(StrEnum):
    """How far a surface was finished when it was read, earliest first."""

    WET = "wet"
    BASE_DRY = "base_dry"
    CLEARED = "cleared"
    BAKED = "baked"
    POLISHED = "polished"

    @property
    def is_cleared(self) -> bool:
        """Whether clear lies on it."""
        return self in (Stage.CLEARED, Stage.BAKED, Stage.POLISHED)

    @property
    def order(self) -> int:
        """Place in the sequence of the work, 0 first."""
        return list(Stage).index(self)


class ZoneState(StrEnum):
    """What was done to one zone of a card."""

    BARE_BASE = "bare_base"
    CLEARED = "cleared"
    CUT_AND_POLISHED = "cut_and_polished"
    LET_DOWN_STEP = "let_down_step"


class Specular(StrEnum):
    """Whether the specular reflection was measured with the colour."""

    INCLUDED = "included"
    EXCLUDED = "excluded"


class Method(StrEnum):
    """Where a reading comes from."""

    INSTRUMENT = "instrument"
    PHOTOGRAPH = "photograph"


class PatchValues(StrEnum):
    """Where the colours of a photographed target's patches come from."""

    NOMINAL = "nominal"
    MEASURED = "measured"


class MasterLevel(StrEnum):
    """The three levels of physical standards in ASTM D5531."""

    MASTER = "master"
    DUPLICATE = "duplicate"
    WORKING = "working"


class MovementKind(StrEnum):
    """What happened to a card's place in the rack."""

    PULLED = "pulled"
    RETURNED = "returned"
    MISSING = "missing"


class Look(StrEnum):
    """From where an eye looked at an effect finish."""

    FACE = "face"
    MIDDLE = "middle"
    FLOP = "flop"


class EyeWord(StrEnum):
    """A person's own verdict; never turned into the measured one."""

    NO_DIFFERENCE = "no_difference"
    JUST_SEEN = "just_seen"
    CLEARLY_SEEN = "clearly_seen"


class Word(StrEnum):
    """The three answers, and the refusal to compare."""

    BLENDS = "blends"
    SHOWS = "shows"
    CANNOT_TELL = "cannot_tell"
    NOT_COMPARABLE = "not_comparable"


class Subject(StrEnum):
    """What a verdict is about."""

    BATCH = "batch"
    JOINT = "joint"
    CAR = "car"


class BakeTemperatureOf(StrEnum):
    """What was at the temperature a bake is logged with."""

    AIR = "air"
    METAL = "metal"


class FinishingKind(StrEnum):
    """What was done to the clear after it was hard."""

    CUT = "cut"
    POLISH = "polish"
