"""``keepcard token``: an API token for a program."""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

import click

from service.cli.frame import Refusal, print_json
from service.cli.opening import data_options, opened, person_named
from service.cli.writing import as_option, write
from service.domain.terms import Role


@click.command()
@data_options
@as_option
@click.option("--for", "holder", metavar="NAME", help="Whose name it writes in; else --as.")
@click.option(
    "--role",
    required=True,
    type=click.Choice([role.value for role in Role]),
    help="The one role it acts in.",
)
@click.option("--label", required=True, help="What it is for, like 'bench instrument'.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def token(
    data: Path,
    database: str | None,
    shop: str | None,
    person: str | None,
    holder: str | None,
    role: str,
    label: str,
    as_json: bool,
) -> None:
    """Make an API token for a person and role; it is shown once.

    A manager makes it (--as). Send it as: Authorization: Bearer TOKEN.

    Example: keepcard token --data /srv/keepcard --as "Ana Manager" --for "Pat Painter"
    --role painter --label "bench instrument"
    """

    from service.use_cases.shop import GiveToken
    from service.use_cases.sign_in import hash_of_token, new_token

    with opened(data, database, shop) as store:
        name = holder or person
        if name is None:
            raise Refusal("Say whose token it is: --for NAME.")
        whose = person_named(store, name)
    secret = new_token()
    written = write(
        GiveToken(
            id=str(uuid4()),
            person_id=whose.root,
            role=Role(role),
            label=label,
            token_hash=hash_of_token(secret),
        ),
        data,
        database,
        shop,
        person,
    )
    made = str(written.get("token") or secret)
    if as_json:
        print_json({"token": made, "person": whose.name, "role": role, "label": label})
    else:
        click.echo(made)
        click.echo(f"It acts as {whose.name}, {role}. It is not shown again.", err=True)
