"""How far leaf colours in photos can be trusted: the figures of docs/leaf-colour.md.

Run ``python -m bench leaf_colour_case``; about two minutes. Ivy leaves (tests/data/leaves) are laid on made-up ground
under lights drawn at random; the truth is the same leaf on white paper in white light.
"""

from __future__ import annotations

import csv
import time
from collections.abc import Sequence

import numpy as np
from PIL import Image
from scipy.stats import pearsonr, spearmanr

from bench.machine import machine
from fruitwall.plants.colour import lab, linear
from fruitwall.plants.leaf_colour import TONES, LeafColour, leaf_colour, leaf_mask
from tests.plants.leaf_scenes import LEAVES, photo

NUMBERS = (1, 2, 4, 6, 7, 8, 10, 11, 13, 15)
GROUNDS = ("paper", "soil", "wood", "stone", "busy")
STOPS = -0.3


def main() -> None:
    """Print every table."""
    print(machine())
    _scans()
    _found()
    truth = {number: leaf_colour(photo(number, "paper")[0]) for number in NUMBERS}
    rng = np.random.default_rng(12)
    _cards(rng)
    _without(truth, rng)
    _exposure()
    rgb, _ = photo(8, "busy", card=0.45)
    large = np.asarray(Image.fromarray(rgb).resize((480, 360)))
    began = time.process_time()
    for _ in range(5):
        leaf_colour(large)
    print(f"one photo of 480 x 360: {(time.process_time() - began) / 5 * 1000:.0f} ms of processor time")


def _scans() -> None:
    with (LEAVES / "leaves.csv").open() as file:
        rows = list(csv.DictReader(file))
    found = []
    for row in rows:
        with Image.open(LEAVES / row["file"]) as image:
            found.append(leaf_colour(np.asarray(image.convert("RGB"))))
        tones = " ".join(f"{tone} {getattr(found[-1], tone):.3f}" for tone in TONES)
        print(f"{row['file']} SPAD {row['spad']} chlorotic {row['chlorotic_fraction']}: {found[-1].index:.3f} {tones}")
    spad = [float(row["spad"]) for row in rows]
    index = [one.index for one in found]
    print(f"index with SPAD: rank {spearmanr(spad, index).statistic:.3f}, line {pearsonr(spad, index).statistic:.3f}")
    known = [(float(row["chlorotic_fraction"]), one) for row, one in zip(rows, found, strict=True)]
    known = [one for one in known if one[0] <= 1]
    for words, shares in (
        ("yellow and brown", [one.yellow + one.brown for _, one in known]),
        ("all but green", [1 - one.green for _, one in known]),
    ):
        print(f"{words} with the chlorotic share: rank {spearmanr([one[0] for one in known], shares).statistic:.3f}")


def _found() -> None:
    for ground in GROUNDS:
        overlaps = []
        for number in NUMBERS:
            rgb, where = photo(number, ground, seed=number)
            mask = leaf_mask(linear(rgb), lab(linear(rgb)))
            overlaps.append(float((mask & where).sum() / (mask | where).sum()))
        print(f"leaf found on {ground}: overlap {np.median(overlaps):.3f}, worst {min(overlaps):.3f}")


def _cards(rng: np.random.Generator) -> None:
    errors, taken, casts = [], 0, []
    for at in range(60):
        number, ground = NUMBERS[at % 10], GROUNDS[1 + at % 4]
        blue = float(rng.uniform(-0.6, 0.35))
        red = float(-0.5 * blue + rng.normal(0, 0.05))
        light = (float(np.exp(red)), 1.0, float(np.exp(blue)))
        grey = float(rng.choice([0.18, 0.45, 0.75]))
        rgb, _ = photo(number, ground, seed=at, card=grey, light=light, stops=STOPS - max(red, blue, 0.0) / np.log(2))
        found = leaf_colour(rgb)
        if found.patch is not None:
            taken += 1
            casts.append(found.cast)
            bright = leaf_colour(photo(number, "paper", stops=STOPS - max(red, blue, 0.0) / np.log(2))[0])
            errors.append(found.index - bright.index)
    print(f"card beside the leaf: found {taken} of 60, {_spread(errors)}, cast before {np.median(casts):.0f}")


def _without(truth: dict[int, LeafColour], rng: np.random.Generator) -> None:
    for words, size in (("a good camera", 0.04), ("a fair camera", 0.08), ("a poor camera or a lamp", 0.2)):
        for ground in ("paper", "stone", "soil"):
            errors, refused = [], 0
            for at in range(30):
                number = NUMBERS[at % 10]
                blue, off = rng.normal(0, size), rng.normal(0, size / 3)
                light = (float(np.exp(-0.5 * blue + off)), 1.0, float(np.exp(blue)))
                found = leaf_colour(photo(number, ground, seed=at, light=light)[0])
                if found.comparable:
                    errors.append(found.index - truth[number].index)
                refused += "cast" in found.problems
            print(f"no card, {words} ({size}), {ground}: told a cast {refused} of 30; else {_spread(errors)}")


def _exposure() -> None:
    for stops in (-0.9, -0.6, 0.0, 0.3):
        errors = [
            leaf_colour(photo(number, "stone", stops=stops)[0]).index - leaf_colour(photo(number, "stone")[0]).index
            for number in NUMBERS
        ]
        print(f"exposure {stops - STOPS:+.1f} stops: {_spread(errors)}")


def _spread(errors: Sequence[float]) -> str:
    if not errors:
        return "none"
    size = np.abs(errors)
    return (
        f"error of the index {np.mean(errors):+.3f} ± {np.std(errors):.3f}, nine of ten within "
        f"{np.quantile(size, 0.9):.3f}, worst {size.max():.3f} (of {len(errors)})"
    )
