"""Pictures of the desk at three widths, light and dark, to be looked at by a person.

    DOTWRIGHT=target/release/dotwright python tests/outside/desk/shots.py FOLDER

With `--readme FILE` it also makes the picture of the contact sheet that the README shows.
"""

import argparse
import io
import sys
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))
from running import HARBOUR, Desk, Page, browser  # noqa: E402
from test_desk import tray_of  # noqa: E402

WIDTHS = {1280: 800, 820: 1180, 390: 844}


def piece(page):
    """A coaster filled by the harbour."""
    page.drop(HARBOUR)
    page.tab.wait_for_selector(".frame img")
    drawer = page.drawer("blank")
    page.saved(lambda: drawer.get_by_text("Glass coaster 90").click())
    drawer = page.drawer("size")
    page.saved(lambda: drawer.get_by_text("Fill the blank").click())
    page.tab.keyboard.press("Escape")
    # The versions are made anew once the hand rests.
    page.tab.wait_for_timeout(1000)
    page.versions_done()
    page.saved(lambda: page.tab.locator("button.frame", has_text="More contrast").click())
    page.tab.mouse.move(2, 2)
    # The exact look of the version that was taken, with its size in the strip.
    page.tab.wait_for_timeout(6000)


def shoot(made, desk, width, height, scheme, folder):
    context = made.new_context(viewport={"width": width, "height": height}, color_scheme=scheme, reduced_motion="reduce")
    page = Page(context, desk, begins_with="{}")
    tab = page.tab

    def keep(name, full=False):
        tab.wait_for_timeout(400)
        tab.screenshot(path=folder / f"{width}-{scheme}-{name}.png", full_page=full)

    keep("0-empty")
    piece(page)
    tab.evaluate("document.querySelector('main').scrollTo(0, 0)")
    keep("1-sheet")
    page.exact()
    keep("4-ticket")
    page.screen("easel")
    tab.wait_for_timeout(1500)
    keep("2-easel")
    page.screen("loupe")
    tab.wait_for_timeout(1500)
    keep("3-loupe")
    tab.get_by_role("button", name="Single dots").click()
    tab.get_by_label("Beside it").select_option(label="Dots")
    tab.wait_for_timeout(1500)
    keep("3-loupe-dots")
    for label in ["blank", "place", "tone"]:
        page.drawer(label)
        keep(f"5-drawer-{label}")
    tab.keyboard.press("Escape")
    page.screen("wedge")
    keep("7-wedge")
    tray_of(page, 12)
    tab.wait_for_timeout(1500)
    keep("6-tray")
    context.close()


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("folder", type=Path)
    words.add_argument("--readme", type=Path)
    words.add_argument("--widths", default="1280,820,390")
    words.add_argument("--schemes", default="light,dark")
    asked = words.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    desk = Desk()
    try:
        with browser() as made:
            if asked.readme:
                context = made.new_context(viewport={"width": 1280, "height": 800}, color_scheme="light", reduced_motion="reduce")
                page = Page(context, desk, begins_with="{}")
                piece(page)
                page.tab.evaluate("document.querySelector('main').scrollTo(0, 0)")
                page.tab.wait_for_timeout(600)
                shot = io.BytesIO(page.tab.screenshot())
                Image.open(shot).convert("RGB").quantize(256, dither=Image.Dither.NONE).save(asked.readme, optimize=True)
            for width in map(int, asked.widths.split(",")):
                for scheme in asked.schemes.split(","):
                    shoot(made, desk, width, WIDTHS[width], scheme, asked.folder)
    finally:
        desk.stop()


if __name__ == "__main__":
    main()
