"""What each entry of the journal says was done, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from service.domain.records import cards, job, measuring, shop, spraying
from service.domain.records.base import Record
from service.web.pages.record_words import Files, name_of

DID: Mapping[str, tuple[str, str]] = {
    "create_shop": ("set up the shop {}", "shops"),
    "checkpoint": ("noted where every job stood", ""),
    "open_job": ("opened the job {}", "jobs"),
    "add_finish": ("added the finish {}", "finishes"),
    "set_policy": ("changed the {}", "policies"),
    "add_panel": ("added the panel {}", "panels"),
    "add_area": ("added the area {}", "areas"),
    "add_joint": ("added the joint {}", "joints"),
    "mix_batch": ("mixed {}", "batches"),
    "spray_coat": ("sprayed {}", "coats"),
    "bake_them": ("logged the {}", "bakes"),
    "finish_surface": ("logged the {}", "finishings"),
    "log_card": ("logged {}", "cards"),
    "add_zone": ("added the zone {}", "zones"),
    "pull_card": ("took out {}", "movements"),
    "return_card": ("brought back {}", "movements"),
    "report_missing": ("marked as missing {}", "movements"),
    "attach_photo": ("added a photograph of {}", "photos"),
    "log_reading": ("logged the {}", "readings"),
    "log_readings": ("imported the {}", "readings"),
    "import_readings": ("imported the {}", "readings"),
    "log_frame": ("logged together the {}", "readings"),
    "log_photograph": ("photographed, and logged the {}", "readings"),
    "drop_reading": ("dropped the {}", "readings"),
    "log_eye_check": ("looked at {}", "eye_checks"),
    "approve_master": ("approved the {}", "masters"),
    "judge_again": ("had what stands judged again", ""),
    "accept": ("accepted {}", "acceptances"),
    "release_job": ("released the job", ""),
    "correct": ("corrected the entry of {}", "*"),
    "correct_shop": ("corrected the entry of {}", "*"),
    "add_person": ("added {}", "people"),
    "set_password": ("set a password for {}", "credentials"),
    "give_token": ("gave out the {}", "api_tokens"),
    "register_instrument": ("registered the instrument {}", "instruments"),
    "register_check_tile": ("registered the check tile {}", "check_tiles"),
    "log_tile_reading": ("read the check tile {}", "tile_readings"),
    "register_product": ("registered the product {}", "products"),
    "register_photo_target": ("registered the photo sheet {}", "photo_targets"),
}
"""By the name of the verb: what was done, and in which table the things lie that it names."""

KINDS: Mapping[str, type[Record]] = {
    kind.table: kind
    for module in (cards, job, measuring, shop, spraying)
    for kind in vars(module).values()
    if isinstance(kind, type) and issubclass(kind, Record) and hasattr(kind, "table")
}
"""Every kind of record by its table."""

MOST_NAMES = 3


def sentence_of(kind: str, rows: Sequence[tuple[str, Mapping[str, object]]], files: Files) -> str:
    """What an entry did, naming the first few things it did it to."""
    words, table = DID.get(kind, (kind.replace("_", " "), ""))
    if "{}" not in words:
        return words
    named = [
        _name(row_table, row, files)
        for row_table, row in rows
        if table == row_table or (table == "*" and row["corrects"])
    ]
    shown = list(dict.fromkeys(named))
    if not shown:
        return words.replace(" {}", "")
    more = len(shown) - MOST_NAMES
    text = ", ".join(shown[:MOST_NAMES])
    return words.format(text) + (f" and {more} more" if more > 0 else "")


def _name(table: str, row: Mapping[str, object], files: Files) -> str:
    kind = KINDS[table]
    chain = files.shop if kind in shop.SHOP_RECORDS else files.file
    record = chain.latest_revision(kind, str(row["corrects"] or row["id"]))
    return name_of(files, record) if record is not None else "something"
