"""The commands. Everything heavy is imported inside the command that needs it, so that `--help` is quick."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from faultnet import __version__
from faultnet.cli.groups import cases_app, priors_app
from faultnet.cli.options import JsonOption, number
from faultnet.cli.options import show as _show

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Find out what is wrong with the 12 V starting and charging system of a car, and what to measure next.",
    epilog="The vehicle maker's instructions, local rules and licensed practice come first.",
)

CaseArgument = Annotated[str, typer.Argument(metavar="CASE", help="Case file, demo:NAME, or - for standard input.")]
TOOLS_HELP = "Tools at hand, commas between them; 'none', 'usual' (what most people have) or 'all'; '{}' when left out."
ToolsOption = Annotated[list[str] | None, typer.Option("--tools", help=TOOLS_HELP.format("usual"))]
ShopToolsOption = Annotated[list[str] | None, typer.Option("--tools", help=TOOLS_HELP.format("all"))]
RateOption = Annotated[float | None, number(0, 1e6, "Money for an hour of work; as set when left out.")]
CurrencyOption = Annotated[
    str | None, typer.Option(help="Code or sign of the money; as set when left out, and none is shown without one.")
]
ClusterOption = Annotated[
    str | None, typer.Option("--cluster", metavar="ADDRESS", help="Scheduler of a dask cluster that does the work.")
]
PriorsOption = Annotated[
    str, typer.Option("--priors", help="Prior set: the one in_use, a name, name@version, or a folder.")
]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"faultnet {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Options that come before a command."""


@app.command()
def diagnose(
    case: CaseArgument,
    as_json: JsonOption = False,
    tools: ToolsOption = None,
    complaint: Annotated[
        str | None, typer.Option(help="What the driver complains of, by its id in the catalogue.")
    ] = None,
    why: Annotated[bool, typer.Option("--why", help="Show what each reading did, and what a sound car reads.")] = False,
    max_faults: Annotated[int | None, typer.Option(min=1, max=4, help="Largest number of faults at once.")] = None,
    hourly_rate: RateOption = None,
    currency: CurrencyOption = None,
    priors: PriorsOption = "in_use",
) -> None:
    """Say how likely each cause is, why, and what to test or repair next."""
    from faultnet.api import advise
    from faultnet.cli.answers import advice_answer
    from faultnet.cli.inputs import read_case, read_catalogue, read_costs, read_tools, tools_line, with_complaint
    from faultnet.cli.sheets import advice_sheet

    catalogue = read_catalogue(priors)
    the_case = with_complaint(read_case(case), complaint, catalogue)
    costs = read_costs(priors, hourly_rate, currency)
    at_hand, robust = read_tools(tools, catalogue), as_json or why
    found = advise(the_case, catalogue, costs=costs, tools=at_hand, max_faults=max_faults, robust=robust)
    if as_json:
        _show(advice_answer(found, catalogue))
    else:
        _show(advice_sheet(found, the_case, catalogue, why=why, tools=tools_line(tools)))


@app.command()
def plan(
    case: CaseArgument,
    as_json: JsonOption = False,
    tools: ToolsOption = None,
    depth: Annotated[int, typer.Option(min=1, max=8, help="Most tests in a row.")] = 6,
    least: Annotated[float, number(0.001, 0.5, "Branches less likely are not followed.")] = 0.02,
    hourly_rate: RateOption = None,
    priors: PriorsOption = "in_use",
) -> None:
    """Print the plan to take to the car: tests, what to do after each outcome, repairs with their proof."""
    from faultnet.api import plan as planned
    from faultnet.cli.inputs import read_case, read_catalogue, read_costs, read_tools
    from faultnet.cli.sheets import plan_sheet
    from faultnet.decision.plan import plan_tree

    the_case, catalogue = read_case(case), read_catalogue(priors)
    costs = read_costs(priors, hourly_rate, None)
    found = planned(the_case, catalogue, costs=costs, tools=read_tools(tools, catalogue), depth=depth, least=least)
    _show({"case": the_case.name, "plan": plan_tree(found)} if as_json else plan_sheet(found, the_case, catalogue))


@app.command()
def sheet(
    case: CaseArgument,
    kind: Annotated[
        Literal["job", "blank", "plan"],
        typer.Option(help="Job sheet, empty sheet to take to the car, or pocket plan."),
    ] = "job",
    out: Annotated[
        Path | None, typer.Option(help="File to write, .html or .pdf; HTML on standard output when left out.")
    ] = None,
    paper: Annotated[Literal["A4", "Letter"], typer.Option(help="Of a PDF; the HTML fits both.")] = "A4",
    temperatures: Annotated[Literal["degC", "degF"], typer.Option(help="Unit of temperatures.")] = "degC",
    tools: ToolsOption = None,
    hourly_rate: RateOption = None,
    currency: CurrencyOption = None,
    priors: PriorsOption = "in_use",
) -> None:
    """Write a sheet to print: cautions, readings beside a sound car, verdict; or boxes to fill in; or the plan."""
    from faultnet.cli.inputs import read_case, read_catalogue, read_costs, read_tools, write_bytes
    from faultnet.cli.paper import is_pdf, sheet_html

    as_pdf = is_pdf(out)
    the_case, catalogue = read_case(case), read_catalogue(priors)
    costs, at_hand = read_costs(priors, hourly_rate, currency), read_tools(tools, catalogue)
    html = sheet_html(kind, the_case, catalogue, costs, tools=at_hand, temperature_unit=temperatures)
    if out is None:
        _show(html)
    elif as_pdf:
        from faultnet.report.pdf import sheet_pdf

        write_bytes(out, sheet_pdf(html, paper=paper))
    else:
        write_bytes(out, html.encode())


@app.command()
def tools(
    case: CaseArgument,
    as_json: JsonOption = False,
    at_hand: ToolsOption = None,
    depth: Annotated[int, typer.Option(min=1, max=4, help="Tests in a row that are looked ahead.")] = 2,
    hourly_rate: RateOption = None,
    currency: CurrencyOption = None,
    priors: PriorsOption = "in_use",
) -> None:
    """Say what it would save, on this case, to have a tool that is not at hand."""
    from faultnet.cli.answers import tools_answer
    from faultnet.cli.inputs import known_tools, read_case, read_catalogue, read_costs, read_tools
    from faultnet.cli.sheets import tools_sheet
    from faultnet.decision.tools import worth_of_tools
    from faultnet.diagnosis import work_through

    the_case, catalogue = read_case(case), read_catalogue(priors)
    costs = read_costs(priors, hourly_rate, currency)
    worked = work_through(the_case, catalogue)
    tools_had = read_tools(at_hand, catalogue)
    had = known_tools(catalogue) if tools_had is None else tools_had
    found = worth_of_tools(worked, costs, had, depth=depth)
    _show(tools_answer(found, the_case) if as_json else tools_sheet(found, costs))


@app.command()
def validate(case: CaseArgument, as_json: JsonOption = False, priors: PriorsOption = "in_use") -> None:
    """Check a case file without diagnosing it."""
    from faultnet.cli.answers import validation_answer
    from faultnet.cli.inputs import read_case, read_catalogue
    from faultnet.cli.sheets import validation_sheet
    from faultnet.diagnosis import check_case

    the_case = read_case(case)
    check_case(the_case, read_catalogue(priors))
    _show(validation_answer(the_case) if as_json else validation_sheet(the_case))


@app.command()
def catalogue(
    as_json: JsonOption = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="The whole reference page, with every number.")] = False,
    priors: PriorsOption = "in_use",
) -> None:
    """List components, tests, instruments and acts by their ids."""
    from faultnet.cli.answers import catalogue_answer
    from faultnet.cli.inputs import read_catalogue
    from faultnet.cli.listing import catalogue_sheet
    from faultnet.prior_set.page import reference_markdown

    if as_json and markdown:
        raise typer.BadParameter("choose one of --json and --markdown")
    known = read_catalogue(priors)
    _show(catalogue_answer(known) if as_json else reference_markdown(known) if markdown else catalogue_sheet(known))


@app.command()
def log(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Recorded voltage log, or - for standard input.")],
    as_json: JsonOption = False,
    svg: Annotated[Path | None, typer.Option(help="File to draw the trace to, with what was found marked.")] = None,
    png: Annotated[Path | None, typer.Option(help="The same picture as PNG; needs the extra png.")] = None,
    time_column: Annotated[str | None, typer.Option(help="Name of the column with the times, or its number.")] = None,
    volts_column: Annotated[str | None, typer.Option(help="Name of the column with the volts, or its number.")] = None,
    time_unit: Annotated[str | None, typer.Option(help="s, ms, us, min, h, day_first, month_first, h:m, m:s.")] = None,
    volts_unit: Annotated[str | None, typer.Option(help="V or mV.")] = None,
    decimal: Annotated[str | None, typer.Option(help="Decimal mark: a point or a comma.")] = None,
    separator: Annotated[str | None, typer.Option(help="Separator of columns; ' ' for any run of blanks.")] = None,
    interval: Annotated[float | None, number(1e-9, 1e6, "Time between rows [s], if no column has the times.")] = None,
    channel: Annotated[str | None, typer.Option(help="Channel of a measurement file, or module of a CAN log.")] = None,
    file_format: Annotated[str | None, typer.Option("--format", help="Kind of file, if it is not recognised.")] = None,
    cylinders: Annotated[int, typer.Option(min=1, max=16, help="Cylinders of the engine, for its speed.")] = 4,
    place: Annotated[Literal["posts", "module"], typer.Option(help="Where the recorder was connected.")] = "posts",
    window: Annotated[float, number(0.0, 60.0, "Time the recorder averages over [s]; 0 for none.")] = 0.0,
    posts_at_rest: Annotated[float | None, number(0.0, 30.0, "Volts at the posts while the module rested [V].")] = None,
    engine: Annotated[
        Literal["idle", "unloaded", "loaded", "hot"], typer.Option(help="What the engine did while it charged.")
    ] = "idle",
) -> None:
    """Find starts, charging and drop-outs in a recorded voltage log."""
    from faultnet.cli.inputs import read_source, write_bytes, write_text
    from faultnet.cli.logs import log_answer, log_sheet
    from faultnet.recordings import draw_trace, find_events, picture_png, read_recording, readings_from

    trace = read_recording(
        read_source(file),
        time_column=_column(time_column),
        volts_column=_column(volts_column),
        time_unit=time_unit,
        volts_unit=volts_unit,
        decimal=decimal,
        separator=separator,
        interval=interval,
        channel=channel,
        format=file_format,
    )
    events = find_events(trace, cylinders=cylinders)
    readings = readings_from(events, place, window=window, posts_at_rest=posts_at_rest, engine=engine)
    picture = draw_trace(trace, events) if svg or png else ""
    if svg is not None:
        write_text(svg, picture)
    if png is not None:
        write_bytes(png, picture_png(picture))
    _show((log_answer if as_json else log_sheet)(trace, events, readings, window))


def _column(given: str | None) -> str | int | None:
    """Read the name of a column, or its number counted from 1."""
    return int(given) if given is not None and given.isdecimal() and len(given) < 7 else given


@app.command()
def export(
    case: CaseArgument,
    to: Annotated[Literal["bif", "xmlbif"], typer.Option(help="Format.")] = "bif",
    out: Annotated[Path | None, typer.Option(help="File to write; standard output when left out.")] = None,
    visit: Annotated[
        int | None, typer.Option(min=1, max=10_000, help="Visit, counted from 1; the last when left out.")
    ] = None,
    tests: Annotated[
        list[str] | None, typer.Option(help="Tests to keep, commas between them; all, which is large, when left out.")
    ] = None,
    priors: PriorsOption = "in_use",
) -> None:
    """Write the Bayesian network of a case's car."""
    from faultnet.cli.inputs import listed, read_case, read_catalogue, visit_of, write_text
    from faultnet.model.cache import network_for
    from faultnet.model.export import to_bif, to_xmlbif
    from faultnet.model.setting import Setting

    the_case = read_case(case)
    conditions = visit_of(the_case, visit).conditions
    network = network_for(Setting(the_case.car, conditions, read_catalogue(priors)))
    text = (to_bif if to == "bif" else to_xmlbif)(network, tests=listed(tests) or None)
    _show(text) if out is None else write_text(out, text)


@app.command()
def trial(
    cars: Annotated[int, typer.Option(min=1, max=10_000_000, help="Virtual cars, each with known faults.")] = 100,
    seed: Annotated[int, typer.Option(min=0, max=2**63 - 1, help="The same seed gives the same table.")] = 1,
    world: Annotated[
        Literal["standard", "mismatched", "independent", "independent-other"],
        typer.Option(help="As the prior set says, with other spreads, or by other equations altogether."),
    ] = "standard",
    policy: Annotated[
        list[str] | None, typer.Option(help="Policy to try, once for each; the four of the README when left out.")
    ] = None,
    draw: Annotated[
        Literal["priors", "evenly"], typer.Option(help="Faults by the base rates, or each mode in turn.")
    ] = "priors",
    workers: Annotated[int, typer.Option(min=1, max=1000, help="Processes.")] = 1,
    as_json: JsonOption = False,
    resume: Annotated[Path | None, typer.Option(help="File that keeps each car's result; a new run goes on.")] = None,
    svg: Annotated[Path | None, typer.Option(help="File to draw the reliability of the beliefs to.")] = None,
    tools: ShopToolsOption = None,
    cluster: ClusterOption = None,
    priors: PriorsOption = "standard",
) -> None:
    """Try the advice on virtual cars with known faults, against other ways of working."""
    from faultnet.cli.inputs import listed, read_catalogue, read_tools, write_text
    from faultnet.cli.trials import curves, progress, trial_answer, trial_sheet
    from faultnet.simulation.scoring.reliability import draw_reliability
    from faultnet.simulation.trial import Plan, run_trial
    from faultnet.simulation.workshop.policies import SHOWN

    at_hand = read_tools(tools or ["all"], read_catalogue(priors))
    known_tools = None if at_hand is None else tuple(sorted(at_hand))
    plan = Plan(cars, seed, world, listed(policy) or SHOWN, draw, known_tools, priors)
    with progress() as told, _client(cluster) as client:
        rows = run_trial(plan, workers=workers, resume=resume, told=told, client=client)
    answer = trial_answer(plan, rows)
    if svg is not None:
        write_text(svg, draw_reliability(curves(answer)))
    _show(answer if as_json else trial_sheet(answer))


@app.command()
def practise(
    course: Annotated[str | None, typer.Option(help="Set course, by its number; --list shows them.")] = None,
    world: Annotated[
        Literal["matched", "independent"], typer.Option(help="By the advice's own equations, or by others.")
    ] = "matched",
    difficulty: Annotated[
        Literal["easy", "medium", "hard"],
        typer.Option(help="One plain fault; as cars come in; one that comes and goes, two, or a wrong label."),
    ] = "easy",
    number: Annotated[
        int | None, typer.Option(min=0, max=10**9, help="The same number is the same car; the next one when left out.")
    ] = None,
    player: Annotated[str, typer.Option(help="Under which name progress is kept.")] = "me",
    give_up: Annotated[bool, typer.Option("--give-up", help="Let the car in hand go, unscored.")] = False,
    list_courses: Annotated[bool, typer.Option("--list", help="List the courses and your record.")] = False,
    as_json: JsonOption = False,
    tools: ShopToolsOption = None,
    priors: PriorsOption = "standard",
) -> None:
    """Work on a virtual car yourself, and be held beside the advice on the same car."""
    import sys

    from faultnet.cli.inputs import read_catalogue, read_costs, read_tools
    from faultnet.cli.practise import (
        Session,
        courses_sheet,
        practice_answer,
        record_sheet,
        standard_screen,
    )
    from faultnet.practice.cars import Ticket
    from faultnet.practice.courses import course as course_named
    from faultnet.practice.progress import first_number, progress_file
    from faultnet.practice.review import record_of
    from faultnet.simulation.workshop.job import Shop

    catalogue = read_catalogue(priors)
    at_hand = read_tools(tools or ["all"], catalogue)
    shop = Shop(catalogue, read_costs(priors, None, None), at_hand)
    session = Session(shop, progress_file(player), sys.stdin, standard_screen(as_json))
    if give_up:
        session.give_up()
    if not (list_courses or give_up):
        ticket = Ticket(course=course_named(course).id) if course else None
        if ticket is None and (number is not None or (world, difficulty) != ("matched", "easy")):
            told = number if number is not None else first_number(session.progress, world, difficulty)
            ticket = Ticket(world, difficulty, told)
        session.run(ticket)
    if as_json:
        _show(practice_answer(session.progress, session.last))
    elif list_courses:
        _show(f"{courses_sheet(session.progress)}\n\n{record_sheet(record_of(session.progress.cars))}")


@app.command()
def tune(
    history: Annotated[str, typer.Argument(metavar="HISTORY", help="Closed cases as .csv, .csv.gz or .parquet.")],
    to: Annotated[str, typer.Option("--to", help="Name of the new prior set.")],
    from_set: Annotated[str, typer.Option("--from", help="Prior set to begin with.")] = "standard",
    strength: Annotated[float, number(1e-6, 1e6, "Weight of the old counts; 1 takes them as cases seen.")] = 1.0,
    half_life: Annotated[float | None, number(0.01, 1000.0, "Age at which a case counts half [years].")] = None,
    groups: Annotated[
        str, typer.Option(help="Groups of cars: age, climate, both with a comma, or none.")
    ] = "age,climate",
    folds: Annotated[int, typer.Option(min=0, max=100, help="Parts for the held-out scores; 0 leaves them out.")] = 5,
    keep_good: Annotated[bool, typer.Option("--keep-good", help="Leave out cases with bad rows.")] = False,
    html: Annotated[Path | None, typer.Option(help="File to write the report with its plots to.")] = None,
    cluster: ClusterOption = None,
    resume: Annotated[
        Path | None, typer.Option(help="Folder that keeps what is done; the same command then goes on from there.")
    ] = None,
    compact: Annotated[
        bool, typer.Option("--compact", help="Keep at most 2 kB a case, what is likely; for very large histories.")
    ] = False,
    physical: Annotated[
        bool, typer.Option("--physical", help="Tune physical numbers marked as estimates too; a minute or two more.")
    ] = False,
    by_person: Annotated[
        bool, typer.Option("--by-person", help="Show slips by who read, where the history tells.")
    ] = False,
    accept: Annotated[bool, typer.Option("--accept", "--yes", help="Keep the new set and use it from now on.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Tune the numbers of a prior set to closed cases; shown first, kept only with --accept."""
    from faultnet.cli.inputs import listed, read_catalogue, write_text
    from faultnet.cli.tuned import tuned_answer, tuned_sheet, tuning_progress
    from faultnet.learning.em.scale import on_cluster, serially
    from faultnet.learning.result import Options
    from faultnet.learning.tables.history import load_history
    from faultnet.learning.tune import tune as tuned_to
    from faultnet.learning.versions.versions import accept as keep
    from faultnet.learning.versions.versions import usable_name
    from faultnet.report.tuning import tuning_page

    chosen = tuple(name for name in listed([groups]) if name != "none")
    options = Options(
        strength=strength,
        recency_half_life=half_life,
        groups=chosen,
        folds=folds,
        by_person=by_person,
        physical=physical,
        compact=compact,
    )
    usable_name(to)
    known = read_catalogue(from_set)
    given = load_history(history, known, keep_good=keep_good)
    options.check_cases(len(given.cases))
    with _client(cluster) as client, tuning_progress() as told:
        mapped = serially if client is None else on_cluster(client)
        found = tuned_to(given.cases, known, options, mapped=mapped, folder=resume, told=told)
    if html is not None:
        write_text(html, tuning_page(found, known, given.name))
    kept = f"{to}@{keep(found, from_set, to, given.name, given.sha256)}" if accept else None
    if as_json:
        _show(tuned_answer(found, given.name, len(given.bad), kept))
        return
    end = f"Kept as {kept} and in use from now on." if kept else "Nothing was kept; --accept keeps it."
    _show(tuned_sheet(found, known, given.name, len(given.bad)) + f"\n\n{end}\n")


@contextmanager
def _client(address: str | None) -> Iterator[Any]:
    """Connect to a cluster; None without an address."""
    if address is None:
        yield None
        return
    from faultnet.cluster import cluster_at

    with cluster_at(address) as client:
        yield client


app.add_typer(priors_app, name="priors")
app.add_typer(cases_app, name="cases")


@app.command()
def schema() -> None:
    """Print the JSON Schema of case files."""
    from faultnet.case.file import case_schema

    _show(case_schema())


@app.command()
def serve(
    case: Annotated[str | None, typer.Argument(metavar="[CASE]", help="Case to open, as for `diagnose`.")] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port on this machine; 0 takes a free one.")] = 8501,
    share: Annotated[bool, typer.Option("--share", help="Let other devices on the network in.")] = False,
    browser: Annotated[bool, typer.Option(help="Open a browser window.")] = True,
) -> None:
    """Open the front end in a browser."""
    from faultnet.cli.inputs import case_file, front_end

    path = None if case is None else str(case_file(case))
    raise typer.Exit(front_end().launch(path, port, share, browser))
