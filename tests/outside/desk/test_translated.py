"""The desk by a file of texts in a language that nobody speaks: what is still English on the page is in no file."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from running import DOTWRIGHT, ROOT, Desk, Page, browser  # noqa: E402
from test_desk import photographed  # noqa: E402

PLAIN = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
MARKED = "àƀçđéƒĝħîĵķļɱñôþǫŕšţûṽŵẋýžÀƁÇĐÉƑĜĦÎĴĶĻṀÑÔÞǪŔŠŢÛṼŴẊÝŽ"
# What stays as it is in every language: names that are brought or typed.
AS_IT_IS = ["harbour.jpg", "Anna Bright", "Ben Ferry"]
SEEN = """() => {
    const shown = n => n.checkVisibility({ visibilityProperty: true });
    const found = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
        const on = walk.currentNode.parentElement;
        if (!on.closest('script, style, noscript, textarea, code, kbd, pre') && (shown(on) || on.closest('option'))) found.push(walk.currentNode.data);
    }
    for (const n of document.querySelectorAll('*'))
        for (const a of ['aria-label', 'title', 'alt', 'placeholder', 'aria-valuetext', 'aria-description'])
            if (n.getAttribute(a) && shown(n)) found.push(n.getAttribute(a));
    return found;
}"""


def in_no_language(texts):
    """Each text with marked letters; `{names}` stay."""
    def marked(text):
        return "".join(p if p.startswith("{") else p.translate(str.maketrans(PLAIN, MARKED)) for p in re.split(r"(\{\w+\})", text))

    return {room: {k: marked(t) for k, t in of.items() if (room, k) != ("page", "lang")} for room, of in texts.items()}


@pytest.fixture(scope="module")
def chromium():
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def page(chromium, tmp_path_factory):
    file = tmp_path_factory.mktemp("texts") / "texts.xx.json"
    texts = json.loads(subprocess.run([DOTWRIGHT, "texts"], capture_output=True, check=True, text=True).stdout)
    assert {**json.loads((ROOT / "src/texts.en.json").read_text()), "kit": texts["kit"]} == texts
    file.write_text(json.dumps(in_no_language(texts), ensure_ascii=False))
    desk = Desk(texts=file)
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
    yield Page(context, desk)
    context.close()
    desk.stop()


def english(page, where, found):
    """Notes what of the page is English."""
    for text in page.tab.evaluate(SEEN):
        rest = text
        for name in AS_IT_IS:
            rest = rest.replace(name, "")
        if re.search(r"[A-Za-z]{2,}[,:;.]? [A-Za-z]{2,}", rest):
            found.setdefault(text.strip(), where)


def test_nothing_on_the_page_is_left_in_english(page, tmp_path):
    tab, found = page.tab, {}
    english(page, "the empty sheet", found)
    bad = tmp_path / "bad.png"
    bad.write_bytes(b"harbour")
    page.drop(bad)
    tab.locator(".notice.wrong").wait_for()
    english(page, "a file that is no picture", found)
    page.begin()
    english(page, "sheet", found)
    for drawer in tab.locator(".labels .label").evaluate_all("all => all.map(l => l.dataset.id)"):
        page.drawer(drawer)
        tab.wait_for_timeout(100)
        english(page, f"drawer of {drawer}", found)
    tab.keyboard.press("Escape")
    for view in ["easel", "loupe"]:
        page.screen(view)
        tab.wait_for_timeout(300)
        english(page, view, found)
    # Settings that much is said of.
    asked = page.asked()
    asked["blank"]["margin"] = "0.1mm"
    asked.setdefault("burn", {}).update(speed="40mm/s", power="100%", passes=2)
    asked.setdefault("scan", {})["run_up"] = "0mm"
    asked["layer"] = [{"text": "Anna Bright", "place": "30x10mm"}]
    kept = page.api(f"/api/jobs/{page.name}")
    answer = page.context.request.put(
        f"{page.desk.place}api/jobs/{page.name}",
        data=json.dumps({**json.loads(kept.text()), "asked": asked}),
        headers={"origin": page.desk.place.rstrip("/"), "content-type": "application/json"},
    )
    assert answer.ok, answer.text()
    tab.reload()
    page.exact()
    english(page, "ticket", found)
    tab.goto(page.desk.place)
    tab.wait_for_selector("main > *:not(h1)")
    table = tmp_path / "members.csv"
    table.write_text("name\nAnna Bright\nBen Ferry\n")
    page.drop(table)
    tab.locator(".notice.stays").wait_for()
    tab.wait_for_timeout(200)
    english(page, "a table that is dropped", found)
    tab.locator(".notice.stays button").first.click()
    tab.wait_for_function("() => document.querySelectorAll('.spot').length === 2")
    tab.wait_for_timeout(500)
    english(page, "tray", found)
    tab.goto(f"{page.desk.place}?view=wedge")
    tab.locator("form, fieldset").first.wait_for()
    english(page, "wedge", found)
    tab.locator("button.main").first.click()
    tab.locator(".drawn img").wait_for()
    english(page, "wedge, drawn", found)
    name = tab.evaluate("() => new URLSearchParams(location.search).get('wedge')")
    drawn = next(p.parent for p in (page.desk.home / "wedges" / name).rglob("wedge.toml"))
    photographed(drawn, tmp_path / "photo.jpg", covered=True)
    page.drop(tmp_path / "photo.jpg")
    tab.locator(".corners").wait_for()
    english(page, "wedge, not found", found)
    photographed(drawn, tmp_path / "photo.jpg")
    page.drop(tmp_path / "photo.jpg")
    tab.locator(".reading").wait_for()
    english(page, "wedge, read", found)
    for text, where in found.items():
        print(f"{where}: {text}")
    assert found == {}
    assert page.wrong == []


def test_a_language_from_the_right_keeps_numbers_as_the_program_writes_them(chromium, tmp_path):
    file = tmp_path / "texts.he.json"
    file.write_text(json.dumps({"page": {"lang": "he", "close": "סגירה"}}), encoding="utf-8")
    desk = Desk(texts=file)
    context = chromium.new_context()
    page = Page(context, desk)
    assert page.tab.evaluate("[document.documentElement.dir, document.documentElement.lang]") == ["rtl", "he"]
    said = page.tab.evaluate("import('/page/words.js').then((w) => [w.number(2057), w.number(12.55, 1), w.size(23.36, 31.19)])")
    # Thousands as on the ticket, a point in every language, and a size in its order among words from the right.
    assert said == ["2\u202f057", "12.6", "\u206623.36 × 31.19 mm\u2069"]
    assert page.wrong == []
    context.close()
    desk.stop()
