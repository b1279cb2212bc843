"""Where problems are gathered while the samples of a readings file are gone through."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.use_cases.importing import Problem


@dataclass(slots=True)
class Trouble:
    """Everything that stands against a file, in the order it was met.

    ``option`` stands before the name of a field where it is stated, for the sentences.
    """

    option: str = ""
    problems: list[Problem] = field(default_factory=list)

    def wrong(
        self,
        kind: str,
        number: int,
        name: str | None,
        what: str,
        remedy: str = "",
        missing: tuple[str, ...] = (),
    ) -> None:
        """A sample, by its number and name, that cannot be stored; the file where that is 0."""
        self.problems.append(
            Problem(
                kind=kind,
                sample=number,
                name=name or "",
                what=what,
                remedy=remedy,
                missing=missing,
            )
        )
