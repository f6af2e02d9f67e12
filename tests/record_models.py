"""Models that belong to a visit of a test: one small limb, told to be made of any photographs and girths."""

import hashlib
import io
import json
from functools import cache
from pathlib import Path

import numpy as np
from output_support import measure

from digitise.output.model.agreement import seal_of
from digitise.output.model.files import model_text
from digitise.record.values import ModelFiles
from digitise.tape.rows import TapeRow


@cache
def _small():
    """Content of model.json, and the arrays of limb.npz, of a limb 60 mm long."""
    text = model_text(measure(from_mm=200.0, to_mm=260.0))
    with np.load(io.BytesIO(text.limb)) as stored:
        return text.json, {name: stored[name] for name in stored.files}


def model_of_visit(limb="leg", side="left", made_from=(), tape=(), filling=b"limb", **changes) -> ModelFiles:
    """Return a sealed model.

    ``made_from`` are photographs, ``tape`` rows; ``filling`` makes its limb.npz another one and can be found
    in it; ``changes`` are other values in model.json.
    """
    text, arrays = _small()
    stream = io.BytesIO()
    np.savez(stream, **arrays, filling=np.frombuffer(filling, np.uint8))
    own = {
        "limb": limb,
        "side": side,
        "limb_sha256": hashlib.sha256(stream.getvalue()).hexdigest(),
        "note": "ä",
    }
    return as_made_from(ModelFiles(text, stream.getvalue()), made_from, tape, **own, **changes)


def as_made_from(model, made_from=(), tape=(), **changes) -> ModelFiles:
    """Return a model with other photographs, girths and values in model.json, sealed anew."""
    content = json.loads(model.json)
    photo, check = content["photos"][0], content["tape_check"][0]
    digests = [hashlib.sha256(Path(path).read_bytes()).hexdigest() for path in made_from]
    content["photos"] = [
        {**photo, "file": f"photo-{n}.jpg", "sha256": digest} for n, digest in enumerate(digests, start=1)
    ] or content["photos"]
    content["tape_check"] = [{**check, "height_mm": row.height_mm, "tape_mm": row.girth_mm} for row in tape]
    content |= {"field_sha256": None, **changes}
    return ModelFiles(json.dumps({**content, "seal": seal_of(content)}, ensure_ascii=False), model.limb)


def tape_of(model) -> tuple[TapeRow, ...]:
    """Return the girths that a model was made from."""
    return tuple(TapeRow(row["height_mm"], row["tape_mm"]) for row in json.loads(model.json)["tape_check"])
