"""The command line: parses, calls the flow, and says what went wrong in one sentence."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.text import Text

from lineproof.errors import LineproofError, printable
from lineproof.paper import Paper

app = typer.Typer(
    help="Post-event quality analytics for races timed with passive tags and mats.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


class Terminal(Console):
    """Says each sentence as it stands: names of folders and files hold neither markup nor commands."""

    def print(self, *sentences: Any, **options: Any) -> None:
        plain = not options.get("markup")
        told = (shown(each) if plain and isinstance(each, str) else each for each in sentences)
        super().print(*told, **options)


def shown(sentence: str) -> Text:
    return Text(printable(sentence))


say = Terminal(stderr=True, highlight=False, soft_wrap=True)


OnPaper = Annotated[
    Paper | None,
    typer.Option("--pdf", help="Print the page too, as a PDF beside it, by a browser of this computer."),
]


def _print_too(page: Path, pdf: Paper | None) -> None:
    """Print what was just written; the page itself stands, whatever the browser does."""
    if pdf is None:
        return
    from lineproof.paper import write_pdf

    with say.status(shown(f"{page.name}: printing")):
        printed = write_pdf(page, pdf)
    say.print(f"written: {printed}", markup=False)


@app.command()
def review(
    event_dir: Annotated[Path, typer.Argument(help="Event folder with event.toml and exports/.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default EVENT_DIR/review.")] = None,
    pdf: OnPaper = None,
) -> None:
    """Review one event: writes review.html (safe to send on) and the timer's working CSVs."""
    from lineproof.reports import remarks_on, render_review

    target = out or event_dir / "review"
    with say.status(shown(f"{event_dir.name}: starting")) as status:
        page = render_review(
            event_dir, target, lambda step: status.update(shown(f"{event_dir.name}: {step}"))
        )
    say.print(f"written: {page}", markup=False)
    for remark in remarks_on(event_dir, target):
        say.print(remark, markup=False)
    _print_too(page, pdf)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder with the exports of one event.")],
    name: Annotated[str | None, typer.Option(help="Name of the event.")] = None,
    date: Annotated[str | None, typer.Option(help="Day of the event, such as 2026-05-17.")] = None,
    zone: Annotated[str | None, typer.Option(help='Zone of its clocks, such as "Europe/London".')] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing; guesses are marked CHECK.")] = False,
) -> None:
    """Look at the exports, ask what they cannot tell, and draft event.toml; nothing is overwritten or moved."""
    from lineproof.draft import Answers, show_sightings, write_draft

    asks = sys.stdin.isatty() and not yes
    path = write_draft(
        folder,
        Answers.of(name, date, zone),
        ask=(lambda question, default: str(typer.prompt(question, default=default, err=True)))
        if asks
        else None,
        say=lambda sentence: say.print(sentence, markup=False),
        show=lambda sightings: show_sightings(sightings, say),
    )
    marked = path.read_text(encoding="utf-8").count("# CHECK")
    todo = f"settle its {marked} lines marked CHECK, then: " if marked else "next: "
    say.print(f"drafted: {path}  ({todo}lineproof review {_as_word(folder)})", markup=False)


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder of the demo season; made if it is not there.")] = Path(
        "lineproof-demo"
    ),
) -> None:
    """Make the invented demo season if needed, review and keep its events, report the season, weigh a purchase."""
    from lineproof.demo import run_season

    with say.status(shown("demo season: starting")) as status:
        for page in run_season(out, lambda step: status.update(shown(step))):
            say.print(f"written: {page}")


@app.command()
def keep(
    event_dir: Annotated[Path, typer.Argument(help="Event folder with event.toml and exports/.")],
    ledger: Annotated[Path, typer.Option(help="Folder of the season's ledger; made if it is not there.")],
    crossings: Annotated[
        bool, typer.Option("--crossings", help="Keep the merged data too, runners under pseudonyms.")
    ] = False,
    new_date: Annotated[
        bool, typer.Option("--new-date", help="The date of a kept event was corrected.")
    ] = False,
) -> None:
    """Keep one event in the season's ledger; keeping the same again changes nothing."""
    from lineproof.ledger import keep_event
    from lineproof.ledger.keeping import in_words

    with say.status(shown(f"{event_dir.name}: starting")) as status:
        kept = keep_event(
            event_dir,
            ledger,
            crossings=crossings,
            new_date=new_date,
            progress=lambda step: status.update(shown(f"{event_dir.name}: {step}")),
        )
    for sentence in in_words(kept, ledger):
        say.print(sentence, markup=False)


@app.command()
def season(
    ledger: Annotated[Path, typer.Option(help="Folder of the season's ledger.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default: season, beside it.")] = None,
    pdf: OnPaper = None,
) -> None:
    """Report the season: writes season.html (safe to send on) and its tables."""
    from lineproof.reports import render_season

    target = out or ledger.resolve().parent / "season"
    with say.status(shown("season: starting")) as status:
        page = render_season(ledger, target, lambda step: status.update(shown(f"season: {step}")))
    say.print(f"written: {page}", markup=False)
    _print_too(page, pdf)


@app.command()
def plan(
    ledger: Annotated[Path, typer.Option(help="Folder of the season's ledger.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default: plan.toml, beside it.")] = None,
) -> None:
    """Draft next season's purchase plan from the ledger; what is a guess is marked ASSUMPTION."""
    from lineproof.ledger import open_ledger
    from lineproof.replacement import write_plan

    path = write_plan(open_ledger(ledger), out or ledger.resolve().parent)
    marked = path.read_text(encoding="utf-8").count("ASSUMPTION: ")
    say.print(
        f"drafted: {path}  ({marked} lines are marked ASSUMPTION: put your own figures there)", markup=False
    )
    say.print(f"next: lineproof purchase {_as_word(path)} --ledger {_as_word(ledger)}", markup=False)


@app.command()
def purchase(
    plan: Annotated[Path, typer.Argument(help="The purchase plan, plan.toml.")],
    ledger: Annotated[Path, typer.Option(help="Folder of the season's ledger.")],
    out: Annotated[
        Path | None, typer.Option(help="Where to write; default: purchase, beside the plan.")
    ] = None,
    pdf: OnPaper = None,
) -> None:
    """Weigh a purchase plan: writes purchase.html, the cash flows, and a spreadsheet with live formulas."""
    from lineproof.reports import render_purchase

    target = out or plan.resolve().parent / "purchase"
    with say.status(shown("purchase: starting")) as status:
        page = render_purchase(plan, ledger, target, lambda step: status.update(shown(f"purchase: {step}")))
    say.print(f"written: {page}", markup=False)
    _print_too(page, pdf)


ledger_app = typer.Typer(help="Look after the season's ledger.", no_args_is_help=True)
app.add_typer(ledger_app, name="ledger")


@ledger_app.command("check")
def check_the_ledger(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the season's ledger.")],
) -> None:
    """Hold every file of the ledger against its hash; the exit code is 1 where one is not as it was kept."""
    from lineproof.ledger import check_ledger

    result = check_ledger(folder)
    for sentence in (*result.faults, *result.remarks, result.summary):
        say.print(sentence, markup=False)
    if not result.passed:
        raise typer.Exit(1)


@app.command()
def sheet(
    event_dir: Annotated[Path, typer.Argument(help="Event folder with event.toml.")],
    csv: Annotated[bool, typer.Option("--csv", help="Write setup.csv instead of setup.xlsx.")] = False,
) -> None:
    """Make the blank set-up record and a clipboard page for each line; a filled-in record stays."""
    from lineproof.morning_files import write_sheets

    written = write_sheets(event_dir, as_text=csv)
    for path in written.paths:
        say.print(f"written: {path}", markup=False)
    for remark in written.remarks:
        say.print(remark, markup=False)


@app.command()
def ready(
    event_dir: Annotated[Path, typer.Argument(help="Event folder with event.toml and the set-up record.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default EVENT_DIR/review.")] = None,
) -> None:
    """Hold the morning's set-up record against the rules of the trade: go, look again, not recorded."""
    from lineproof.morning_files import write_ready

    written = write_ready(event_dir, out)
    for remark in written.remarks:
        say.print(remark, markup=False)
    for path in written.paths:
        say.print(f"written: {path}", markup=False)


@app.command()
def lab(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Event folder, or the folder of a season's ledger.")
    ] = Path(),
    browser: Annotated[bool, typer.Option(help="Open the browser, or only say the address.")] = True,
) -> None:
    """Open JupyterLab on working copies of the notebooks, set to the event or ledger; nothing leaves this computer."""
    from lineproof.lab import run_lab

    run_lab(folder, lambda sentence: say.print(sentence, markup=False), browser)


def _refuse_unreadable_names() -> None:
    """Names with letters that the language of this terminal cannot read reach us damaged, and open no file."""
    for name in (*sys.argv[1:], str(Path.cwd())):
        try:
            name.encode()
        except UnicodeEncodeError:
            raise LineproofError(
                f'the name "{ascii(name)[1:-1]}" has letters that this terminal cannot pass on',
                todo="set PYTHONUTF8=1, or a language with UTF-8 such as LC_ALL=C.UTF-8, and run it again",
            ) from None


def _as_word(path: Path) -> str:
    """A path as it is typed: in quotation marks where it has blanks."""
    return f'"{path}"' if " " in str(path) else str(path)


def main() -> None:
    """Entry point: every failure leaves as one sentence and a non-zero exit code."""
    try:
        _refuse_unreadable_names()
        app()
    except LineproofError as problem:
        say.print(f"lineproof: {problem}", markup=False)
        sys.exit(1)
    except KeyboardInterrupt:
        say.print("lineproof: stopped; earlier results are unchanged.")
        sys.exit(130)
    except Exception as fault:
        if os.environ.get("LINEPROOF_TRACEBACK"):
            raise
        say.print(
            f"lineproof: a fault of the program itself ({type(fault).__name__}); nothing was lost. "
            "Set LINEPROOF_TRACEBACK=1, run the command again and report what it prints.",
            markup=False,
        )
        sys.exit(70)
