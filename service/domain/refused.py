"""The refusals a person can put right; each says what is wrong, then what to do."""

from __future__ import annotations


class Refused(Exception):
    """A request the shop can put right; its text is shown as it stands on page, JSON and CLI."""


class Invalid(Refused):
    """A value that cannot be taken, with the field it stands in."""

    def __init__(self, field: str, problem: str) -> None:
        super().__init__(problem)
        self.field = field


class Unknown(Refused):
    """Nothing of that kind under that name in this shop."""

    def __init__(self, kind: str, name: str) -> None:
        super().__init__(f"There is no {kind} {name} in this shop. Check it, or search for it.")
        self.kind = kind
        self.name = name


class NotAllowed(Refused):
    """The person has none of the roles that may do this."""

    def __init__(self, doing: str, roles: tuple[str, ...]) -> None:
        allowed = " or ".join(roles)
        super().__init__(f"Only a {allowed} may {doing}. Ask one, or sign in as one.")
        self.roles = roles


class AlreadyThere(Refused):
    """Something else already stands under that name, code or slot."""


class OutOfOrder(Refused):
    """A step that needs an earlier one first."""


class KeyReused(Refused):
    """The idempotency key came before with another content."""

    def __init__(self, key: str) -> None:
        super().__init__(
            f"The id {key} was already used for another entry. "
            "Send this entry again under a new id; the earlier one stays as it is."
        )
        self.key = key
