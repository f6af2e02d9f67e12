"""Changes of files: of values in JSON and tables, of text, of bytes."""

import json
import math

import numpy as np

NUMBERS = (
    0, -1, 1, 2, 1e-9, 1e9, 1e308, -1e308, 10**30, 10**400, math.nan, math.inf, -math.inf, 0.1 + 0.2, 2**31,
    2**63,
)  # fmt: skip
STRINGS = (
    "", " ", "\0", "\n", "é", "\ud800", "\u2028", "\u202e", "x" * 5000, "mat", "../../etc", "nan", "1",
    "1e400",
    "{}", "[]", "leg", "limb-model/2", "0" * 64, "DICT_4X4_50", "=1+1", "<b>", "![x](http://x)",
)  # fmt: skip


def pick(rng, items):
    return items[int(rng.integers(len(items)))]


def nudged(rng, number):
    """A number as a hand or a unit would get it wrong, or a wild one."""
    if isinstance(number, bool) or rng.random() < 0.2:
        return pick(rng, NUMBERS)
    try:
        return pick(
            rng,
            (
                lambda: number * 10,
                lambda: number / 10,
                lambda: number * 25.4,
                lambda: -number,
                lambda: number * (1 + rng.normal() * 0.02),
                lambda: number + rng.normal() * 5,
                lambda: number + 1,
                lambda: swapped_digits(rng, number),
                lambda: str(number),
                lambda: [number],
                lambda: None,
            ),
        )()
    except (OverflowError, ValueError):
        return 0


def swapped_digits(rng, number):
    text = list(repr(number))
    digits = [at for at, sign in enumerate(text) if sign.isdigit()]
    if len(digits) > 1:
        at = int(rng.integers(len(digits) - 1))
        one, other = digits[at], digits[at + 1]
        text[one], text[other] = text[other], text[one]
    return float("".join(text))


def places(content, path=()):
    """Every place in a JSON value, the whole first."""
    yield path
    if isinstance(content, dict):
        for key in content:
            yield from places(content[key], (*path, key))
    elif isinstance(content, list):
        for number, item in enumerate(content):
            yield from places(item, (*path, number))


def at(content, path):
    for key in path:
        content = content[key]
    return content


def json_changed(rng, text, most=3):
    """A JSON text with a few values, names or places changed."""
    content = json.loads(text)
    for _ in range(int(rng.integers(1, most + 1))):
        content = _changed_once(rng, content)
    out = json.dumps(content)
    if rng.random() < 0.05:
        key = f'"{pick(rng, ("limb", "format", "units", "size", "mean"))}":'
        out = out.replace(key, f"{key} 1, {key}", 1)  # a name given twice
    return out


def _changed_once(rng, content):
    path = pick(rng, [path for path in places(content) if path] or [()])
    if not path:
        return content
    inner, key = at(content, path[:-1]), path[-1]
    value = inner[key]
    choice = rng.random()
    if choice < 0.5 and isinstance(value, int | float):
        inner[key] = nudged(rng, value)
    elif choice < 0.6:
        del inner[key]
    elif choice < 0.7 and isinstance(inner, list):
        inner.insert(key, json.loads(json.dumps(value)))
    elif choice < 0.75 and isinstance(inner, list) and len(inner) > 1:
        other = int(rng.integers(len(inner)))
        inner[key], inner[other] = inner[other], inner[key]
    elif choice < 0.8 and isinstance(inner, dict):
        inner[pick(rng, STRINGS)] = inner.pop(key)
    elif choice < 0.85:
        other = pick(rng, list(places(content)))
        inner[key] = json.loads(json.dumps(at(content, other)))
    elif choice < 0.87:
        deep = value
        for _ in range(int(rng.integers(2, 250))):
            deep = [deep] if rng.random() < 0.5 else {"a": deep}
        inner[key] = deep
    elif isinstance(value, str):
        inner[key] = pick(rng, STRINGS)
    else:
        inner[key] = pick(rng, (None, True, [], {}, "x", *NUMBERS))
    return content


def bytes_changed(rng, data):  # noqa: PLR0911  # one for each kind of change
    """Bytes cut, flipped, moved, replaced or put in between."""
    data = bytes(data)
    if not data:
        return rng.bytes(int(rng.integers(0, 50)))
    kind = int(rng.integers(8))
    one, other = sorted(int(n) for n in rng.integers(0, len(data) + 1, 2))
    if kind == 0:
        return data[:one]
    if kind == 1:
        changed = bytearray(data)
        for position in rng.integers(0, len(data), int(rng.integers(1, 12))):
            changed[position] ^= 1 << int(rng.integers(8))
        return bytes(changed)
    if kind == 2:
        return data[:one] + data[other:]
    if kind == 3:
        return data[:other] + data[one:]
    if kind == 4:
        return data[:one] + rng.bytes(int(rng.integers(1, 200))) + data[one:]
    if kind == 5:
        return rng.bytes(int(rng.integers(0, 3000)))
    if kind == 6:
        return b"\xef\xbb\xbf" + data if rng.random() < 0.5 else data.decode("latin-1").encode("utf-16")
    return data[:one] + bytes(min(other - one, 500)) + data[other:]


def text_changed(rng, text, words):
    """A text with a few words put at random places."""
    for _ in range(int(rng.integers(1, 5))):
        place, kept = int(rng.integers(len(text) + 1)), int(rng.integers(0, 4))
        text = text[:place] + pick(rng, words) + text[place + kept :]
    return text


def number_changed(rng, text):
    """A text in which one number is another one."""
    spans, start = [], None
    for position, sign in enumerate(f"{text} "):
        if sign.isdigit() or sign == ".":
            start = position if start is None else start
        elif start is not None:
            spans.append((start, position))
            start = None
    if not spans:
        return text
    low, high = pick(rng, spans)
    try:
        value = float(text[low:high])
    except ValueError:
        return text
    new = nudged(rng, value)
    return text[:low] + (f"{new:g}" if isinstance(new, float) else str(new)) + text[high:]


def reorder(rng, lines):
    return [lines[n] for n in np.argsort(rng.random(len(lines)))]
