from datetime import UTC, datetime, timedelta

import pytest
from commands import run
from record_models import model_of_visit

from digitise.record.store import Store
from digitise.record.values import NewVisit
from digitise.tape.rows import TapeRow

TAPE = (TapeRow(230.0, 300.0),)
START = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """K-1 with two visits of the left leg and one of the right, K-2 with one visit, K-3 without a model."""
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    visits = (("K-1", "left", 0), ("K-1", "left", 2), ("K-1", "right", 2), ("K-2", "left", 0))
    with Store(path) as store:
        for client, side, week in visits:
            model = model_of_visit(side=side, tape=TAPE, filling=f"{client}{side}{week}".encode())
            when = START + timedelta(weeks=week)
            store.add_visit(NewVisit(client, "leg", side, when, TAPE, model=model))
        store.add_visit(NewVisit("K-3", "leg", "left", START, TAPE))
    return path


def test_a_client_gets_a_report_on_each_limb(capsys, records, tmp_path):
    out = tmp_path / "reports"
    code, _, _ = run(capsys, "report", "--client", "K-1", "--out", out, "--records", records, "--json")
    assert code == 0
    assert sorted(path.name for path in out.iterdir()) == ["K-1-left-leg.pdf", "K-1-right-leg.pdf"]
    assert all(path.read_bytes().startswith(b"%PDF") for path in out.iterdir())


def test_all_clients_are_reported_and_who_cannot_be_is_named(capsys, records, tmp_path):
    out = tmp_path / "reports"
    code, said, _ = run(capsys, "report", "--all", "--out", out, "--records", records)
    assert code == 0
    assert len(list(out.iterdir())) == 3
    assert "K-3" in said


@pytest.mark.parametrize(
    "words", [(), ("--client", "K-1", "--all"), ("--client", "K-1", "--when", "2026-03-02")]
)
def test_unclear_wishes_are_wrong_use(capsys, records, tmp_path, words):
    code, _, _ = run(capsys, "report", "--out", tmp_path / "r", "--records", records, *words)
    assert code == 2
    assert not (tmp_path / "r").exists()


def test_an_unknown_client_is_our_error(capsys, records, tmp_path):
    code, _, err = run(capsys, "report", "--client", "K-9", "--out", tmp_path / "r", "--records", records)
    assert code == 3
    assert "K-9" in err
