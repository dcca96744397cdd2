"""Groups of commands: `faultnet priors ...` and `faultnet cases ...`."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import JsonOption, show

priors_app = typer.Typer(no_args_is_help=True, help="List, compare, use and take back prior sets.")
cases_app = typer.Typer(no_args_is_help=True, help="List, delete and bring back kept cases; back up and restore all.")
StoreOption = Annotated[str | None, typer.Option("--store", help="File or address of the store.")]
ByOption = Annotated[str, typer.Option("--by", help="Who does it, noted in the history; nobody when left out.")]
DAY = "%Y-%m-%d"
BackupFile = Annotated[Path, typer.Argument(metavar="FILE", help="File of the backup.")]
CaseId = Annotated[str, typer.Argument(metavar="ID", help="As `faultnet cases list` shows it.")]


@priors_app.command("list")
def list_priors(as_json: JsonOption = False) -> None:
    """List prior sets and say which is in use."""
    from faultnet.cli.tuned import versions_answer, versions_sheet
    from faultnet.learning.versions.versions import versions
    from faultnet.prior_set.sets import damaged_lines

    show((versions_answer if as_json else versions_sheet)(versions()))
    for line in damaged_lines():
        typer.echo(f"faultnet: note: {line}", err=True)


@priors_app.command("compare")
def compare_priors(
    first: Annotated[str, typer.Argument(help="Prior set, as for --priors.")],
    second: Annotated[str, typer.Argument(help="Prior set, as for --priors.")] = "in_use",
    as_json: JsonOption = False,
) -> None:
    """Show every number that differs between two prior sets."""
    from faultnet.cli.tuned import differences_answer, differences_sheet
    from faultnet.learning.versions.versions import compare

    show((differences_answer if as_json else differences_sheet)(first, second, compare(first, second)))


@priors_app.command("take-back")
def take_priors_back() -> None:
    """Take the last acceptance back: what was in use before is in use again; nothing is deleted."""
    from faultnet.cli.inputs import read_catalogue
    from faultnet.learning.versions.versions import take_back
    from faultnet.prior_set.sets import IN_USE, set_folder

    name, version = take_back()
    now = read_catalogue(str(set_folder(IN_USE)))
    show(f"{name}@{version} was taken back; in use now: {now.name} {now.version}.")


@priors_app.command("use")
def use_priors(name: Annotated[str, typer.Argument(metavar="NAME@VERSION", help="A version kept earlier.")]) -> None:
    """Use a version again that was kept earlier."""
    from faultnet.learning.versions.versions import use

    show("In use now: {}@{}.".format(*use(name)))


@cases_app.command("list")
def list_cases(
    text: Annotated[str, typer.Argument(help="Words that must all occur.")] = "",
    cause: Annotated[str | None, typer.Option(help="Confirmed: a component, or component:mode.")] = None,
    car: Annotated[str | None, typer.Option(help="Part of what the car is called.")] = None,
    since: Annotated[datetime | None, typer.Option(formats=[DAY], help="With a visit on this day or later.")] = None,
    until: Annotated[datetime | None, typer.Option(formats=[DAY], help="With a visit on this day or before.")] = None,
    closed: Annotated[bool | None, typer.Option("--closed/--open", help="Only those; both when left out.")] = None,
    deleted: Annotated[bool, typer.Option("--deleted", help="List the deleted ones.")] = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the cases of the store, the one changed last first."""
    from faultnet.case.store.store import open_store
    from faultnet.cli.kept import cases_answer, cases_sheet

    first, last = (None if day is None else day.strftime(DAY) for day in (since, until))
    with open_store(store) as opened:
        found = opened.list_cases(text, since=first, until=last, cause=cause, car=car, closed=closed, deleted=deleted)
    show((cases_answer if as_json else cases_sheet)(found))


@cases_app.command("delete")
def delete_case(case_id: CaseId, store: StoreOption = None, by: ByOption = "") -> None:
    """Mark a case as deleted: listed no more, nothing lost."""
    from faultnet.case.store.events import signature
    from faultnet.case.store.store import open_store

    with open_store(store, who=signature(by)) as opened:
        opened.delete(case_id)
    show(f"{case_id} is deleted; `faultnet cases bring-back {case_id}` brings it back.")


@cases_app.command("bring-back")
def bring_case_back(case_id: CaseId, store: StoreOption = None, by: ByOption = "") -> None:
    """Bring a deleted case back."""
    from faultnet.case.store.events import signature
    from faultnet.case.store.store import open_store

    with open_store(store, who=signature(by)) as opened:
        opened.bring_back(case_id)
    show(f"{case_id} is back.")


@cases_app.command("backup")
def backup_cases(
    file: BackupFile,
    replace: Annotated[bool, typer.Option("--replace", help="A file of that name may be replaced.")] = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write every case with its history and photos to one file, and look it through."""
    from faultnet.case.store.backup import contents_of
    from faultnet.case.store.store import open_store
    from faultnet.cli.kept import backup_answer
    from faultnet.errors import StoreError

    if os.path.exists(file) and not replace:  # False, and no error, for a name that no file can have
        raise StoreError(
            "a file of that name is there already", where=str(file), to_do="name another, or say --replace"
        )
    with open_store(store) as opened:
        opened.backup(file)
    answer = backup_answer(contents_of(file))
    show(answer if as_json else "Written and read back: {cases} cases, {events} events, {photos} photos; "
         "SHA-256 {sha256}.".format(**answer))  # fmt: skip


@cases_app.command("restore")
def restore_cases(
    file: BackupFile,
    merge: Annotated[
        bool, typer.Option("--merge", help="The store may hold cases: what is missing is added, none overwritten.")
    ] = False,
    store: StoreOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take the cases of a backup in, all or none, and read them back."""
    from faultnet.case.store.backup import contents_of
    from faultnet.case.store.store import open_store
    from faultnet.cli.kept import backup_answer

    held = contents_of(file)
    with open_store(store) as opened:
        added = opened.restore(file, merge=merge)
    answer = {**backup_answer(held), "added": added}
    show(answer if as_json else "Taken in and read back: {cases} cases, {events} events of which {added} are new, "
         "{photos} photos; SHA-256 of the backup {sha256}.".format(**answer))  # fmt: skip
