"""Where a rig's data goes."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import platformdirs
import pytest

from flowlog.rig import folders
from flowlog.rig.folders import data_root, resolve_data_folder
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text


@pytest.fixture
def rig() -> Rig:
    return parse_rig(template_text(), Path("rig.toml"), {})


def test_the_environment_names_the_root(rig: Rig, tmp_path: Path) -> None:
    environ = {"FLOWLOG_DATA": str(tmp_path)}
    assert resolve_data_folder(rig, environ) == tmp_path / "north-cart"


def test_the_rig_s_own_folder_wins(rig: Rig, tmp_path: Path) -> None:
    own = dataclasses.replace(rig, data_folder=str(tmp_path / "mine"))
    assert resolve_data_folder(own, {"FLOWLOG_DATA": "/x"}) == tmp_path / "mine"


def test_a_tilde_is_the_user_s_home(rig: Rig) -> None:
    own = dataclasses.replace(rig, data_folder="~/flow")
    assert resolve_data_folder(own, {}) == Path.home() / "flow"


def test_root_uses_the_service_s_folder_where_it_exists(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folders, "_SERVICE_ROOT", tmp_path)
    monkeypatch.setattr(folders.os, "geteuid", lambda: 0)
    assert data_root({}) == tmp_path
    monkeypatch.setattr(folders.os, "geteuid", lambda: 1000)
    assert data_root({}) == platformdirs.user_data_path("flowlog")


def test_root_without_that_folder_uses_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folders, "_SERVICE_ROOT", tmp_path / "none")
    monkeypatch.setattr(folders.os, "geteuid", lambda: 0)
    assert data_root({}) == platformdirs.user_data_path("flowlog")


@pytest.mark.parametrize(
    ("name", "slug"),
    [("North cart", "north-cart"), ("  A/../B ", "a-b"), ("Nº 7", "n-7"), ("ünï 2", "n-2")],
)
def test_a_rig_s_slug_is_safe_in_paths_and_topics(rig: Rig, name: str, slug: str) -> None:
    assert dataclasses.replace(rig, name=name).slug == slug
