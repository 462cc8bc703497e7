"""A rig file's text is kept with the data, its password is not."""

from __future__ import annotations

import pytest

from flowlog.rig.faults import RigFileError
from flowlog.rig.secrets import holds_password, without_password

TEXT = '# mine\n[broker]\nhost = "h" # here\npassword = "S3cr3t" # !\n'


def test_only_the_password_is_taken_out() -> None:
    assert without_password(TEXT) == TEXT.replace("S3cr3t", "(not kept)")
    assert holds_password(TEXT)


@pytest.mark.parametrize(
    "text",
    [
        'broker.password = "S3cr3t"\n',
        'broker = { host = "h", password = "S3cr3t" }\n',
        '["broker"]\n"password" = """S3cr3t"""\n',
    ],
)
def test_the_password_is_found_however_it_is_written(text: str) -> None:
    assert "S3cr3t" not in without_password(text)


def test_a_text_without_password_stays_as_it_is() -> None:
    text = '[broker]\nhost = "h"\n'
    assert without_password(text) == text
    assert not holds_password(text)


def test_text_that_is_no_toml_is_refused_without_repeating_it() -> None:
    with pytest.raises(RigFileError) as caught:
        without_password('password = "S3cr3t')
    assert str(caught.value) == "the rig's text is not TOML"
