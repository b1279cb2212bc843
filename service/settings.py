"""What a running service is told from outside: by options of the command line or environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from service.domain.printing import check_paper, check_public_address
from service.domain.refused import Invalid

PREFIX = "KEEPCARD_"


def authority_file(data: Path) -> Path:
    """Where the certificate of the shop's own authority lies in its data folder."""
    return data / "https" / "authority.pem"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where the record lies, where the service answers, and whose clock its pages show.

    Each may be given in the environment as KEEPCARD_ and its name in capitals, such as
    KEEPCARD_DATA_DIR; an option of the command line comes before it.
    """

    data_dir: Path
    database_url: str | None = None
    shop_id: str | None = None
    host: str = "127.0.0.1"
    port: int = 8470
    zone: str = ""
    """Time zone of the shop (Europe/Lisbon); empty takes the machine's own."""
    public_address: str = ""
    """Where phones open the shop (https://cards.example); labels carry it when it is known."""
    paper: str = "a4"
    """The paper in the shop's printer, a4 or letter."""
    certificate: Path | None = None
    certificate_key: Path | None = None
    """The shop's own certificate with its chain, and its key, both PEM."""
    https: bool = False
    """Serve by a certificate of an authority made in the data folder."""
    names: str = ""
    """Names and addresses devices use, by commas; the first stands in printed links."""

    def __post_init__(self) -> None:
        if (self.certificate is None) != (self.certificate_key is None):
            raise Invalid(
                "certificate", "A certificate needs its key. Give --certificate and --key."
            )
        if self.https and self.certificate is not None:
            raise Invalid(
                "https",
                "--https makes a certificate, and one is given. Leave out --https, or the files.",
            )
        if not 0 <= self.port <= 65535:
            raise Invalid("port", f"The port cannot be {self.port}. Take one from 1024 to 65535.")
        _check_zone(self.zone)
        check_paper(self.paper)
        if self.public_address:
            check_public_address(self.public_address)

    @property
    def address(self) -> str:
        """Where a person opens the service."""
        return self._at(next(iter(self.known_names), self._own_host))

    @property
    def own_address(self) -> str:
        """Where programs of this machine reach it, which may not know the names devices use.

        A certificate from elsewhere holds for its names alone.
        """
        return self.address if self.certificate is not None else self._at(self._own_host)

    @property
    def _own_host(self) -> str:
        return "127.0.0.1" if self.host in ("0.0.0.0", "::", "") else self.host

    def _at(self, host: str) -> str:
        scheme = "https" if self.secure else "http"
        return f"{scheme}://{f'[{host}]' if ':' in host else host}:{self.port}"

    @property
    def label_address(self) -> str:
        """The address that labels carry; empty where no device but this one could open it."""
        return self.public_address or (self.address if self.known_names else "")

    @property
    def secure(self) -> bool:
        """Whether it is served over HTTPS by this program itself."""
        return self.https or self.certificate is not None

    @property
    def known_names(self) -> tuple[str, ...]:
        """The names given, in their order."""
        return tuple(name.strip() for name in self.names.split(",") if name.strip())

    @property
    def shown_zone(self) -> str:
        """The time zone in which pages show times."""
        return self.zone or machine_zone()


def settings_from(
    given: Mapping[str, Any] | None = None, environment: Mapping[str, str] = os.environ
) -> Settings:
    """Settings from what is given (None: not given) and, where it is not, from the environment.

    Raises
    ------
    Invalid
        When the folder is missing, or a value cannot be read.
    """
    values: dict[str, Any] = {}
    for field in fields(Settings):
        value = (given or {}).get(field.name)
        if value is None:
            value = environment.get(PREFIX + field.name.upper())
        if value is not None and value != "":
            values[field.name] = value
    if "data_dir" not in values:
        raise Invalid("data_dir", "The data folder is not named. Give --data DIR.")
    values["data_dir"] = Path(values["data_dir"])
    for name in ("certificate", "certificate_key"):
        if name in values:
            values[name] = Path(values[name])
    if "https" in values:
        values["https"] = _truth("https", values["https"])
    if "port" in values:
        values["port"] = _port(values["port"])
    return Settings(**values)


def _port(value: Any) -> int:
    try:
        return int(value)
    except (TypeError, ValueError):
        raise Invalid("port", f"The port cannot be {value!r}. Give a whole number.") from None


def _truth(field: str, value: Any) -> bool:
    text = str(value).strip().casefold()
    if text not in ("1", "true", "yes", "0", "false", "no"):
        raise Invalid(field, f"{PREFIX}{field.upper()} cannot be {value!r}. Write yes or no.")
    return text in ("1", "true", "yes")


def _check_zone(zone: str) -> None:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    if not zone:
        return
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise Invalid(
            "zone", f"The time zone {zone!r} is unknown. Write it like Europe/Lisbon."
        ) from None


def machine_zone() -> str:
    """The machine's time zone by name; UTC when it does not say."""
    named = os.environ.get("TZ", "").lstrip(":")
    if not named:
        target = os.path.realpath("/etc/localtime")
        named = target.partition("zoneinfo/")[2]
    try:
        _check_zone(named)
    except Invalid:
        return "UTC"
    return named or "UTC"
