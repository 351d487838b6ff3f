"""Fits the weights by which art is read and writes them to src/art/reading/weights.rs.

    fit_readings.py SET

SET is what make_readings.py wrote. Only its part `fit` is used for the weights; the strength of the penalty is chosen
within that part, by leaving whole sources out (five folds). The part `held` is read once, at the end, to be printed.
The features come from the program itself (the example `reading_of` beside the program that DOTWRIGHT names). The
regression is scikit-learn's. Every sort weighs the same, however many pieces it has.
"""

import collections
import json
import os
import subprocess
import sys

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

HERE = os.path.dirname(os.path.abspath(__file__))
TARGET = os.path.join(HERE, "..", "..", "src", "art", "reading", "weights.rs")
KINDS = ["photo", "drawing", "paper"]


def measured(folder, rows):
    program = os.path.join(os.path.dirname(os.environ["DOTWRIGHT"]), "examples", "reading_of")
    files = [os.path.join(folder, r["file"]) for r in rows]
    said = subprocess.run([program, "--features"] + files, check=True, capture_output=True, text=True).stdout
    return [json.loads(line) for line in said.splitlines()]


def likely(x, model):
    return model.predict_proba(np.clip(x, -4, 4))


def main():
    folder = sys.argv[1]
    rows = json.load(open(os.path.join(folder, "labels.json")))
    said = measured(folder, rows)
    sorts = collections.Counter(r["sort"] for r in rows if r["part"] == "fit")
    # One bit is a drawing without any model.
    use = [i for i, r in enumerate(rows) if r["sort"] != "scan-1bit"]
    x = np.array([said[i]["features"] for i in use])
    y = np.array([KINDS.index(rows[i]["label"]) for i in use])
    fit = np.array([rows[i]["part"] == "fit" for i in use])
    group = np.array([rows[i]["source"] for i in use])
    weight = np.array([1 / sorts[rows[i]["sort"]] for i in use])
    weight = weight / weight[fit].mean()
    centre, scale = x[fit].mean(0), x[fit].std(0) + 1e-9
    z = np.clip((x - centre) / scale, -4, 4)

    def model(c):
        return LogisticRegression(C=c, max_iter=20000, tol=1e-8)

    best = None
    for c in (.003, .01, .03, .1, .3, 1, 3, 10):
        loss, wrong = [], 0
        for a, b in GroupKFold(5).split(z[fit], y[fit], group[fit]):
            m = model(c).fit(z[fit][a], y[fit][a], weight[fit][a])
            p = m.predict_proba(z[fit][b])
            loss += list(-np.log(p[np.arange(len(b)), y[fit][b]]))
            wrong += (p.argmax(1) != y[fit][b]).sum()
        print(f"penalty 1/{c}: loss {np.mean(loss):.4f}, wrong {wrong} of {fit.sum()}")
        if best is None or np.mean(loss) < best[0]:
            best = (np.mean(loss), c)
    m = model(best[1]).fit(z[fit], y[fit], weight[fit])
    p = m.predict_proba(z)
    for name, part in (("fit", fit), ("held", ~fit)):
        right = (p.argmax(1) == y) & part
        sure = p.max(1)[part]
        print(name, right.sum(), "of", part.sum(), "right;", (sure < .8).sum(), "unsure")
    for i, k in enumerate(use):
        if p[i].argmax() != y[i] or p[i].max() < .8:
            print("  ", rows[k]["part"], rows[k]["file"], rows[k]["label"], dict(zip(KINDS, p[i].round(2))))
    order = np.abs(m.coef_).max(0).argsort()[::-1]
    print("strongest:", [(int(i), m.coef_[:, i].round(2).tolist()) for i in order[:30]])

    def numbers(values):
        return "[\n" + "".join(f"    {v:.6},\n" if "e" in f"{v:.6}" or "." in f"{v:.6}" else f"    {v:.1},\n" for v in values) + "]"

    with open(TARGET, "w") as f:
        f.write("//! Weights of the model, found by `tests/outside/fit_readings.py`; written by it, not by hand.\n\n")
        f.write("use super::features::COUNT;\n\n")
        f.write("/// Mean of each feature over the pieces that were fitted.\n")
        f.write(f"pub(super) const CENTRE: [f64; COUNT] = {numbers(centre)};\n")
        f.write("/// Standard deviation of each feature over them.\n")
        f.write(f"pub(super) const SCALE: [f64; COUNT] = {numbers(scale)};\n")
        f.write("/// For each reading (photo, drawing, paper) a weight a feature, then the constant.\n")
        f.write("pub(super) const WEIGHTS: [[f64; COUNT + 1]; 3] = [")
        f.write(", ".join(numbers(list(m.coef_[k]) + [m.intercept_[k]]) for k in range(3)) + "];\n")


if __name__ == "__main__":
    main()
