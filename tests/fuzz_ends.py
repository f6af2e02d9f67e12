"""Foot, hand and lying limb among the files that are mutated: places on the tape, models, drawn lines."""

import json
from pathlib import Path

import numpy as np
from end_models import with_foot, with_hand
from fuzz_kinds import WORDS, Kind, Wrong, changed_model, misread, same_figures
from fuzz_mutations import bytes_changed, json_changed, number_changed, pick, reorder, text_changed
from lying_accuracy import measured_sample
from lying_drawn import round_it

from digitise.capture.lying.axis import find_axis
from digitise.capture.lying.silhouette import drawn_silhouette
from digitise.capture.outline.correction import correction_from_json, correction_to_json
from digitise.capture.outline.find import find_outline
from digitise.capture.sheets.field import read_field
from digitise.capture.surroundings.scene import placed_boards
from digitise.output.model.agreement import seal_of
from digitise.output.model.file import model_from_bytes
from digitise.output.model.files import model_text
from digitise.output.model.words import summary_text
from digitise.samples import sample_visits
from digitise.tape.ends import taped_end
from digitise.tape.places import check_places, known_places, place_limits
from digitise.tape.table import read_tape_table

SOUGHT = 0.2
"""Share of the drawn lines with which the outline is found, which takes a quarter of a second."""
SEALED_ANEW = 0.3
ALONG = "height_mm,girth_mm,point,place\n100,225,B,\n190,262,,\n280,331,C,\n"
TABLES = {
    "leg": f"{ALONG}60.5,241,,ball-of-foot\n,245,,mid-foot\n,331.5,,heel-instep\n,258,,foot-length\n",
    "arm": f"{ALONG},205,,palm\n,231,,Hand with thumb\n,168,,wrist\n,182,,hand-length\n",
}
FOOT_ROW = b"60.5,241,,ball-of-foot"
PLACE_WORDS = (*WORDS, *known_places(), "Ball of foot", "palm", "WRIST", "figure_of_eight")


def places_kind():
    """Tables with girths of foot or hand: nothing of them gets among the limb's girths."""

    def case(rng, scratch):
        limb = pick(rng, ("leg", "arm"))
        text, choice = TABLES[limb], rng.random()
        if choice < 0.2:
            text = misread(rng, text)
        elif choice < 0.4:
            for _ in range(int(rng.integers(1, 4))):
                text = number_changed(rng, text)
        elif choice < 0.7:
            text = text_changed(rng, text, PLACE_WORDS)
        elif choice < 0.8:
            head, *lines = text.splitlines(keepends=True)
            text = head + "".join(reorder(rng, [*lines, pick(rng, lines)])[int(rng.integers(2)) :])
        path = scratch / "tape.csv"
        path.write_bytes(text.encode() if choice < 0.8 else bytes_changed(rng, text.encode()))
        table = read_tape_table(path)
        _possible(table.places)
        if FOOT_ROW in path.read_bytes().split(b"\n") and 60.5 in [row.height_mm for row in table.rows]:
            raise Wrong("a girth of the foot stands among the leg's")
        check_places(table.places, limb)
        found = taped_end(table.places, table.rows, limb)
        if found is not None and found.volume_ml is not None:
            _possible_end(found.volume_ml, found.sd_ml, limb)
        return "read"

    return case


def _possible(places):
    names = [row.place for row in places]
    if len(set(names)) < len(names):
        raise Wrong("a place stands twice")
    for row in places:
        low, high = place_limits(row.place)
        if not low <= row.girth_mm <= high or not (row.height_mm is None or row.height_mm > 0):
            raise Wrong(f"{row} cannot be")


def _possible_end(volume, sd, limb):
    """Feet of 150 to 350 mm and hands of 110 to 270 mm hold 0.2 to 4.5 and 0.1 to 2 L at the very most."""
    low, high = (200.0, 4_500.0) if limb == "leg" else (100.0, 2_000.0)
    if not low < volume < high or not 0.0 < sd < volume / 5.0:
        raise Wrong(f"{volume:.0f} mL is no end of a {limb}")


# ---- models ----------------------------------------------------------------------------------------------


def ends_kind():
    """Models of a leg with its foot and of an arm with its hand, changed as other models are."""
    made = [model_text(each()) for each in (with_foot, with_hand)]
    whole = [model_from_bytes(one.json, one.limb, Path("model")) for one in made]

    def case(rng, scratch):
        number = int(rng.integers(2))
        if rng.random() < SEALED_ANEW:
            return _in_words(rng, made[number])
        changed, data = changed_model(rng, made[number].json, made[number].limb)
        found = model_from_bytes(changed, data, Path("model"))
        same_figures(whole[number].summary, found.summary)
        same_end(whole[number].summary, found.summary)
        return "read"

    return case


def _in_words(rng, made):
    """Figures sealed anew, as another program might: they are read and told, whatever they say."""
    content = json.loads(json_changed(rng, made.json))
    if isinstance(content, dict):
        content["seal"] = seal_of(content)
    found = model_from_bytes(json.dumps(content), made.limb, Path("model"))
    if not summary_text(found.summary, Path("model")):
        raise Wrong("no words")
    return "read"


def same_end(whole, found):
    """All that is said of foot or hand must be what was written."""
    for name in ("segments", "volume_ml_whole", "volume_ml_whole_95", "place_girths", "taped_end"):
        if getattr(found, name) != getattr(whole, name):
            raise Wrong(f"other {name}: {getattr(found, name)}"[:300])


# ---- lines drawn round a limb that lies ------------------------------------------------------------------


def drawn_kind():
    """Lines round the sample arm: the axis that they tell, and the outline that is found with them."""
    visit = sample_visits("arm")[0]
    arm, field = measured_sample(visit), read_field(visit.field)
    cameras = arm.calibration.cameras
    lines = [round_it(arm, n) for n in range(len(cameras))]
    seen = [
        drawn_silhouette(each.polygon, camera, "a.jpg") for each, camera in zip(lines, cameras, strict=True)
    ]
    along = find_axis(seen, "arm").rotation[2]
    edge = {"side": "left", "points": lines[0].polygon[:20].tolist()}
    stroke = {"kind": "background", "width_px": 30, "points": lines[0].polygon[:3].tolist()}

    def case(rng, scratch):
        number = int(rng.integers(len(cameras)))
        content = json.loads(correction_to_json(lines[number]))
        content |= {"edges": [edge], "strokes": [stroke]} if rng.random() < 0.5 else {}
        found = correction_from_json(
            json_changed(rng, json.dumps(content)).encode("utf-8", "surrogatepass"), "c"
        )
        if found.polygon is not None:
            told = drawn_silhouette(found.polygon, cameras[number], "a.jpg")
            axis = find_axis([told if n == number else each for n, each in enumerate(seen)], "arm")
            if not np.isfinite(axis.rotation).all() or not np.isfinite(axis.translation).all():
                raise Wrong("no axis")
            # a corner of the line elsewhere is seen at once, and the edges are found about the axis anew
            if np.degrees(np.arccos(np.clip(axis.rotation[2] @ along, -1, 1))) > _TURNED_DEG:
                raise Wrong(f"the axis is turned by {axis.rotation[2]} from {along}")
        if rng.random() < SOUGHT:
            boards = placed_boards(arm.calibration, field, number)
            outline = find_outline(arm.photos[number], cameras[number], boards, arm.axis_from_world, found)
            if not all(
                np.isfinite(side.points).all() and np.isfinite(side.sd_px).all() for side in outline.edges
            ):
                raise Wrong("an edge that is nowhere")
        return "read"

    return case


_TURNED_DEG = 15.0
"""Beyond it the outline would be sought beside the limb: a strip is 340 mm to either side of 600 mm."""

KINDS = {"places": Kind(3.0, places_kind), "ends": Kind(2.0, ends_kind), "drawn": Kind(1.0, drawn_kind)}
