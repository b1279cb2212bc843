"""A token can be revoked, and nothing else about it can change."""

import pytest

from service.domain.records.shop import ApiToken
from service.domain.refused import Invalid
from service.domain.terms import Role
from service.storage.sessions import token_by_hash
from service.use_cases import all_verbs  # noqa: F401  reads every verb
from service.use_cases.correcting import SHOP_KINDS, CorrectShop, fields_open_to_correction
from service.use_cases.shop import GiveToken
from service.use_cases.sign_in import hash_of_token, new_token
from tests.shop_hand import ShopHand


@pytest.fixture
def hand(store):
    return ShopHand(store)


def given(hand):
    """A token that works: its id and its hash."""
    hash = hash_of_token(new_token())
    id = hand.do(
        GiveToken,
        person_id=hand.painter,
        role=Role.PAINTER,
        label="bench instrument",
        token_hash=hash,
    )
    assert token_by_hash(hand.store, hash).label == "bench instrument"
    return id, hash


def test_a_revoked_token_opens_nothing_and_stays_on_record(hand):
    id, hash = given(hand)
    hand.do(
        CorrectShop, table="api_tokens", record_id=id, why="The laptop was sold.", withdraw=True
    )
    assert token_by_hash(hand.store, hash) is None
    assert hand.store.shop().all(ApiToken) == []
    kept = hand.store.shop().latest_revision(ApiToken, id)
    assert kept.withdrawn and kept.reason == "The laptop was sold."


@pytest.mark.parametrize(
    "changes", [{"label": "another"}, {"role": "manager"}, {"token_hash": "0" * 64}]
)
@pytest.mark.parametrize("withdraw", [False, True])
def test_nothing_of_a_token_can_be_changed(hand, changes, withdraw):
    id, hash = given(hand)
    with pytest.raises(Invalid, match="A token cannot be changed"):
        hand.do(
            CorrectShop,
            table="api_tokens",
            record_id=id,
            why="To see.",
            changes=changes,
            withdraw=withdraw,
        )
    assert token_by_hash(hand.store, hash) is not None


def test_a_revoked_token_leaves_the_record_whole(hand):
    from service.storage.verify import verify

    id, _ = given(hand)
    hand.do(CorrectShop, table="api_tokens", record_id=id, why="Lost.", withdraw=True)
    assert verify(hand.store).ok


def test_the_fields_open_to_correction_are_those_a_correction_takes(hand):
    assert fields_open_to_correction(ApiToken) == ()
    for kind in SHOP_KINDS.values():
        for name in ("id", "shop_id", "author_id", "corrects", "withdrawn", "token_hash"):
            assert name not in fields_open_to_correction(kind)
    assert "roles" in fields_open_to_correction(SHOP_KINDS["people"])
