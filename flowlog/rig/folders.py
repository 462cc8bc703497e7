"""Where a rig's data lives on this machine."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from flowlog.rig.model import Rig

_SERVICE_ROOT: Final = Path("/var/lib/flowlog")


def data_root(environ: Mapping[str, str] | None = None) -> Path:
    """The folder that holds all rigs' folders.

    $FLOWLOG_DATA if it is set; else, for root, /var/lib/flowlog if that exists (the service's
    folder); else the user's own data folder.
    """
    environ = os.environ if environ is None else environ
    asked = environ.get("FLOWLOG_DATA")
    if asked:
        return Path(asked).expanduser().absolute()
    if os.geteuid() == 0 and _SERVICE_ROOT.is_dir():
        return _SERVICE_ROOT
    import platformdirs

    return platformdirs.user_data_path("flowlog")


def resolve_data_folder(rig: Rig, environ: Mapping[str, str] | None = None) -> Path:
    """The rig's folder: `rig.data_folder`, else one of the rig's slug under `data_root`.

    The folder is not made here.
    """
    if rig.data_folder is not None:
        return Path(rig.data_folder).expanduser().absolute()
    return data_root(environ) / rig.slug
