"""Names, notes and items that are attacks: every page shows them as they are written, and nothing in them runs."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from chromium import complaints, needs_chromium, start, wait_for
from hostile import MARKUP, NAME, POINTS, hostile_season, reviewed_event
from lineproof.figures import show_chart
from lineproof.morning_files import write_ready, write_sheets

pytestmark = [pytest.mark.xdist_group("hostile pages"), needs_chromium]
DRAWN = "const f = document.querySelectorAll('figure.chart'); return f.length === document.querySelectorAll('.drawing.live svg').length"
# What only an attack would bring into a page of ours.
FOREIGN = (
    "return Array.from(document.querySelectorAll('img, image, iframe, object, embed, base, link, math, form:not(.vega-bindings), video, audio, "
    '[onerror], [onload], [onmouseover], [srcdoc], [href^="javascript" i]\')).map(e => e.outerHTML.slice(0, 200))'
)


@cache
def pages() -> dict[str, Path]:
    event, season = reviewed_event(), hostile_season()
    (sheets,) = (path for path in write_sheets(event).paths if path.suffix == ".html")
    return {
        "review": event / "review" / "review.html",
        "clipboard": sheets,
        "ready": write_ready(event).paths[0],
        "season": season / "season" / "season.html",
        "purchase": season / "purchase" / "purchase.html",
    }


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.mark.parametrize("name", ["review", "clipboard", "ready", "season", "purchase"])
def test_nothing_in_the_names_runs_or_is_fetched(browser: Any, name: str) -> None:
    page = pages()[name]
    browser.get_log("performance")
    browser.get(page.as_uri())
    wait_for(browser, DRAWN)
    for kind in ("mouseover", "mousemove", "click"):  # charts answer the pointer by showing names
        browser.execute_script(
            "document.querySelectorAll('main *').forEach(e => e.dispatchEvent("
            f"new MouseEvent('{kind}', {{bubbles: true, clientX: 5, clientY: 5}})))"
        )
    assert browser.execute_script("return window.bitten") is None
    assert browser.execute_script(FOREIGN) == []
    assert complaints(browser) == []
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert asked[asked.index(page.as_uri()) :] == [page.as_uri()]


def test_the_attacks_are_shown_as_they_are_written(browser: Any) -> None:
    browser.get(pages()["review"].as_uri())
    assert NAME in browser.title
    text = browser.execute_script("return document.body.textContent")
    for word in (NAME, *POINTS.values(), "=rain<b>"):
        assert word in text, word
    browser.get(pages()["season"].as_uri())
    text = browser.execute_script("return document.body.textContent")
    assert "<img src=x onerror=window.bitten=3>" in text
    browser.get(pages()["purchase"].as_uri())
    assert "<img src=x onerror=window.bitten=3>" in browser.execute_script("return document.body.textContent")


def test_the_page_itself_forbids_what_is_not_its_own(browser: Any) -> None:
    """Were a text ever written unescaped, its script would still not run."""
    browser.get(pages()["review"].as_uri())
    browser.execute_script(
        "const box = document.createElement('div'); document.body.append(box);"
        "box.innerHTML = '<img src=x onerror=window.bitten=1><svg onload=window.bitten=2></svg>';"
        "const s = document.createElement('script'); s.textContent = 'window.bitten=3'; document.body.append(s);"
    )
    wait_for(browser, "return false", 1)
    assert browser.execute_script("return window.bitten") is None
    assert any("Content Security Policy" in said for said in complaints(browser))


@pytest.mark.parametrize("word", MARKUP)
def test_a_chart_takes_any_name_as_a_text(browser: Any, tmp_path: Path, word: str) -> None:
    """Title, caption, description, axis labels, legends and tooltips, in the drawing and alive."""
    import altair as alt
    import polars as pl

    frame = pl.DataFrame({"place": [word, word + " 2"], "count": [1, 2], "group": [word, "b"]})
    chart = alt.Chart(frame, title=word, description=word, usermeta={"caption": word}).mark_bar()
    spec = chart.encode(x="count:Q", y="place:N", color="group:N", tooltip=["place:N"]).to_dict()
    figure = show_chart(spec)
    assert re.findall(r"<script(?! type=\"application/json\" class=\"definition\")", figure) == []
    path = tmp_path / "figure.html"
    path.write_text(f'<!DOCTYPE html><meta charset="utf-8"><title>figure</title>{figure}', encoding="utf-8")
    browser.get(path.as_uri())
    assert browser.execute_script("return window.bitten") is None
    assert browser.execute_script(FOREIGN) == []
    shown = browser.execute_script("return document.querySelector('.title').textContent")
    assert " ".join(shown.split()) == " ".join(word.split())
    stored = browser.execute_script("return document.querySelector('script.definition').textContent")
    assert word in json.dumps(json.loads(stored), ensure_ascii=False).replace('\\"', '"')
