"""How a device comes to trust the shop's own authority, and the certificate itself."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from service.domain.refused import Refused
from service.web.access import PUBLIC, page_rules
from service.web.context import Frame, Here

router = APIRouter()
page_rules({("GET", "/trust"): PUBLIC, ("GET", "/trust/authority.crt"): PUBLIC})


class NoAuthority(Refused):
    """There is nothing to trust: it is served without HTTPS, or by a certificate from elsewhere."""

    def __init__(self) -> None:
        super().__init__(
            "This service is not served by an authority of the shop’s own. Start it with --https "
            "to make one."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TrustPage:
    """The fingerprint to compare, and where the certificate is."""

    frame: Frame
    fingerprint: tuple[str, ...]
    href: str


@router.get("/trust", name="trust")
def trust(here: Here) -> Response:
    """What to install on a device, why, and how to know that it is the right one."""
    _authority(here)
    pairs = here.services.authority_fingerprint.split(":")
    page = TrustPage(
        frame=here.frame(),
        fingerprint=tuple(" ".join(pairs[n : n + 4]) for n in range(0, len(pairs), 4)),
        href=here.link("trust_authority"),
    )
    return here.render("trust.html", page)


@router.get("/trust/authority.crt", name="trust_authority")
def trust_authority(here: Here) -> Response:
    """The certificate, in the form devices install."""
    return Response(
        _authority(here),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="keepcard-authority.crt"'},
    )


def _authority(here: Here) -> bytes:
    found = here.services.authority
    if found is None:
        raise NoAuthority
    return found
