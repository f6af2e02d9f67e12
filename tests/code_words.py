"""The sentences that people may read, taken from the code: whole ones, and ones with places for values.

A string is taken where it reads as words: with a space between two of them, or where :data:`SINGLE` names
its module.  Out of ``f"{n} turn{'' if n == 1 else 's'}"`` come two sentences, each with a place that is named
for what stands there.
"""

from __future__ import annotations

import ast
import itertools
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from digitise.words.catalogue import UNREVIEWED

ROOT = Path(__file__).parents[1]

# What is not for readers: other programs, tables, pages of their own, and names of things.
LEFT_OUT = (
    "digitise/words/*",
    "digitise/record/migrations/*",
    "digitise/record/database.py",
    "digitise/record/tables.py",
    "digitise/output/schemas.py",
    "digitise/output/study/columns.py",
    "digitise/output/study/package.py",
    "digitise/output/report/fhir.py",
    "digitise/geometry/lines.py",
    "digitise/geometry/matrices.py",
    "digitise/output/model/meshes.py",
    "digitise/capture/light_steps/*",
    "digitise/fonts/*",
    # read as the page reads them, see page_sentences
    "ui/text.py",
    # logs, addresses and rules for browsers
    "ui/origin.py",
    "ui/palette.py",
    "ui/keys.py",
    "ui/serve.py",
    "ui/pairing/server.py",
    "ui/pairing/session.py",
)
# Modules whose single words people read too.
SINGLE = (
    "digitise/output/figures/*",
    "digitise/output/report/pdf*.py",
    "digitise/output/report/boxes.py",
    "digitise/output/report/layout.py",
    "digitise/output/wrap/home_card.py",
    "digitise/output/padding/foam_sheet.py",
    "digitise/output/*/words.py",
    "digitise/output/plain_text.py",
    "digitise/capture/sheets/instructions*.py",
    "digitise/capture/sheets/printing.py",
    "digitise/tape/points.py",
    "digitise/tape/places.py",
    "digitise/care/surface/*",
    "digitise/cli/*",
)
# Single words that stand in files as keys, and in sentences as words.
KEYS = (
    *(
        "leg",
        "arm",
        "foot",
        "hand",
        "left",
        "right",
        "legs",
        "arms",
        "toes",
        "fingers",
        "limb",
        "mat",
        "mats",
    ),
    *("left leg", "right leg", "left arm", "right arm", "a foot", "a hand", "a leg", "an arm", "mat", "mats"),
    *("agrees", "differs", "suspect", "not seen", "clear", "likely", "larger", "smaller", "whole"),
    *("bulge", "hollow", "ridge", "crease", "inverted taper", "step"),
    *("Highest", "Deepest", "Sharpest", "Narrowest", "Steepest"),
    *("bandage", "padding", "none", "light", "medium", "full", "half", "stretched", "at rest", "rest"),
    *("a third", "a quarter", "begins", "ends", "lies", "at", "above", "below"),
    *("front inner", "front outer", "back inner", "back outer", "front, thumb side", "back, thumb side"),
    *("front, little-finger side", "back, little-finger side"),
    *("standing", "sitting", "lying", "groin", "armpit", "girth", "height", "length"),
)
# Sentences that the code puts together in steps.
PUT_TOGETHER = (
    "for {name}",
    "{first} and {second}",
    "arrow {trunk}",
    "toes-{to_mm:n}",
    "knuckles-{to_mm:n}",
    "{name} ({change_ml:n} mL)",
    "95 %: {low:n} to {high:n} mL",
    "{value:n} ({low:n} to {high:n})",
    "{low:n} to {high:n} mL",
    "{words} {value:n} mmHg ({when})",
    "{words} {value:n} ({when})",
    "{words} {value:n} mmHg ({when}, by {by})",
    "{words} {value:n} ({when}, by {by})",
    "{words} ({when}, by {by})",
)
# Words of libraries and files, which nobody reads.
NOT_WORDS = frozenset(
    {
        *(
            "outside lower center",
            "center",
            "bold",
            "white",
            "black",
            "equal",
            "butt",
            "circle",
            "antialiased",
            "ignore",
        ),
        *(
            "offset points",
            "periodic",
            "col",
            "DejaVu Sans Condensed",
            "constrained",
            "capture",
            "care",
            "many",
        ),
        *("ui", "digitise", "green", "yellow", "red", "json", "csv", "svg", "title", "desc", "path", "text"),
        *(
            "bevel",
            "arrow",
            "ruler",
            "unicode",
            "backslashreplace",
            "streamlit",
            "nearest",
            "wrap",
            "bottom",
            "mm",
        ),
        *(
            "cut",
            "start",
            "tk,zs->ztks",
            "for",
            "; for ",
            "no start of image",
            " after validation",
            "Value error, ",
            "middle center",
        ),
        *("text does not match its digest", "bytes do not match their digest", "Content-Type"),
    }
)
_MOST_VARIANTS = 12
_WORD = r"[A-Za-z][a-z'’]+"
_WORDS = re.compile(
    rf"{_WORD}[,;:.]? +(?:{_WORD}|[A-Za-z]\b|\d)|{_WORD}[.:](?: |$)|\d {_WORD}|[)}}] +{_WORD}|{_WORD} [({{]"
)
_SINGLE_WORD = re.compile(r"(?<![\w{.-])[A-Za-z][a-z]{2,}(?![\w}.-])")
_CODE = re.compile(
    r"^[a-z_.]+(?:/[\w.*-]+)+$|^(?:SELECT|PRAGMA|BEGIN|INSERT|DELETE|UPDATE) |^\S*://\S*$|^--|^#|<\w+|^:material"
    r"|^digitise \{|\(\?|%d"
)
_NUMBERS = re.compile(r"[+\-,.0-9<>^ ]*[dfgeE%]$")
_QUIET_CALLS = {
    "getattr",
    "hasattr",
    "compile",
    "execute",
    "text_clause",
    "cast",
    "TypeVar",
    "open",
    "strftime",
    "field",
}
_PLAIN_CALLS = {"round", "abs", "float", "int", "str", "len", "max", "min", "sum", "plain"}
_ASIDE = {"capitalize", "lower", "upper", "strip", "astimezone", "format"}


def sentences(path: Path) -> list[str]:
    """Return the sentences of a module in their order."""
    name = path.relative_to(ROOT).as_posix()
    if any(Path(name).match(pattern) for pattern in LEFT_OUT):
        return []
    single = any(Path(name).match(pattern) for pattern in SINGLE)
    found = _Reader(single, commands=name.startswith("digitise/cli/"))
    found.visit(ast.parse(path.read_text(encoding="utf-8")))
    return list(dict.fromkeys(found.sentences))


@cache
def rooms() -> dict[str, list[str]]:
    """Return all sentences by the module in which they stand."""
    paths = sorted([*ROOT.glob("digitise/**/*.py"), *ROOT.glob("ui/**/*.py")])
    found = {path.relative_to(ROOT).as_posix(): sentences(path) for path in paths}
    found["ui/text.py"] = page_sentences()
    found["digitise/words/catalogue.py"] = [UNREVIEWED]
    found["tests/code_words.py"] = [*KEYS, *PUT_TOGETHER]
    for path in sorted(ROOT.glob("digitise/tape/*.toml")):
        entries = [
            entry for limb in tomllib.loads(path.read_text(encoding="utf-8")).values() for entry in limb
        ]
        told = [entry[key] for entry in entries for key in ("place", "words", "where") if key in entry]
        found[path.relative_to(ROOT).as_posix()] = list(dict.fromkeys(told))
    return {room: words for room, words in found.items() if words}


def page_sentences() -> list[str]:
    """Return the words of the page, and what it says in their place where they are none of its own."""
    from ui import text

    return list(
        dict.fromkeys(
            words for name, value in vars(text).items() if name.isupper() for words in _leaves(value)
        )
    )


def _leaves(value: object) -> Iterator[str]:
    if isinstance(value, str) and re.search("[A-Za-z]{2}", value) and value not in NOT_WORDS:
        yield value
    elif isinstance(value, Mapping):
        for inside in value.values():
            yield from _leaves(inside)
    elif isinstance(value, tuple):
        for inside in value:
            yield from _leaves(inside)


class _Reader(ast.NodeVisitor):
    def __init__(self, single: bool, commands: bool) -> None:
        self.single, self.commands = single, commands
        self.sentences: list[str] = []

    def _take(self, node: ast.expr) -> None:
        for words in variants(node):
            bare = re.sub(r"\{[^}]*\}", "", words)
            fits = _WORDS.search(words) or (self.single and _SINGLE_WORD.search(words))
            if fits and words not in NOT_WORDS and re.search(r"[a-z]{2}", bare) and not _CODE.search(words):
                self.sentences.append(words.strip(" ,;"))

    def visit_Expr(self, node: ast.Expr) -> None:
        # a string that stands alone is a docstring
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str):
            self._take(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        self._take(node)
        for part in node.values:
            # a choice between words stands in the sentence already
            if isinstance(part, ast.FormattedValue) and not _is_words(part.value):
                self.visit(part.value)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if isinstance(node.op, ast.Add) and (_is_words(node.left) or _is_words(node.right)):
            self._take(node)
            for part in _flat(node):
                if not isinstance(part, ast.Constant):
                    for inner in ast.iter_child_nodes(part):
                        self.visit(inner)
        else:
            self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        if _name(node.func) not in _QUIET_CALLS:
            self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        # what is compared with is a key, not words
        for part in (node.left, *node.comparators):
            if not isinstance(part, ast.Constant | ast.Tuple | ast.Set | ast.List):
                self.visit(part)

    def visit_Dict(self, node: ast.Dict) -> None:
        for value in node.values:
            self.visit(value)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        # neither keys nor Literal[...]; but an option that several commands share
        self._annotation(node)
        self.visit(node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        self._annotation(node.annotation)
        if node.value is not None:
            self.visit(node.value)

    def visit_arg(self, node: ast.arg) -> None:
        self._annotation(node.annotation)

    def _annotation(self, node: ast.expr | None) -> None:
        """Look into Annotated[..., typer.Option(help=...)] alone."""
        if isinstance(node, ast.Subscript) and _name(node.value) == "Annotated":
            assert isinstance(node.slice, ast.Tuple)
            for part in node.slice.elts[1:]:
                self.visit(part)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        options = [arg.annotation for arg in (*node.args.args, *node.args.kwonlyargs)]
        asks = any(
            isinstance(one, ast.Subscript | ast.Name) and "Annotated" in ast.unparse(one) for one in options
        )
        told = ast.get_docstring(node)
        if told and self.commands and (asks or "command" in map(ast.unparse, node.decorator_list)):
            # what a command says of itself
            self.sentences.append(" ".join(told.split()))
        for child in ast.iter_child_nodes(node):
            if child is not getattr(node, "returns", None):
                self.visit(child)


def variants(node: ast.expr) -> list[str]:
    """Return what a string may read, with named places for values; a choice between words makes several."""
    pieces = list(_pieces(node))
    if len(list(itertools.islice(itertools.product(*pieces), _MOST_VARIANTS + 1))) > _MOST_VARIANTS:
        pieces = [choices[:1] for choices in pieces]
    found = []
    for chosen in itertools.product(*pieces):
        seen: dict[str, int] = {}
        words = "".join(_placed(part, seen) for part in chosen)
        # side and limb are one thing: many languages bend the one by the other
        # what stands without a seam cannot be told apart again
        words = re.sub(r"\{(\w+)\}\{(\w+)\}", r"{\1_\2}", re.sub(r"\{(\w+)\}\{(\w+)\}", r"{\1_\2}", words))
        words = re.sub(r"\{side(_2)?\} \{limb(_2)?\}", r"{side_limb\1}", words)
        found.append(words)
    return found


# A part is fixed words, or a place: (name, kind, source)
def _pieces(node: ast.expr) -> Iterator[list[str | tuple[str, str, str]]]:
    if isinstance(node, ast.Constant):
        yield [str(node.value)]
    elif isinstance(node, ast.JoinedStr):
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from _value(part)
            else:
                yield from _pieces(part)
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        for part in _flat(node):
            yield from _pieces(part)
    elif isinstance(node, ast.IfExp) and (_is_words(node.body) or _is_words(node.orelse)):
        yield [*_choices(node.body), *_choices(node.orelse)]
    else:
        yield [(_place_name(node), "", ast.unparse(node))]


def _choices(node: ast.expr) -> list[str | tuple[str, str, str]]:
    parts = list(_pieces(node))
    if len(parts) == 1:
        return parts[0]
    return [Several(chosen) for chosen in itertools.product(*parts)]  # type: ignore[list-item]


class Several(tuple):  # type: ignore[type-arg]
    """Parts that are chosen together."""


def _value(part: ast.FormattedValue) -> Iterator[list[str | tuple[str, str, str]]]:
    if part.format_spec is None and part.conversion == -1 and (_is_words(part.value)):
        yield from _pieces(part.value)
        return
    spec = "" if part.format_spec is None else ast.unparse(part.format_spec)[2:-1]
    number = bool(_NUMBERS.match(spec)) or "{" in spec
    yield [(_place_name(part.value), ":n" if number else "", ast.unparse(part.value))]


def _placed(part: str | tuple[str, str, str], seen: dict[str, int]) -> str:
    if isinstance(part, Several):
        return "".join(_placed(one, seen) for one in part)
    if isinstance(part, str):
        return part
    name, kind, source = part
    key = f"{name}|{source}"
    taken = [int(other.rpartition("#")[2]) for other in seen if other.startswith(f"{name}|")]
    for other in seen:
        if other.startswith(f"{key}#"):
            number = int(other.rpartition("#")[2])
            break
    else:
        number = max(taken, default=0) + 1
        seen[f"{key}#{number}"] = number
    return f"{{{name}{'' if number == 1 else f'_{number}'}{kind}}}"


def _place_name(node: ast.expr) -> str:  # noqa: PLR0911
    if isinstance(node, ast.Name):
        return node.id.lower().strip("_") or "value"
    if isinstance(node, ast.Attribute):
        return node.attr.lower().strip("_")
    if isinstance(node, ast.Call):
        if isinstance(node.func, ast.Attribute) and node.func.attr in _ASIDE:
            return _place_name(node.func.value)
        if isinstance(node.func, ast.Attribute) and node.func.attr == "join":
            return "list"
        if (
            _name(node.func) in {"round", "abs", "float", "int", "str", "len", "max", "min", "sum", "plain"}
            and node.args
        ):
            return _place_name(node.args[0])
        return _name(node.func).lower().strip("_") or "value"
    if isinstance(node, ast.BinOp):
        return _place_name(node.left if not isinstance(node.left, ast.Constant) else node.right)
    if isinstance(node, ast.Subscript):
        return _place_name(node.value)
    if isinstance(node, ast.UnaryOp):
        return _place_name(node.operand)
    if isinstance(node, ast.IfExp):
        return _place_name(node.body)
    return "value"


def _name(node: ast.expr) -> str:
    return node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""


def _is_words(node: ast.expr) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str)
    if isinstance(node, ast.IfExp):
        return _is_words(node.body) or _is_words(node.orelse)
    if isinstance(node, ast.BinOp):
        return isinstance(node.op, ast.Add) and (_is_words(node.left) or _is_words(node.right))
    return isinstance(node, ast.JoinedStr)


def _flat(node: ast.expr) -> list[ast.expr]:
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return [*_flat(node.left), *_flat(node.right)]
    return [node]
