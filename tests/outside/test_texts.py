"""The texts: every one that code names is in the one file, with the values that it asks for, and every one is named."""

import json
import re
from pathlib import Path

SRC = Path(__file__).resolve().parents[2] / "src"
PAGE = SRC / "desk/page"
TEXTS = json.loads((SRC / "texts.en.json").read_text())


def read(path):
    """The code of a file of Rust without comments and tests, and the strings in it."""
    whole = re.split(r"#\[cfg\(test\)\]\s*(?:pub(?:\(\w+\))? )?mod \w+ \{", path.read_text())[0]
    tokens = re.finditer(r"//[^\n]*|\"((?:[^\"\\]|\\.)*)\"|'(?:[^'\\]|\\.)'", whole, re.S)
    tokens = [(m.start(), m.group(), m.group(1)) for m in tokens]
    code = whole
    for at, token, _ in reversed([t for t in tokens if t[1].startswith("//")]):
        code = code[:at] + code[at + len(token):]
    return code, [text for *_, text in tokens if text]


def values(code, at):
    """The names of the values that `text!(` gives, whose arguments begin at `at`, behind the key."""
    names, depth, begins = [], 0, True
    tokens = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'(?:[^'\\]|\\.)'|[\w]+|\s+|.", re.S)
    for token in (m.group() for m in tokens.finditer(code, at)):
        if depth == 0 and token == ")":
            return names
        depth += (token in "([{") - (token in ")]}")
        if depth == 0 and token == ",":
            begins = True
        elif begins and not token.isspace():
            names.append(token)
            begins = False
    raise AssertionError(code[at:at + 80])


def named(text):
    return set(re.findall(r"\{(\w+)\}", text))


def test_every_text_that_the_library_names_is_in_the_file_with_its_values_and_every_one_is_named():
    texts = {f"{room}.{key}": text for room, of in TEXTS.items() for key, text in of.items()}
    assert all(texts.values())
    wrong, used, built = [], set(), []
    for path in sorted(SRC.rglob("*.rs")):
        code, _ = read(path)
        for m in re.finditer(r"\btext!\(\s*\"([\w.-]+)\"\s*,?", code):
            key, given = m.group(1), set(values(code, m.end()))
            used.add(key)
            if key not in texts or named(texts[key]) != given:
                wrong.append((path.name, key, sorted(given), texts.get(key)))
        # Keys that are partly built: "findings.in-words.{name}".
        for key in re.findall(r"\btexts::\w+\(\s*&?(?:format!\()?\s*\"([\w.{}-]+)\"", code):
            used.add(key)
            built.append(re.compile(re.sub(r"\\\{\w*\\\}", r"[\\w-]+", re.escape(key))))
    # What templates of pages name: say("tray", number=t.number).
    in_pages = set()
    for path in sorted(SRC.rglob("*.html")):
        html = path.read_text() if PAGE not in path.parents else ""
        for m in re.finditer(r'\bsay\("([\w-]+)"(?: if [^,]*? else "([\w-]+)")?\s*,?', html):
            given = set(values(html, m.end()))
            for key in (f"proof.page.{key}" for key in m.groups() if key):
                in_pages.add(key)
                if key not in texts or named(texts[key]) != given:
                    wrong.append((path.name, key, sorted(given), texts.get(key)))
    assert wrong == []
    assert in_pages == {key for key in texts if key.startswith("proof.page.")}
    library = [key for key in texts if not key.startswith("page.") and key not in in_pages]
    assert [k for k in library if k not in used and not any(b.fullmatch(k) for b in built)] == []


def server_sources():
    """The server's code and the strings in it, by its files."""
    return {path.name: read(path) for path in sorted(PAGE.parent.glob("*.rs"))}


def test_every_text_of_the_page_is_in_the_one_file_and_used():
    texts = TEXTS["page"]
    source = "\n".join(p.read_text() for p in PAGE.glob("*.js"))
    said = set(re.findall(r"\b(?:say|knows)\(\s*\"([\w.-]+)\"", source))
    said |= {k for pair in re.findall(r"\bsay\([^()`]*\? \"([\w.-]+)\" : \"([\w.-]+)\"", source) for k in pair}
    counted = {f"{k}.{n}" for k in re.findall(r"\bcount\(\"([\w.]+)\"", source) for n in ("one", "many")}
    missing = {k for k in said | counted if k not in texts}
    assert missing == set()
    stems = [s for s in re.findall(r"say\(`([\w.-]*)\$\{", source)] + re.findall(r"say\(`\$\{\w+\}(\.\w+)`", source)
    quoted = set(re.findall(r"\"([\w.-]+)\"", source))
    # What the server says, whose keys are partly built: "value.{key}".
    server = "\n".join(code for code, _ in server_sources().values())
    asked = set(re.findall(r"\b(?:say|filled|way|reasoned|foreign|named)\(\s*(?:&format!\()?\"([\w.{}-]+)\"", server)) - {"{key}.why"}
    asked |= {f"{k}.why" for k in re.findall(r"\bway\(\s*(?:&format!\()?\"([\w.{}-]+)\"", server)}
    asked |= {f"value.{k}" for k in re.findall(r"\bone\(\"(\w+)\"", server)}
    built = [re.compile(re.sub(r"\\\{\w+\\\}", r"[\\w-]+", re.escape(k))) for k in asked if "{" in k]
    assert [k for k in asked if k not in texts and "{" not in k] == []
    assert [b.pattern for b in built if not any(b.fullmatch(k) for k in texts)] == []

    def used(key):
        if key in said | counted | quoted | asked or any(b.fullmatch(key) for b in built):
            return True
        return any(key.startswith(s) if s and not s.startswith(".") else key.endswith(s) for s in stems if s)

    assert [k for k in texts if not used(k)] == []
    assert all(texts.values())


def test_the_server_has_no_words_of_its_own():
    # Beside what the command says on the terminal, what is written into files, and the name of a font.
    terminal = re.compile(r"Failure::input\((?:format!\()?\s*$")
    found = []
    for name, (code, strings) in server_sources().items():
        for text in strings:
            if not re.search(r"[A-Za-z]{2,},? [A-Za-z]{2,}", text) or text == "DejaVu Sans" or text.startswith("# "):
                continue
            if name == "server.rs" or terminal.search(code[:code.index(f'"{text}"')]):
                continue
            found.append((name, text))
    assert found == []


# Words that are for programs, for whoever works on them, or for the terminal alone, by their files.
NO_TEXTS = {
    "art/error.rs": "what decoders complain of, to be known again",
    "encode/png.rs": "an error that only a programmer can make",
    "findings/layers.rs": "options",
    "findings/machine.rs": "said by advise on the terminal",
    "job/asked.rs": "comments of job.toml",
    "job/machine_keys.rs": "comments of a machine file",
    "job/mistyped.rs": "what the TOML parser says, to be known again",
    "outputs.rs": "an error that is said in other words",
    "screen/model_diffusion/error_filter/table.rs": "a comment of a table",
    "proof/made.rs": "a made up report for tests",
    "parallel.rs": "errors that the system makes",
    "pipeline/tray.rs": "comments of a program",
    "plane.rs": "panics that only a programmer can cause",
    "proof/report/schema.rs": "what the keys of report.json are, for programs",
    "scan/comments.rs": "comments of a program",
    "scan/comments/said.rs": "comments of a program",
    "scan/outline.rs": "comments of a program",
    "scan/readback.rs": "an error that is said in other words",
    "texts.rs": "errors of a file of texts, on the terminal",
    "visual_quality.rs": "panics that only a programmer can cause",
    "wedge/draw/program.rs": "comments of a program",
    "wedge/grid.rs": "said by wedge read --grid on the terminal",
    "wedge/show/compare.rs": "said by wedge compare on the terminal",
}
# Names of changes and units of harm, by which a program knows them; options behind a sentence; a burnt heading; a command.
NAMES = re.compile(
    r"speed and power|power and speed|size and place|place on the bed|% of the (dose|link|power|controller's moves)|the picture in it"
    r"| \(.*--.*\)|TIMING COMBS mm/s|link-starved or slow-switch|dotwright .*"
)


def test_the_library_has_no_words_of_its_own():
    found, met = [], set()
    for path in sorted(SRC.rglob("*.rs")):
        name = str(path.relative_to(SRC))
        if path.name in ("tests.rs", "rooms.rs", "same_bits.rs", "kernels.rs") or name.startswith(("desk/", "cli/")):
            continue
        words = [text for text in read(path)[1] if re.search(r"(?:\b[A-Za-z]{2,},? ){2}[a-z]{2,}\b", re.sub(r"\{[^}]*\}", "", text)) and "<svg" not in text and not NAMES.fullmatch(text)]
        if name in NO_TEXTS:
            met.add(name) if words else None
        else:
            found += [(name, text) for text in words]
    assert found == []
    assert met == set(NO_TEXTS)
