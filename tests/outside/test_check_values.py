"""Every check value that a comment cites by its number stands in tests/data/check-values.json with its source,
and nothing stands there that no comment cites."""

import json
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
NUMBER = r"[A-Z]\d\d"
# "check value M08", "check values U01, U02", "check values U10 (pixels a metre) and U11", "check values T01 to T11".
CITED = re.compile(rf"check values? ({NUMBER}(?:(?: \([^)]*\))?(?:,| and| to) {NUMBER})*)")


def numbers(words):
    for first, last in re.findall(rf"({NUMBER})(?: to ({NUMBER}))?", re.sub(r"\([^)]*\)", "", words)):
        last = last or first
        assert first[0] == last[0], words
        yield from (f"{first[0]}{n:02}" for n in range(int(first[1:]), int(last[1:]) + 1))


def cited():
    found = {}
    for folder in ("src", "tests", "benches", "samples"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix not in (".rs", ".py", ".md") or path == Path(__file__):
                continue
            # A citation may go on in the next line of its comment.
            text = re.sub(r"\s*\n\s*(?://[/!]?|#)?\s*", " ", path.read_text())
            cites = list(CITED.finditer(text))
            for cite in cites:
                for number in numbers(cite[1]):
                    found.setdefault(number, path.relative_to(ROOT))
            loose = len(re.findall(rf"check values? {NUMBER}", text)) - len(cites)
            assert loose == 0, f"{path}: {loose} citations could not be read"
    return found


def kept():
    return json.loads((ROOT / "tests/data/check-values.json").read_text())


def test_a_citation_is_read_whole():
    words = CITED.search("(check values U10 (pixels a metre) and U11 (a positive height), not G20)")[1]
    assert list(numbers(words)) == ["U10", "U11"]
    assert list(numbers("T09 to T11, B03")) == ["T09", "T10", "T11", "B03"]


def test_each_number_cited_is_kept_and_each_kept_one_is_cited():
    found = cited()
    assert len(found) > 40
    listed = {value["id"] for value in kept()}
    assert {n: str(p) for n, p in found.items() if n not in listed} == {}
    assert sorted(listed - set(found)) == []


def test_each_value_says_what_it_is_and_where_it_comes_from():
    values = kept()
    assert len({value["id"] for value in values}) == len(values)
    for value in values:
        assert value["standing"] in ("computed", "published-read", "published-memory"), value["id"]
        for key in ("statement", "source"):
            assert len(value[key]) > 8, value["id"]
        assert "expected" in value, value["id"]
