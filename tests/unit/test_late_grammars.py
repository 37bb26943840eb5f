"""The library that judges international addresses sleeps until somebody asks, and then answers as it always did."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

pytest.importorskip("rfc3987_syntax")

SCRIPT = """
import json, sys
{first}
import jsonschema
loaded = "rfc3987_syntax.syntax_helpers" in sys.modules
checker = jsonschema.FormatChecker()
# RFC 3987, 1.4 and 3.1: letters beyond ASCII may stand in an IRI, a blank may not.
told = [checker.conforms(text, "iri") for text in ("http://r\\u00e9sum\\u00e9.example.org/\\u00e9", "http://a b")]
import rfc3987_syntax
print(json.dumps({{"loaded": loaded, "told": told, "more": hasattr(rfc3987_syntax, "parse")}}))
"""


def run(first: str) -> dict[str, object]:
    words = [sys.executable, "-c", SCRIPT.format(first=first)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def test_it_sleeps_until_asked_and_then_answers_as_the_library_does() -> None:
    with_ours, without = run("import lineproof"), run("")
    assert with_ours["loaded"] is False
    assert without["loaded"] is True
    assert with_ours["told"] == without["told"] == [True, False]
    assert with_ours["more"] == without["more"]


def test_a_library_that_is_there_already_stays() -> None:
    assert run("import rfc3987_syntax, lineproof")["loaded"] is True
