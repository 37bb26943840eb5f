"""How a notebook becomes a page, and how a fault in it becomes one sentence; the tables of the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import nbformat
import polars as pl
import pytest

from lineproof import reports
from lineproof.errors import EventError, LineproofError
from lineproof.event_report import shown
from lineproof.event_report import tables as review_tables
from lineproof.figures import Fragment, Head, number, show_list, show_table, show_text
from sample_review import BIBS, make_review


def notebook_of(*sources: str, tags: tuple[str, ...] = ("parameters",)) -> Any:
    first, *rest = sources
    cells = [
        nbformat.v4.new_markdown_cell("# Trial"),
        nbformat.v4.new_code_cell(first, metadata={"tags": list(tags)}),
        *(nbformat.v4.new_code_cell(source) for source in rest),
    ]
    return nbformat.v4.new_notebook(cells=cells)


@pytest.fixture
def notebooks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Puts a notebook of the given cells where the shipped ones are looked for."""

    def put(*sources: str, **options: Any) -> None:
        nbformat.write(notebook_of(*sources, **options), tmp_path / "trial.ipynb")
        monkeypatch.setattr(reports, "notebook_folder", lambda: tmp_path)

    return put


def run(**parameters: str) -> Any:
    told: list[str] = []
    notebook = reports.run_notebook("trial.ipynb", parameters, told.append)
    return notebook, told


def test_parameters_replace_the_tagged_cell_and_progress_is_told(notebooks: Any) -> None:
    notebooks('NAME = "default"', 'print(f"working on {NAME}")')
    notebook, told = run(NAME='it\'s a "folder" \\ with marks')
    assert notebook.cells[1].source == repr('it\'s a "folder" \\ with marks').join(["NAME = ", ""])
    assert told == ["trial", 'working on it\'s a "folder" \\ with marks']


def test_the_kernel_is_this_python_and_leaves_nothing(notebooks: Any, tmp_path: Path) -> None:
    notebooks(
        "X = ''", "import sys, os; print(sys.executable); print(os.environ['IPYTHONDIR']); print(os.getcwd())"
    )
    _, told = run(X="")
    import sys

    executable, ipython, cwd = told[1:]
    assert executable == sys.executable
    assert not Path(ipython).exists()
    assert not Path(cwd).exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["trial.ipynb"]


def test_an_error_of_the_user_comes_through_with_its_own_sentence(notebooks: Any) -> None:
    raised = EventError("there is no course", todo="add one", file="event.toml", row=3)
    notebooks(
        "X = ''",
        "from lineproof.errors import EventError\n"
        'raise EventError("there is no course", todo="add one", file="event.toml", row=3)',
    )
    with pytest.raises(EventError) as caught:
        run(X="")
    assert str(caught.value) == str(raised) == "event.toml, row 3: there is no course; add one."


def test_a_fault_of_ours_is_one_sentence_without_traceback(
    notebooks: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LINEPROOF_TRACEBACK", raising=False)
    notebooks("X = ''", "1 / 0")
    with pytest.raises(LineproofError) as caught:
        run(X="")
    sentence = str(caught.value)
    assert 'a fault of the program itself at "Trial" (ZeroDivisionError: division by zero)' in sentence
    assert "\n" not in sentence
    assert "Traceback" not in sentence


def test_a_kernel_that_dies_is_one_sentence(notebooks: Any) -> None:
    notebooks("X = ''", "import os; os._exit(9)")
    with pytest.raises(LineproofError, match="memory ran out"):
        run(X="")


def test_no_memory_is_one_sentence(notebooks: Any) -> None:
    notebooks("X = ''", "raise MemoryError")
    with pytest.raises(LineproofError, match="out of memory"):
        run(X="")


def test_nothing_of_the_kernel_reaches_the_user(notebooks: Any, capfd: pytest.CaptureFixture[str]) -> None:
    notebooks("X = ''", "import sys; print('noise', file=sys.stderr)")
    run(X="")
    assert capfd.readouterr() == ("", "")


def test_a_notebook_without_parameters_is_refused(notebooks: Any) -> None:
    notebooks("X = ''", tags=())
    with pytest.raises(LineproofError, match="parameters"):
        run(X="")


def test_the_page_title_cannot_break_out_of_head_or_style() -> None:
    hostile = '</style></title><script>alert("1")</script>'
    cell = nbformat.v4.new_code_cell("1")
    cell.outputs = [
        nbformat.v4.new_output(
            "display_data", {"text/html": "<p>x</p>"}, metadata={"lineproof": {"title": hostile}}
        )
    ]
    page = reports.to_page(nbformat.v4.new_notebook(cells=[cell]))
    assert reports.page_title(nbformat.v4.new_notebook(cells=[cell])) == hostile
    assert "<script>alert" not in page
    assert page.count("</style>") == 1


def test_contents_are_the_second_level_headings() -> None:
    cells = [
        nbformat.v4.new_markdown_cell("# One\n\n## 1. Two words\n\n### Deep"),
        nbformat.v4.new_code_cell("## no"),
    ]
    contents = reports.to_contents(nbformat.v4.new_notebook(cells=cells))
    assert contents == [{"id": "part-1", "text": "1. Two words", "cell": 0}]


def test_a_table_has_scoped_heads_a_caption_and_right_aligned_numbers() -> None:
    frame = pl.DataFrame({"name": ["a"], "count": [1234]})
    heads = (Head("Name", lambda row: row["name"]), number("Count", lambda row: f"{row['count']:,}"))
    html = show_table(frame, heads, "Things counted").html
    assert "<caption>Things counted</caption>" in html
    assert '<th scope="col" role="columnheader">Name</th>' in html
    assert '<th scope="col" role="columnheader" class="number">Count</th>' in html
    assert '<th scope="row" role="rowheader">a</th>' in html
    assert '<td role="cell" data-label="Count" class="number">1,234</td>' in html


def test_everything_shown_is_escaped() -> None:
    hostile = '<img src=x onerror="alert(1)">'
    frame = pl.DataFrame({"name": [hostile]})
    shown_as = [
        show_table(frame, (Head(hostile, lambda row: row["name"]),), hostile).html,
        show_text([hostile], '"><b>').html,
        show_list([hostile]).html,
    ]
    for html in shown_as:
        assert "<img" not in html
        assert "<b>" not in html
        assert "&lt;img" in html


def test_an_empty_table_says_so() -> None:
    html = show_table(pl.DataFrame({"a": []}), (), "Rows", "There are none.").html
    assert html == "<p>There are none.</p>"


def test_tables_of_the_review_escape_names_and_hold_no_runner(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    pieces = [
        review_tables.event_heading(review),
        review_tables.verdict_box(review),
        review_tables.rate_table(shown.to_line_rows(review), "Line", "Lines"),
        review_tables.rate_table(shown.to_point_rows(review), "Point", "Points"),
        review_tables.rate_table(shown.to_segment_rows(review), "Segment", "Segments"),
        review_tables.reason_table(shown.to_point_rows(review), "Point"),
        review_tables.check_table(shown.to_check_rows(review)),
        review_tables.example_table(shown.to_examples(review)),
        review_tables.gate_table(shown.to_gate_rows(review)),
        review_tables.lookup_table(shown.to_lookup_rows(review)),
        review_tables.account_table(review),
        review_tables.reject_table(shown.to_reject_rows(review)),
        review_tables.unused_table(shown.to_unused_rows(review)),
        review_tables.decision_table(shown.to_decision_rows(review)),
        review_tables.settings_table(review),
    ]
    text = "\n".join(piece.html for piece in pieces)
    assert "<script>" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert not [bib for bib in BIBS if bib in text]
    assert "TAG" not in text.replace("TAGS", "")


def test_examples_carry_pseudonym_and_row_and_no_time_of_a_runner(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    examples = shown.to_examples(review)
    first = examples.row(0, named=True)
    assert first["pseudonym"] == "R-0003AAAA"
    assert first["row"] == 2  # below the header, as findings.csv is written in this order
    assert "09:14:07" not in first["detail"]
    assert "(time)" in first["detail"]
    of_a_line = examples.filter(pl.col("label") == "Main line only").row(0, named=True)
    assert "10:31" in of_a_line["detail"]  # no runner's time: of a line


def test_lookups_are_counts_in_tens_of_minutes(tmp_path: Path) -> None:
    rows = shown.to_lookup_rows(make_review(tmp_path))
    assert rows.columns == ["label", "clock", "runners", "proven", "doubtful", "unproven", "findable"]
    # runners 0 and 1 reach the bridge 30 min after 09:00, runner 300 the finish after 94.9 min and 75 s
    assert rows.filter(pl.col("findable") > pl.col("runners")).is_empty()
    assert rows.drop("findable").rows() == [
        ("Bridge <script>alert(1)</script>", "09:30–09:40", 2, 2, 0, 0),
        ("Finish", "10:30–10:40", 1, 0, 0, 1),
    ]


def test_words_quoted_from_the_export_stay_out_of_the_reasons(tmp_path: Path) -> None:
    rows = shown.to_reject_rows(make_review(tmp_path))
    assert rows.rows() == [("exports/start.csv", "the time … cannot be read", 2)]


def test_bins_run_on_evenly_while_clocks_go_back(tmp_path: Path) -> None:
    """25 October 2026, 01:00 UTC: Brussels goes from CEST to CET, and 02:00 to 03:00 comes twice (EU rule)."""
    import datetime as dt

    review = make_review(tmp_path)
    shift = dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC) - dt.datetime(2026, 5, 17, 7, 0, tzinfo=dt.UTC)
    fields = {name: getattr(review.event, name) for name in review.event.__dataclass_fields__}
    waves = tuple(type(w)(w.id, w.course, w.gun + shift) for w in review.event.waves)
    event = type(review.event)(**{**fields, "waves": waves})
    proofs = review.proofs.with_columns(pl.col("about") + shift)
    rows = shown.to_time_rows(make_review(tmp_path, event=event, proofs=proofs))
    finish = rows.filter(pl.col("label") == "Finish, backup")
    assert finish["begin"].diff().drop_nulls().unique().to_list() == [dt.timedelta(minutes=10)]
    assert finish["clock"][0] == "02:30–02:40 CET"  # 02:30 CEST + 60 min: the second 02:30
    assert rows["clock"][0] == "02:30–02:40 CEST"
    assert int(finish["missed"].sum()) == 20


def test_where_the_data_do_not_tell_the_lines_apart_the_points_stand_for_them(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    blind = review.proofs.with_columns(
        seen_main=pl.lit(None, pl.Boolean), seen_backup=pl.lit(None, pl.Boolean)
    )
    rows = shown.to_time_rows(make_review(tmp_path, proofs=blind))
    # Missed by every line: 0 and 1 at the bridge, 100 to 108 at 15 km
    missed = dict(rows.group_by("label").agg(pl.col("missed").sum()).iter_rows())
    assert missed == {"Bridge <script>alert(1)</script>": 2, "15 km": 9}


def test_where_no_rate_is_known_the_sentence_stands_alone(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    nothing = pl.lit(None, pl.Float64)
    unknown = shown.to_line_rows(review).with_columns(
        estimate=nothing, next_estimate=nothing, reason=pl.lit("the export does not tell")
    )
    chart = review_tables.rate_chart(unknown, 0.998, "No rate can be stated")
    assert isinstance(chart, Fragment)
    assert chart.html == "<p>No rate can be stated.</p>"
    assert "<table>" not in review_tables.rate_table(unknown, "Line", "Lines").html
    assert "all these rates: the export does not tell." in review_tables.reason_table(unknown, "Line").html


def test_a_line_of_which_too_little_is_told_is_not_drawn(tmp_path: Path) -> None:
    """Merged data name the backup line only where it gave the time: no word on the rest."""
    review = make_review(tmp_path)
    partly = review.proofs.with_columns(
        seen_backup=pl.when((pl.col("point") == "finish") & pl.col("seen_main"))
        .then(None)
        .otherwise("seen_backup")
    )
    labels = shown.to_time_rows(make_review(tmp_path, proofs=partly))["label"].unique().to_list()
    assert "Finish, backup" not in labels
    assert "Finish, main" in labels
