"""Parts of libraries that are not promised to stay: each is looked at, so that an upgrade says what changed.

When one of these fails after an upgrade, look at the place that it names, mend it, and raise the upper bound
of that library in pyproject.toml.
"""

import inspect
import re
import tomllib
from pathlib import Path

import pytest
import streamlit
import typer

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def must(what: bool, look_at: str) -> None:
    assert what, f"The library has changed: look at {look_at}."


@pytest.mark.parametrize("name", ["streamlit", "typer"])
def test_libraries_of_which_private_parts_are_used_have_an_upper_bound(name):
    (wanted,) = [line for line in PROJECT["dependencies"] if re.match(rf"{name}\b", line)]
    assert "," in wanted
    assert "<" in wanted


def test_the_queue_of_messages_is_as_the_repair_of_uploads_takes_it():
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
    from streamlit.runtime.forward_msg_queue import ForwardMsgQueue

    place = "keep_upload_answers in ui/serve.py"
    names = list(inspect.signature(ForwardMsgQueue.clear).parameters)
    must(names == ["self", "retain_lifecycle_msgs", "fragment_ids_this_run"], place)
    must(isinstance(getattr(ForwardMsgQueue(), "_queue", None), list), place)
    must("file_urls_response" in ForwardMsg.DESCRIPTOR.fields_by_name, place)


def test_an_uploaded_file_can_be_dropped():
    from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
    from streamlit.runtime.scriptrunner import ScriptRunContext

    place = "let_go in ui/state.py"
    names = list(inspect.signature(MemoryUploadedFileManager.remove_file).parameters)
    must(names == ["self", "session_id", "file_id"], place)
    must({"uploaded_file_mgr", "session_id"} <= set(ScriptRunContext.__dataclass_fields__), place)


def test_the_server_takes_a_guard_and_its_settings():
    from streamlit.starlette import App

    must("middleware" in inspect.signature(App).parameters, "page in ui/serve.py")
    must("config" in inspect.signature(App.run).parameters, "main in ui/serve.py")


def test_the_page_still_has_what_its_style_names():
    """The style reaches parts of the page by names that its library gives them."""
    names = set()
    for path in (ROOT / "ui").rglob("*"):
        if path.suffix in (".py", ".css", ".js"):
            names |= set(
                re.findall(r"data-testid[~|^$*]?=\\?[\"']?(st\w+)", path.read_text(encoding="utf-8"))
            )
    assert names
    scripts = Path(streamlit.__file__).parent.joinpath("static/static/js").glob("*.js")
    shipped = "".join(path.read_text(encoding="utf-8", errors="replace") for path in scripts)
    # a name may be put together from its beginning and the kind of a button
    missing = [name for name in sorted(names) if name not in shipped and name.split("-")[0] not in shipped]
    must(not missing, f"ui/components/page.css: {', '.join(missing)}")
    states = ("data-test-script-state", "running", "rerunRequested")
    must(
        all(f'"{name}"' in shipped or f"`{name}`" in shipped for name in states),
        "at-work in ui/components/page.css",
    )


def test_commands_are_still_looked_up_by_their_group():
    from typer.core import TyperGroup
    from typer.main import get_group

    place = "_Commands in digitise/cli/app.py"
    must(list(inspect.signature(TyperGroup.get_command).parameters) == ["self", "ctx", "cmd_name"], place)
    must("formatter" in inspect.signature(TyperGroup.format_commands).parameters, place)
    app = typer.Typer()
    app.command("one")(lambda: None)
    app.command("two")(lambda: None)
    must(sorted(get_group(app).commands) == ["one", "two"], place)


def test_the_lowest_versions_can_be_read_by_the_script_that_tests_them():
    for wanted in (*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["postgres"]):
        assert re.match(r"([\w.-]+)(?:\[\w+\])?>=([\w.]+)", wanted), wanted
