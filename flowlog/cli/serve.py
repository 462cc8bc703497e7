"""`flowlog serve`: the pages for phone and screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from flowlog.rig.model import Page
    from flowlog.web.access import Access


@click.command(name="serve")
@click.argument("rig_file", required=False, type=click.Path(path_type=Path), metavar="[RIGFILE]")
@click.option("--rig", type=click.Path(path_type=Path), help="The same as RIGFILE.")
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    help="The rig's data folder, or the folder that holds several of them.",
)
@click.option(
    "--listen",
    metavar="ADDRESS:PORT",
    help="Instead of the rig file's [page] listen; 0.0.0.0:8733 lets the network in, with a code.",
)
@click.option(
    "--keys",
    type=click.Path(path_type=Path),
    envvar="FLOWLOG_PAGE_KEYS",
    metavar="FOLDER",
    help="Keep the access code here instead of in the data folder.",
)
@click.option("--new-code", is_flag=True, help="Make another access code; every phone asks anew.")
@click.option("--show", is_flag=True, help="Show address and code, and serve nothing.")
def command(
    rig_file: Path | None,
    rig: Path | None,
    data: Path | None,
    listen: str | None,
    keys: Path | None,
    *,
    new_code: bool,
    show: bool,
) -> None:
    """Show the rig's pages to a browser: live while spraying, and the routes afterwards.

    Only reads what the daemon has stored; what is marked or corrected there is left for the
    daemon. This machine alone can open the pages, unless [page] listen in the rig file (or
    --listen) lets the network in: then an access code is needed, which is shown here.
    """
    from flowlog.web.addresses import is_loopback, urls

    folder, slug, name, page = _found(rig or rig_file, data)
    host, port = _listen(listen, page)
    access = None if is_loopback(host) else _access(keys or folder, slug, new=new_code)
    if show:
        _say(name, urls(host, port), access)
        return
    from flowlog.web.server import bound, run

    with bound(host, port) as at:
        from flowlog.web.addresses import LOOPBACK, names_of_machine
        from flowlog.web.app import create_app
        from flowlog.web.site import Site

        names = LOOPBACK if access is None else LOOPBACK | names_of_machine() | {*page.names}
        app = create_app(Site(folder, access, frozenset(names), access is not None))
        _say(name, urls(host, at.getsockname()[1]), access)
        run(app, at)


def _found(rig_file: Path | None, data: Path | None) -> tuple[Path, str, str, Page]:
    """Data folder, slug and name of the rig, and where its pages are."""
    from flowlog.review.find import choose_folder
    from flowlog.review.load import rig_of
    from flowlog.rig.folders import resolve_data_folder
    from flowlog.rig.reader import read_rig
    from flowlog.store.archive import Archive

    if rig_file is not None:
        # The daemon need not have logged yet: after a start of the machine it may come second.
        rig = read_rig(rig_file)
        folder = data or resolve_data_folder(rig)
    else:
        folder = choose_folder(None, data)
        with Archive.open(folder) as archive:
            rig = rig_of(archive.rig())
    return folder.absolute(), rig.slug, rig.name, rig.page


def _listen(given: str | None, page: Page) -> tuple[str, int]:
    from flowlog.rig.sections import parse_listen

    if given is None:
        return page.host, page.port
    # 0 for any free port is for programs that start this one, not for a rig file.
    free = given.removesuffix(":0")
    found = parse_listen(f"{free}:1" if free != given else given)
    if found is None:
        raise click.BadParameter(
            f"'{given}' is no numeric address with a port (for instance 127.0.0.1:8733)",
            param_hint="--listen",
        )
    return found[0], 0 if free != given else found[1]


def _access(folder: Path, slug: str, *, new: bool) -> Access:
    from flowlog.web import keys

    found = None if new else keys.load(folder, slug)
    if found is None:
        found = keys.make(slug)
        if not keys.keep(found, folder):
            click.echo(f"{folder}: cannot keep the access code there; it ends with this", err=True)
    return found


def _say(name: str, where: list[str], access: Access | None) -> None:
    import sys

    from flowlog.review.words import clean

    click.echo(f"The pages of {clean(name)}:")
    for url in where:
        click.echo(f"  {url}")
    if access is None:
        click.echo("Only this machine can open them. To let a phone on the rig's own network in,")
        click.echo('write  [page]  and  listen = "0.0.0.0:8733"  into the rig file.')
        sys.stdout.flush()
        return
    from flowlog.web.access import spoken
    from flowlog.web.qr import lines

    click.echo(f"Access code:  {spoken(access.code)}")
    # A log would keep the picture for ever and show it to nobody.
    if sys.stdout.isatty():
        click.echo("Or scan this: it holds the address and the code.")
        for line in lines(f"{where[0]}code#{access.code}", coloured=True):
            click.echo(line)
    sys.stdout.flush()
