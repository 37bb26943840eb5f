"""The command line: parses, calls the flow, and says what went wrong in one sentence."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from lineproof.errors import LineproofError

app = typer.Typer(
    help="Post-event quality analytics for races timed with passive tags and mats.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
say = Console(stderr=True, highlight=False, soft_wrap=True)


@app.command()
def review(
    event_dir: Annotated[Path, typer.Argument(help="Event folder with event.toml and exports/.")],
    out: Annotated[Path | None, typer.Option(help="Where to write; default EVENT_DIR/review.")] = None,
) -> None:
    """Review one event: writes review.html (safe to send on) and the timer's working CSVs."""
    from lineproof.reports import remarks_on, render_review

    target = out or event_dir / "review"
    with say.status(f"{event_dir.name}: starting") as status:
        page = render_review(event_dir, target, lambda step: status.update(f"{event_dir.name}: {step}"))
    say.print(f"written: {page}")
    for remark in remarks_on(event_dir, target):
        say.print(remark)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder with the exports of one event.")],
) -> None:
    """Draft event.toml by looking at the exports; what a person must check is marked in it."""
    from lineproof.draft import write_draft

    path = write_draft(folder)
    say.print(f"drafted: {path}  (settle the lines marked CHECK, then: lineproof review {folder})")


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder of the demo season; made if it is not there.")] = Path(
        "lineproof-demo"
    ),
) -> None:
    """Make the invented demo season if needed, and review all its events."""
    from lineproof.demo import review_season

    with say.status("demo season: starting") as status:
        for page in review_season(out, status.update):
            say.print(f"written: {page}")


def main() -> None:
    """Entry point: every failure leaves as one sentence and a non-zero exit code."""
    try:
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
