"""Fixtures of the web tests: a shop behind the application, all of it in memory."""

import pytest

from tests.web_shop import ApiHand, WebShop


@pytest.fixture
def web_shop():
    return WebShop()


@pytest.fixture
def manager(web_shop):
    return web_shop.program()


@pytest.fixture
def hand(manager):
    return ApiHand(manager)
