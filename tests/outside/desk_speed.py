"""How quickly the desk answers, on a photo of 12 megapixels on a coaster: start, first look, contact sheet, tiles, exact run.

    DOTWRIGHT=target/release/dotwright python tests/outside/desk_speed.py [PHOTO]

Without PHOTO one is made. Prints one line a figure with the bound that it is held to; ends with 1 where one is missed. Run it
on a machine that does nothing else.
"""

import http.client
import io
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time

PROGRAM = os.environ.get("DOTWRIGHT", "target/release/dotwright")


class Desk:
    def __init__(self, home):
        begun = time.monotonic()
        line = [PROGRAM, "desk", "--port", "0", "--no-open", "--home", home]
        self.process = subprocess.Popen(line, stdout=subprocess.PIPE, text=True)
        found = re.search(r"127\.0\.0\.1:(\d+)/#(\w+)", self.process.stdout.readline())
        self.port, self.cookie = int(found[1]), ""
        _, headers, _ = self.ask("POST", "/api/enter", {"token": found[2]})
        self.cookie = headers["set-cookie"].split(";")[0]
        for path in ["/", "/page/desk.js", "/page/desk.css", "/api/kit", "/api/shelf"]:
            self.ask("GET", path)
        self.start = time.monotonic() - begun

    def ask(self, method, path, body=None, raw=None):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        headers = {"Origin": f"http://127.0.0.1:{self.port}", "Cookie": self.cookie}
        content = raw if raw is not None else json.dumps(body) if body is not None else None
        connection.request(method, path, content, headers)
        answer = connection.getresponse()
        content, headers = answer.read(), {k.lower(): v for k, v in answer.getheaders()}
        if answer.status >= 400:
            raise SystemExit(f"{method} {path}: {answer.status} {content[:300]!r}")
        return answer.status, headers, json.loads(content) if "json" in headers.get("content-type", "") else content

    def listen(self, heard):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        connection.request("GET", "/api/events", headers={"Cookie": self.cookie})
        answer = connection.getresponse()
        event = ""
        for line in answer:
            line = line.decode().strip()
            if line.startswith("event: "):
                event = line[7:]
            elif line.startswith("data: "):
                heard.append((time.monotonic(), event, json.loads(line[6:])))


def photo():
    import numpy
    from PIL import Image

    rng = numpy.random.default_rng(7)
    y, x = numpy.mgrid[0:3000, 0:4000].astype("float32")
    tone = 120 + 70 * numpy.sin(x / 310) * numpy.cos(y / 270) + 25 * numpy.sin(x * y / 90000) + rng.normal(0, 5, x.shape)
    colours = numpy.stack([tone, tone * 0.9 + 12, tone * 0.8 + 20], axis=-1).clip(0, 255).astype("uint8")
    out = io.BytesIO()
    Image.fromarray(colours).save(out, "JPEG", quality=88)
    return out.getvalue()


def wait(heard, event, begun, within=60):
    while time.monotonic() - begun < within:
        for at, what, data in list(heard):
            if what == event and at >= begun:
                return at - begun, data
        time.sleep(0.002)
    raise SystemExit(f"no {event} within {within} s")


def main():
    art = open(sys.argv[1], "rb").read() if len(sys.argv) > 1 else photo()
    missed = 0

    def figure(name, seconds, bound):
        nonlocal missed
        missed += seconds > bound
        print(f"{name:<66} {seconds * 1000:8.0f} ms   bound {bound * 1000:6.0f} ms{'   MISSED' if seconds > bound else ''}", flush=True)

    with tempfile.TemporaryDirectory() as home:
        desk = Desk(home)
        figure("start to the page, its files, kit and shelf", desk.start, 0.3)
        heard = []
        threading.Thread(target=desk.listen, args=(heard,), daemon=True).start()
        time.sleep(0.2)
        firsts, alls = [], []
        for again in range(3):
            begun = time.monotonic()
            # Other bytes each time: nothing is found decoded.
            kept = desk.ask("POST", f"/api/art?name=photo{again}.jpg", raw=art + bytes(again))[2]
            job = desk.ask("POST", "/api/jobs", {"art": kept["art"], "asked": {"blank": {"shape": "round:90mm", "margin": "2.5mm"}}})[2]
            desk.ask("POST", f"/api/jobs/{job['name']}/sheet")
            first, _ = wait(heard, "version", begun)
            whole, _ = wait(heard, "sheet-done", begun)
            firsts.append(first)
            alls.append(whole)
            desk.ask("GET", f"/api/jobs/{job['name']}/ticket")
        count = len(desk.ask("GET", f"/api/jobs/{job['name']}/sheet")[2]["versions"])
        figure("contact sheet: photo dropped to its first picture", statistics.median(firsts), 0.4)
        figure(f"contact sheet: photo dropped to all {count} versions", statistics.median(alls), 1.5)
        path = f"/api/jobs/{job['name']}"
        for what in ["original", "wanted", "forecast", "dots", "density", "overburn"]:
            times = []
            for i in range(24):
                side = [90, 30, 8, 2][i % 4]
                begun = time.monotonic()
                desk.ask("GET", f"{path}/tile?what={what}&x={40 - side / 2 + i % 5}&y={45 - side / 2}&w={side}&h={side}&px=512")
                times.append(time.monotonic() - begun)
            figure(f"loupe: a tile of the {what}, median of 24", statistics.median(times), 0.03)
        # The first move of art that is as large as fits states its size, as the page does, so that it stays as large past the
        # margin; art that keeps its size keeps its dots, and what was searched is found again.
        for place, moved in [("inside", "that fits the blank"), ("56x42mm", "of a stated size")]:
            coarse, exact = [], []
            if place == "inside":
                place = desk.ask("GET", f"{path}/ticket")[2]["art_box"]["place"]
            job["asked"]["blank"]["place"] = place
            for i in range(9):
                job["asked"].setdefault("art", {})["at"] = f"{i}mm,0mm"
                begun = time.monotonic()
                job = desk.ask("PUT", path, {"revision": job["revision"], "asked": job["asked"]})[2]
                desk.ask("GET", f"{path}/coarse?revision={job['revision']}")
                coarse.append(time.monotonic() - begun)
                wait(heard, "exact", begun)
                exact.append(time.monotonic() - begun)
            # The first is no move: it states the size.
            figure(f"a move of art {moved} to its coarse look, median of 8", statistics.median(coarse[1:]), 0.1)
            figure(f"a move of art {moved} to its exact look, median of 8", statistics.median(exact[1:]), 0.5)
        desk.process.terminate()
        desk.process.wait(10)
    raise SystemExit(1 if missed else 0)


if __name__ == "__main__":
    main()
