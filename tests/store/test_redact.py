"""No password reaches the store, however it was written."""

from __future__ import annotations

import pytest

from flowlog.store.redact import blank_passwords

WAYS = [
    'password = "XYZZY"',
    "password = 'XYZZY' # XYZZY",
    'password = """XY\nXYZZY"""',
    'broker = { host = "pi", password = "XYZZY" }',
    'broker.password = "XYZZY"',
    '[broker]\nhost = "pi"  # password is XYZZY\n',
    '[broker]\n# old password: XYZZY\nhost = "pi"\n',
    '[[brokers]]\npassword = "XYZZY"\n[[brokers]]\nPassword = "XYZZY"\n',
    'not toml at all [\npassword = "XYZZY"\n',
]


@pytest.mark.parametrize("text", WAYS)
def test_a_password_is_blanked(text: str) -> None:
    assert "XYZZY" not in blank_passwords(f'name = "Cart"  # kept\n{text}')
    assert 'name = "Cart"  # kept\n' in blank_passwords(f'name = "Cart"  # kept\n{text}')


def test_a_text_without_a_password_stays_as_it_is() -> None:
    text = '# The cart\n[rig]\nname = "Cart"   # two spaces\n'
    assert blank_passwords(text) == text
