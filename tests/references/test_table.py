"""Tables are checked whole, and every fault is reported together."""

from __future__ import annotations

import io
from dataclasses import dataclass

import pytest

from roomfield.errors import RejectedRows
from roomfield.references import check
from roomfield.references.source import Knowledge, Source
from roomfield.references.table import SOURCE, column, rows_from_csv, rows_from_mappings

SOURCE_HEAD = "document,edition,clause,how"
GOOD = "ICNIRP,2020,Table 5,confirmed E06"


@dataclass(frozen=True)
class Sample:
    name: str = column(choices=("a", "b"))
    power_w: float = column("power_mw", scale=1e-3, low=0.0, high=100.0)
    extra: float | None = column(blank=True)
    flag: bool = column()
    source: Source = SOURCE


def read(*lines: str) -> tuple[Sample, ...]:
    text = "\n".join([f"name,power_mw,extra,flag,{SOURCE_HEAD}", *lines])
    return rows_from_csv(Sample, text, where="sample.csv")


def test_rows_become_values_in_si():
    first, second = read(f"a,10,,true,{GOOD}", f"b,3,2.5,no,{GOOD}")
    assert (first.power_w, first.extra, first.flag) == (0.01, None, True)
    assert (second.extra, second.flag) == (2.5, False)
    assert first.source == Source("ICNIRP", "2020", "Table 5", "confirmed E06")


def test_round_decimals_stay_round():
    assert read(f"a,10,,true,{GOOD}")[0].power_w == 0.01
    assert read(f"a,0.7,,true,{GOOD}")[0].power_w == 0.0007


def test_every_fault_of_the_table_is_listed():
    with pytest.raises(RejectedRows) as refused:
        read(
            f"c,10,,true,{GOOD}",
            f"a,-1,,true,{GOOD}",
            f"a,many,x,maybe,{GOOD}",
            "a,1,,true,ICNIRP,,Table 5,",
            f"a,1,,true,{GOOD},more",
        )
    faults = {(fault.line, fault.column) for fault in refused.value.faults}
    assert faults == {
        (2, "name"),
        (3, "power_mw"),
        (4, "power_mw"),
        (4, "extra"),
        (4, "flag"),
        (5, "edition"),
        (5, "how"),
        (6, "(surplus cells)"),
    }
    assert "must be one of: a, b" in refused.value.faults[0].reason
    assert "sample.csv" in str(refused.value) and "line 2" in str(refused.value)


def test_missing_columns_are_listed_together():
    with pytest.raises(RejectedRows) as refused:
        rows_from_csv(Sample, "name,extra\na,1\n", where="sample.csv")
    assert {fault.column for fault in refused.value.faults} == {"power_mw", "flag", *SOURCE_HEAD.split(",")}


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1,5", ""])
def test_numbers_that_are_none(value):
    with pytest.raises(RejectedRows):
        read(f'a,"{value}",,true,{GOOD}')


def test_booleans_do_not_pass_for_numbers():
    row = {
        "name": "a",
        "power_mw": True,
        "flag": True,
        "document": "d",
        "edition": "e",
        "clause": "c",
        "how": "h",
    }
    with pytest.raises(RejectedRows, match="not a finite number"):
        rows_from_mappings(Sample, [(1, row)], where="x")


@pytest.mark.parametrize(
    ("how", "knowledge"),
    [
        ("confirmed E06; continuity checked", Knowledge.CONFIRMED),
        ("confirmed E25; citation E26; table also from memory", Knowledge.CONFIRMED),
        ("from memory; continuity checked", Knowledge.MEMORY),
        ("confirmed at 1000 MHz by E04; otherwise from memory", Knowledge.PARTLY),
        ("computed here", Knowledge.COMPUTED),
        ("stated by the user", Knowledge.USER),
        ("seen somewhere", Knowledge.UNCLEAR),
    ],
)
def test_how_a_value_is_known(how, knowledge):
    assert Source("d", "e", "c", how).knowledge is knowledge


def test_citation_leaves_out_what_is_not_stated():
    assert Source("47 CFR 1.1310", "1997", "Table 1", "x").citation() == "47 CFR 1.1310, 1997, Table 1"
    assert Source("practice", "undated", "not stated", "x").citation() == "practice"


def test_the_reference_data_have_no_row_without_a_source():
    result = check.audit()
    assert result.faults == ()
    assert result.rows > 400
    assert result.by_knowledge[Knowledge.CONFIRMED] > 150
    assert sum(result.by_knowledge.values()) == result.rows


def test_the_audit_finds_what_is_missing(monkeypatch):
    planted = {
        ("x", "blank.csv"): f"{SOURCE_HEAD}\nd,,c,confirmed E01\n",
        ("x", "unknown.csv"): f"{SOURCE_HEAD}\nd,e,c,confirmed E99\n",
        ("x", "unclear.csv"): f"{SOURCE_HEAD}\nd,e,c,seen somewhere\n",
        (
            "x",
            "nested.toml",
        ): 'document = "d"\nedition = "e"\nclause = "c"\n[[row]]\nhow = "from memory"\n[[row]]\nname = "n"\n',
    }
    planted["technologies", "timing.toml"] = (
        '[[technology]]\ndocument = "d"\nrates = [{ known = "seen" }, { known = "hearsay" }]\n'
    )
    real = check.data_text
    monkeypatch.setattr(check, "data_files", lambda: tuple(planted))
    monkeypatch.setattr(check, "data_text", lambda *key: planted.get(key) or real(*key))
    out = io.StringIO()
    assert check.main(out) == 1
    text = out.getvalue()
    assert "x/blank.csv, row 2: edition missing" in text
    assert "evidence E99 is not in the register" in text
    assert "neither confirmed, memory nor computed" in text
    assert "x/nested.toml, row 2: how missing" in text
    assert "technologies/timing.toml, row 2: known missing" in text
    assert "5 rows without a source" in text
