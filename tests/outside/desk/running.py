"""A desk that runs on a home of its own, and a browser that looks at it.

The browser is Debian's chromium, driven by Playwright (Apache 2.0); tests/run installs it where it is missing.
"""

import json
import os
import re
import shutil
import subprocess
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[3]
DOTWRIGHT = os.path.abspath(os.environ.get("DOTWRIGHT", ROOT / "target/release/dotwright"))
SAMPLES = ROOT / "samples"
HARBOUR = SAMPLES / "harbour.jpg"
# What a new piece begins with here: a small one, whose exact look is soon there.
SMALL = json.dumps({"blank": {"shape": "round:44mm", "margin": "2.5mm", "surface": "glass"}})
# The exact look takes a second or two on a quiet machine; tests share theirs.
PATIENCE_MS = int(os.environ.get("DESK_PATIENCE_MS", "60000"))


def chromium():
    """The browser, or a sentence that says how to get one."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        raise RuntimeError("There is no chromium here to look at the page with; install it (Debian: apt-get install chromium), or run tests/run, which does.")
    return found


class Desk:
    """`dotwright desk` on a folder of its own."""

    def __init__(self, home=None, port=0, texts=None):
        self.kept = home is not None
        self.home = Path(home or tempfile.mkdtemp(prefix="desk-"))
        words = [DOTWRIGHT, "desk", "--no-open", "--port", port, "--home", self.home]
        if texts:
            words += ["--texts", texts]
        if os.environ.get("DOTWRIGHT_PAGE"):  # for whoever works on the page: its files as they are now
            words += ["--page", os.environ["DOTWRIGHT_PAGE"]]
        self.running = subprocess.Popen(list(map(str, words)), stdout=subprocess.PIPE, text=True)
        line = self.running.stdout.readline()
        found = re.search(r"http://\S+", line)
        assert found, f"the desk did not say where it is: {line!r}"
        self.address = found[0]

    @property
    def place(self):
        """The address without its token."""
        return "{0.scheme}://{0.netloc}/".format(urlsplit(self.address))

    def job(self, name):
        """The file of a job."""
        return self.home / "jobs" / name / "job.toml"

    def stop(self):
        self.running.terminate()
        try:
            self.running.wait(10)
        except subprocess.TimeoutExpired:
            self.running.kill()
            self.running.wait()
        self.running.stdout.close()
        if not self.kept:
            shutil.rmtree(self.home, ignore_errors=True)


@contextmanager
def browser():
    """A browser without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        words = ["--no-sandbox"] if os.geteuid() == 0 else []
        found = playwright.chromium.launch(executable_path=chromium(), args=words)
        try:
            yield found
        finally:
            found.close()


class Page:
    """A tab with the desk in it, and what a person does there."""

    def __init__(self, context, desk, path=None, begins_with=SMALL):
        self.desk = desk
        context.add_init_script(f"localStorage.getItem('last-used') ?? localStorage.setItem('last-used', {json.dumps(begins_with)})")
        self.context = context
        self.tab = context.new_page()
        self.tab.set_default_timeout(PATIENCE_MS)
        # A listener makes the browser hand file choosers to us from the start.
        self.tab.on("filechooser", lambda chooser: None)
        self.wrong = []
        self.tab.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.tab.on("console", lambda said: said.type == "error" and "Failed to load resource" not in said.text and self.wrong.append(said.text))
        self.tab.goto(path or desk.address)
        self.tab.wait_for_selector("main > *:not(h1)")

    # What a person does.

    def drop(self, *files):
        """Drops files on the page, as from a file manager."""
        brought = [{"name": Path(f).name, "hex": Path(f).read_bytes().hex()} for f in files]
        self.tab.evaluate(
            """files => {
                const all = new DataTransfer();
                for (const { name, hex } of files) {
                    const bytes = Uint8Array.from(hex.match(/../g) ?? [], (h) => parseInt(h, 16));
                    all.items.add(new File([bytes], name));
                }
                document.querySelector("main").dispatchEvent(new DragEvent("drop", { dataTransfer: all, bubbles: true, cancelable: true }));
            }""",
            brought,
        )

    def begin(self, picture=HARBOUR):
        """Drops a picture and waits for all its versions."""
        before = self.name
        self.drop(picture)
        # Until it is there, the frames are those of the piece before.
        self.tab.wait_for_function("before => new URLSearchParams(location.search).get('piece') !== before", arg=before)
        self.tab.wait_for_selector(".frame img")
        self.versions_done()
        return self.name

    def versions_done(self):
        self.tab.wait_for_selector(".frames:not(:has(.empty))")

    def screen(self, view):
        """Goes to a screen by its tab."""
        self.tab.click(f'.film a[href*="view={view}"]')
        self.tab.wait_for_selector(f'body[data-view="{view}"]')

    def drawer(self, label):
        """Opens a drawer of the strip."""
        button = self.tab.locator(f'.label[data-id="{label}"]')
        if button.get_attribute("aria-expanded") != "true":
            button.click()
        self.tab.wait_for_selector("#drawer:not([hidden])")
        return self.tab.locator("#drawer")

    def saved(self, act):
        """Does something, and waits until the server has kept it."""
        with self.tab.expect_response(lambda r: r.request.method == "PUT" and "/api/jobs/" in r.url) as answer:
            act()
        return answer.value

    def exact(self):
        """Waits for the exact look of what is asked now; on the ticket."""
        self.screen("ticket")
        self.tab.wait_for_selector(".docket:not(.waiting) .burn")
        self.tab.wait_for_function("() => document.querySelector('.docket').getAttribute('aria-busy') === null")

    # What is there.

    @property
    def name(self):
        """The name of the open piece, as the address has it."""
        return self.tab.evaluate("new URLSearchParams(location.search).get('piece')")

    def api(self, path, **more):
        """What the server says."""
        return self.context.request.get(self.desk.place + path.lstrip("/"), **more)

    def asked(self):
        """What is asked of the open piece, as it is kept."""
        return json.loads(self.api(f"/api/jobs/{self.name}").text())["asked"]

    def notices(self):
        return self.tab.locator(".notice").all_inner_texts()

    def close(self):
        self.tab.close()


def until(holds, seconds=20, what="it did not happen"):
    """Waits until something holds."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, what
        time.sleep(0.05)
