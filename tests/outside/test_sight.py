"""The stored quality measures are still those of numpy, scipy and scikit-image."""
import importlib.util
import json
import pathlib

HERE = pathlib.Path(__file__).parent


def test_stored_measures_are_those_of_the_libraries_at_hand(tmp_path, monkeypatch):
    spec = importlib.util.spec_from_file_location("make_sight_data", HERE / "make_sight_data.py")
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    stored = json.loads((HERE / ".." / "data" / "fitted" / "sight.json").read_text())
    monkeypatch.setattr(make, "__file__", str(tmp_path / "outside" / "make_sight_data.py"))
    make.main()
    fresh = json.loads((tmp_path / "data" / "fitted" / "sight.json").read_text())
    assert len(stored["planes"]) == len(fresh["planes"]) == 2
    for old, new in zip(stored["planes"], fresh["planes"]):
        for key, value in old.items():
            assert abs(new[key] - value) < 1e-9 * max(1, abs(value)), key
    for key in ("kim_allebach_300dpi_row", "nasanen_300dpi_row"):
        assert all(abs(a - b) < 1e-12 for a, b in zip(stored[key], fresh[key]))
