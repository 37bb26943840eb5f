"""Bad purchase plans: one clear sentence that says where and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from lineproof.errors import OutputError, PlanError
from lineproof.replacement import load_plan, write_plan
from lineproof.replacement.plan import PLAN_FILE
from lineproof.vocabulary import ItemKind
from simulation.purchases import OnlyCells

ITEMS = {"M01": ItemKind.MAT, "M02": ItemKind.MAT, "C01": ItemKind.CABLE, "R01": ItemKind.READER}
WISH = '[[wish]]\nid = "new M01"\ndo = "replace"\nitem = "M01"\n'


def refusal(tmp_path: Path, text: str) -> str:
    path = tmp_path / PLAN_FILE
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        load_plan(path, ITEMS.items())
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    assert len(sentence) < 260
    return sentence


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (WISH + "price = -5\n", ['"price" is -5 and cannot be negative', "row 5"]),
        (WISH + "life = 0\n", ['"life" is 0 and cannot be below 1', "seasons"]),
        (WISH + "life = 2.5\n", ["must be a whole number"]),
        (WISH.replace("M01", "M0l"), ['the ledger holds no item "M0l"', 'did you mean "M0'],),
        (WISH.replace('item = "M01"', 'item = "X9999"'), ['no item "X9999"', "row 4"]),
        ('[plan]\nbudget = "a thousand"\n', ['"budget" is in words ("a thousand")', "without quotation marks", "row 2"]),
        ("[plan]\nbudget = a thousand\n", ["row 2"]),
        ("[plan]\nbudget = -1\n", ['"budget" is -1 and cannot be negative']),
        ("[plan]\ninterest = 150\n", ['"interest" is 150 and cannot be above 100']),
        ("[plan]\ninterest = 0.04\n", ["write 4 for 4 %, not 0.04"]),
        ("[plan]\ninterest = nan\n", ['"interest" must be a number']),
        ("[plan]\nhorizon = 0\n", ['"horizon" is 0 and cannot be below 1']),
        ("[plan]\nhorizon = true\n", ['"horizon" must be a number']),
        ("[plan]\nbudgt = 5\n", ['the word "budgt" is not known here', 'did you mean "budget"?']),
        ('[plan]\nlay = "as ever"\n', ['"lay" cannot be "as ever"', "as last season"]),
        ('[plan]\nlay = "as listed"\n', ["no [[line]] is there"]),
        ("[costs]\ncomplaint_share = 130\n", ["cannot be above 100", "% of unread"]),
        ("[costs.finish]\nrefund = -3\n", ["[costs.finish]", '"refund" is -3', "row 2"]),
        ("[costs]\nfinish = 3\n", ['"finish" must be a table']),
        ("costs = 3\n", ['"costs" must be a table']),
        ("[new.mat]\nreads = 99\n", ['"reads", "reads_low" and "reads_high"']),
        ("[new.mat]\nreads = 97\nreads_low = 98\nreads_high = 99\n", ["not between 98 and 99 %"]),
        ("[new.mat]\nloses = 120\n", ['"loses" is 120 and cannot be above 100']),
        ("[new.tent]\nprice = 3\n", ['"tent" is not known here']),
        (WISH + WISH, ['"new M01" is described twice']),
        (WISH + 'needs = ["cable"]\n', ['"needs" names the wish "cable"']),
        (WISH + 'needs = ["new M01"]\n', ["which is not another one of the list"]),
        (WISH + 'needs = "cable"\n', ['"needs" must be a list of texts']),
        (WISH + 'kind = "cable"\n', ['"M01" is a mat by the ledger, not a cable']),
        ('[[wish]]\nid = "x"\ndo = "replace"\n', ['a wish to replace needs "item"']),
        ('[[wish]]\nid = "x"\ndo = "spare"\nitem = "M01"\n', ['a spare replaces no "item"']),
        ('[[wish]]\nid = "x"\ndo = "steal"\nitem = "M01"\n', ['"do" cannot be "steal"']),
        ('[[wish]]\ndo = "replace"\nitem = "M01"\n', ['"id" is missing']),
        (WISH + '[[discount]]\ngroup = "mats"\nfrom = 3\nper_cent = 5\n', ['no wish has the group "mats"']),
        (WISH + 'group = "mats"\n[[discount]]\ngroup = "mats"\nfrom = 3\n', ['a discount needs "from" and "per_cent"']),
        (WISH + 'group = "mats"\n[[discount]]\ngroup = "mats"\nfrom = 0\nper_cent = 5\n', ['"from" is 0']),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "main"\nmats = []\ncrossings = 5\n', ['a line needs "mats"']),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "main"\nmats = ["M01", "M01"]\ncrossings = 5\n', ["lies twice"]),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "main"\nmats = ["M01", "M02"]\ncables = ["C01"]\ncrossings = 5\n', ["2 mats but 1 cables"]),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "main"\nmats = ["M77"]\ncrossings = 5\n', ['no item "M77"']),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "main"\nmats = ["M01"]\n', ['"crossings" is missing']),
        ('[[line]]\nevent = "e"\npoint = "p"\nkind = "finish"\nrole = "backup"\nmats = ["M01"]\ncrossings = 5\n', ["a backup line but no main line"]),
        ("[plan\n", ["row 1"]),
        ("[teapot]\n", ['"teapot" is not known here']),
    ],
)  # fmt: skip
def test_one_clear_sentence(tmp_path: Path, text: str, parts: list[str]) -> None:
    sentence = refusal(tmp_path, text)
    assert sentence.startswith(PLAN_FILE) or "the file" in sentence
    for part in parts:
        assert part in sentence


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="there is no plan"):
        load_plan(tmp_path / "none.toml")
    with pytest.raises(PlanError, match="is a folder"):
        load_plan(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'[plan]\nname = "M\xfcnzen"\n')
    with pytest.raises(PlanError, match="not UTF-8"):
        load_plan(tmp_path / "latin.toml")


def test_the_users_own_name_of_the_file_is_said(tmp_path: Path) -> None:
    path = tmp_path / "winter.toml"
    path.write_text("[plan]\nbudget = -1\n", encoding="utf-8")
    with pytest.raises(PlanError, match=r"winter\.toml, row 2"):
        load_plan(path)


def test_an_empty_plan_is_all_defaults(tmp_path: Path) -> None:
    path = tmp_path / PLAN_FILE
    path.write_text("", encoding="utf-8")
    plan = load_plan(path)
    assert plan.wishes == ()
    assert "plan.budget" in plan.assumed


def test_a_draft_never_overwrites(tmp_path: Path) -> None:
    from lineproof.season_tables import CELLS

    (tmp_path / PLAN_FILE).write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="there is a plan already"):
        write_plan(OnlyCells(CELLS.empty()), tmp_path)
    assert (tmp_path / PLAN_FILE).read_text(encoding="utf-8") == "mine"


def test_an_empty_ledger_cannot_carry_a_case(tmp_path: Path) -> None:
    from lineproof.season_tables import CELLS

    with pytest.raises(PlanError, match="which mat, cable or reader lay where"):
        write_plan(OnlyCells(CELLS.empty()), tmp_path)
