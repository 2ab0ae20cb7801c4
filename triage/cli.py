"""Command line: arguments in, words out."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from triage.commands.gaps import gaps
from triage.commands.orders import orders
from triage.commands.page import page
from triage.commands.records import record
from triage.commands.report import report
from triage.commands.runs import compare, verify
from triage.commands.select import select
from triage.commands.words import AsJson, print_json, say
from triage.errors import TriageError

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="Sort a retrofit programme's homes by moisture risk into three queues: "
    "safe to insulate, fix water first, specialist review.",
)


@app.command()
def run(
    programme: Annotated[Path, typer.Argument(help="The programme file (TOML).")],
    out: Annotated[Path, typer.Option(help="Folder to make for this run; it must not exist.")],
    as_json: AsJson = False,
) -> None:
    """Triage a programme: surveys in, three queues with reasons and maps out.

    Exit 0: all rows used. 1: finished, some rows were rejected. 2: could not run.
    """
    from triage.programme_run import run_programme
    from triage.report.terminal import print_summary

    done = run_programme(programme, out, say)
    if as_json:
        keys = ("format", "run_id", "rows", "homes", "assessed", "queues", "lanes", "not_evaluated")
        more = (
            "released",
            "checks_outstanding",
            "accepted_by_decision",
            "mix",
            "seconds",
            "outputs",
        )
        print_json({key: done.record[key] for key in (*keys, *more)})
    else:
        shown = (
            "queues.xlsx",
            "report.html",
            "map_queues.png",
            "map_climate.png",
            "queue.parquet",
            "run.json",
        )
        outputs = {name: done.record["outputs"][name] for name in shown}
        print_summary(done.summary, done.context, done.problems, outputs)
    raise typer.Exit(1 if done.record["rows"]["rejected"] else 0)


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="Survey files.")],
    profile: Annotated[
        Path | None, typer.Option(help="How to read them; none: by field names.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say everything about survey files before any run.

    Exit 0: all rows usable. 1: some would be rejected. 2: a file cannot be used.
    """
    from triage.contract import load_contract, load_profile, normalise
    from triage.contract.policy_load import load_policy, policy_dir
    from triage.intake import check_files

    words = load_policy(policy_dir("default")).measure_words
    spellings = {normalise(word): code for word, code in words.items()}
    read_by = load_profile(profile, load_contract()) if profile is not None else None
    report = check_files(files, read_by, load_contract(), spellings)
    if as_json:
        print_json(report.to_dict())
    else:
        for line in report.lines():
            print(line)
    raise typer.Exit(report.exit_code)


@app.command()
def profile(
    files: Annotated[list[Path], typer.Argument(help="Survey files that are built alike.")],
    out: Annotated[Path, typer.Option(help="Profile to write (.toml); it must not exist.")],
    as_json: AsJson = False,
) -> None:
    """Draft a profile for survey files: headings, units, words; guesses stay comments.

    Exit 0: every heading is mapped. 1: written, something is left to decide. 2: no profile.
    """
    from triage.contract import load_contract, normalise
    from triage.contract.policy_load import load_policy, policy_dir
    from triage.intake.draft import draft_profile
    from triage.report.draft_profile import draft_dict, draft_summary, exists_already, write_draft

    if out.exists():
        raise exists_already(out)
    words = load_policy(policy_dir("default")).measure_words
    spellings = {normalise(word): code for word, code in words.items()}
    draft = draft_profile(files, load_contract(), spellings, progress=say)
    write_draft(out, draft, load_contract())
    for problem in draft.errors:
        print(problem, file=sys.stderr)
    if as_json:
        print_json(draft_dict(draft, out))
    else:
        for line in draft_summary(draft):
            print(line)
    say(f"wrote {out}")
    raise typer.Exit(draft.exit_code)


@app.command()
def climate(
    files: Annotated[list[Path], typer.Argument(help="Hourly weather files (EPW, TMY3).")],
    out: Annotated[Path, typer.Option(help="Station table to write (.parquet or .csv).")],
    as_json: AsJson = False,
) -> None:
    """Make the station table of a programme from hourly weather files.

    Exit 0: all readings used. 1: finished, files or readings were left out. 2: no station.
    """
    from triage.place.stations import write_stations
    from triage.report.stations import station_lines

    done = write_stations(files, out, say)
    for problem in (*done.findings, *done.refused):
        print(problem, file=sys.stderr)
    if as_json:
        print_json(done.to_dict())
    else:
        for line in station_lines(done.stations):
            print(line)
    say(f"wrote {out}")
    raise typer.Exit(0 if done.is_complete else 1)


@app.command()
def explain(
    programme: Annotated[Path, typer.Argument(help="The programme file (TOML).")],
    home: Annotated[str, typer.Argument(help="The home's property id.")],
    run_folder: Annotated[
        Path | None, typer.Option("--run", help="A finished run; none: judge now.")
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(help="Draw a build-up of the home into this .png or .svg.")
    ] = None,
    measure: Annotated[
        str | None,
        typer.Option(help="Which measure to draw; none: the one that a computed figure decides."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show one home as a reviewer needs it: decision, reasons, gaps, layers, facts, rules."""
    from triage.explanation import explain_home
    from triage.report.explain import render_explanation

    if figure is not None:
        from triage.report.build_up_figure import check_format

        check_format(figure)
    elif measure is not None:
        raise typer.BadParameter("--measure says what to draw: give --figure too")
    told = explain_home(programme, home, run_folder, say)
    if as_json:
        print_json(told)
    else:
        sys.stdout.write(render_explanation(told))
    if figure is not None:
        from triage.report.build_up_figure import pick_measure, write_build_up

        part = pick_measure(told["parts"], measure, f"{programme}, home {home}")
        write_build_up(figure, part, home)
        say(f"drew {part['part']}, {part['measure']} into {figure}")


app.command()(verify)
app.command()(compare)
app.command()(record)
app.command()(gaps)
app.command()(select)
app.command()(report)
app.command()(page)
app.command()(orders)


@app.command()
def template(
    file: Annotated[Path, typer.Argument(help="Workbook to write (.xlsx).")],
    records: Annotated[
        bool, typer.Option("--records", help="Sheets for records instead of a survey.")
    ] = False,
) -> None:
    """Write a blank survey workbook, or one for records, that the tool reads back as it is."""
    from triage.contract import load_contract
    from triage.contract.policy_load import load_policy, policy_dir
    from triage.report.record_template import write_record_template
    from triage.report.template import write_template

    measures = load_policy(policy_dir("default")).measures
    names = {code: measure.name for code, measure in measures.items()}
    (write_record_template if records else write_template)(file, load_contract(), names)
    say(f"wrote {file}")


@app.command()
def fields(as_json: AsJson = False) -> None:
    """Print the reference of all survey fields."""
    from triage.contract import load_contract
    from triage.report.fields import field_reference, field_rows

    if as_json:
        print_json(field_rows(load_contract()))
    else:
        print(field_reference(load_contract()))


@app.command()
def rules(
    policy: Annotated[str, typer.Option(help="A policy pack: its name or its folder.")] = "default",
    as_json: AsJson = False,
) -> None:
    """Print the register of rules with their sources."""
    from triage.contract.policy_load import load_policy, policy_dir
    from triage.report.register import register_rows, register_text

    pack = load_policy(policy_dir(policy, Path.cwd()))
    if as_json:
        print_json(register_rows(pack))
    else:
        print(register_text(pack))


@app.command()
def demo(folder: Annotated[Path, typer.Argument(help="Folder to make.")]) -> None:
    """Copy the two invented demonstration programmes into a new folder."""
    from triage.demo import copy_demo

    for path in copy_demo(folder):
        print(path)


def main() -> None:
    """Entry point: user errors in plain words and their exit code; bugs keep their traceback."""
    try:
        app()
    except TriageError as problem:
        colour = "\x1b[31m" if sys.stderr.isatty() else ""
        print(f"{colour}{problem}{colour and chr(27) + '[0m'}", file=sys.stderr)
        sys.exit(problem.exit_code)
