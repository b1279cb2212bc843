"""What ``verify`` found, and what no verification can find."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_PROBLEMS = 50

NOT_PROVED = (
    "This shows that the record is what the program wrote, entry by entry, and that nothing "
    "noted before is missing. It does not show that what people entered was true, who held the "
    "device they were signed in on, or that the clock was right. Somebody who can write to the "
    "database and also to every place where heads are kept (the file beside the data, the "
    "backups, printed reports) could write the whole record anew: so keep a backup, or the heads "
    "on paper, where only you can reach it. Entries after the last noted head could be cut off "
    "without trace. Sign-in sessions are not part of the record."
)


@dataclass(frozen=True, slots=True)
class Problem:
    """One place where the record is not what it should be."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


@dataclass(slots=True)
class Report:
    """The outcome of a verification; ``problems`` begin with the first bad place found."""

    problems: list[Problem] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    left_out: int = 0
    """How many further problems were found than are listed."""

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems

    @property
    def first_bad(self) -> Problem | None:
        """The first bad place, None when there is none."""
        return self.problems[0] if self.problems else None

    @property
    def not_proved(self) -> str:
        """What this verification does not show."""
        return NOT_PROVED

    def found(self, where: str, what: str) -> None:
        """Note a problem."""
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(where, what))
        else:
            self.left_out += 1

    def count(self, what: str, number: int = 1) -> None:
        """Count what was looked at."""
        self.counts[what] = self.counts.get(what, 0) + number
