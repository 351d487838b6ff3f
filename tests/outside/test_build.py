"""The tests and the program are built from the same libraries: what a library is built with for the tests alone would have it,
and all that hangs on it, compiled twice by whoever runs the README's two commands. Asked of cargo itself."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def features(edges):
    """The features of each package, as cargo resolves them along such edges."""
    tree = ["cargo", "tree", "--locked", "--edges", edges, "--format", "{p}|{f}", "--prefix", "none"]
    lines = subprocess.run(tree, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
    return dict(line.removesuffix(" (*)").split("|") for line in lines if line)


def test_no_library_is_built_with_more_for_the_tests_than_for_the_program():
    program, tests = features("normal,build"), features("normal,build,dev")
    assert len(program) > 100 and set(program) < set(tests)
    assert {name: tests[name] for name in program} == program
