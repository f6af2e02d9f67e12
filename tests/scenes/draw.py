"""Settings of standing visits drawn at random: ``python tests/scenes/draw.py --count 16 --seed 7 FOLDER``.

Bodies, skins, light, backdrops, stances, other legs, things that are worn and further photographs differ from
visit to visit as they do in a clinic; how often each comes is our estimate.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

SKINS = ("porcelain", "light", "light-medium", "medium", "brown", "dark", "very-dark")
BACKDROPS = ("green-grey", "white", "blue", "dark")
BODY = {"gender": (0.0, 1.0), "weight": (0.25, 1.0), "muscle": (0.2, 0.8), "age": (0.4, 1.0)}
MOST_SWELLING_MM = {"overall": 8.0, "calf": 10.0, "gaiter": 12.0, "above_knee": 14.0, "dorsum": 10.0}
WORN: tuple[dict[str, Any], ...] = (
    {"shorts": {"hem": 110, "off": 6, "rgb": [200, 190, 176]}},
    {"dressing": {"size": [90, 120], "at": 260, "azimuth": 60, "thick": 4}},
    {"stick": {"at": [-150, -190]}},
)


def main() -> None:
    """Write the settings that are asked for."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=16)
    asked.add_argument("--seed", type=int, required=True)
    asked.add_argument("folder", type=Path)
    given = asked.parse_args()
    rng = np.random.default_rng(given.seed)
    given.folder.mkdir(parents=True, exist_ok=True)
    for number in range(given.count):
        settings = standing_visit(rng, SKINS[3 * number % len(SKINS)])
        path = given.folder / f"seed-{given.seed}-{number:02}.json"
        path.write_text(json.dumps(settings, indent=1) + "\n", encoding="utf-8")


def standing_visit(rng: np.random.Generator, skin: str) -> dict[str, Any]:
    """Return the settings of one visit, as the renderer reads them; lengths in mm, angles in degrees."""

    def between(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 2)

    def happens(share: float) -> bool:
        return bool(rng.random() < share)

    settings: dict[str, Any] = {
        "seed": int(rng.integers(1, 10**6)),
        "setup": "walk" if happens(0.65) else "turn",
        "side": "left" if happens(0.5) else "right",
        "body": {name: between(*ends) for name, ends in BODY.items()},
        "skin": skin,
        "light": "side" if happens(0.4) else "soft",
        "backdrop": backdrop(rng),
        "camera": {"k1": between(-0.1, 0.12), "k2": between(-0.15, 0.05), "noise": between(1.0, 2.5)},
        "tape": {"sd": 2.5, "height_sd": 2.0},
        "stand": [between(-20.0, 20.0), between(-20.0, 20.0)],
        "yaw": between(-12.0, 12.0),
        "swelling": {name: between(1.0, most) for name, most in MOST_SWELLING_MM.items() if happens(0.5)},
    }
    if happens(0.3):
        settings["flex"] = between(2.0, 12.0)
    if happens(0.45):
        aside = {"aside": between(180.0, 420.0), "back": between(-40.0, 230.0)}
        settings["other_leg"] = True if happens(0.5) else aside
    if happens(0.2):
        settings["wear"] = WORN[int(rng.integers(len(WORN)))]
    if happens(0.3):
        settings["views"] = [{"from": "above"}]
    return settings


def backdrop(rng: np.random.Generator) -> str | list[int]:
    """Return the colour of the panels: one of the sheets', or any."""
    if rng.random() < 0.8:
        return str(rng.choice(BACKDROPS))
    return [int(level) for level in rng.integers(40, 230, 3)]


if __name__ == "__main__":
    main()
