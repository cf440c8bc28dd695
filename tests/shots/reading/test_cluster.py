"""The batch on a local Dask cluster of two workers; skipped where Dask is not installed."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from types import SimpleNamespace

import pytest

from lightplan.errors import MissingFeature
from lightplan.shots.sets import cluster as cluster_module
from lightplan.shots.sets.batch import score_batch
from lightplan.shots.sets.cluster import score_on_cluster
from lightplan.shots.sets.worker import Reply

HERE = Path(__file__).parent
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


@pytest.fixture
def judges(monkeypatch):
    monkeypatch.syspath_prepend(str(HERE))
    import judging_examples

    return judging_examples


@pytest.fixture
def cluster(judges, tmp_path):
    distributed = pytest.importorskip("distributed", reason="the extra [cluster] is absent")
    import dask

    settings = {
        "distributed.scheduler.allowed-failures": 0,
        "temporary-directory": str(tmp_path / "dask"),
    }
    with dask.config.set(settings), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            dashboard_address=None,
            processes=True,
            env={"PYTHONPATH": ":".join(sys.path)},
            silence_logs=50,
        ) as running:
            yield running


def make(folder: Path, *names: str) -> list[Path]:
    folder.mkdir(exist_ok=True)
    for name in names:
        (folder / name).write_bytes(b"x" * len(name))
    return [folder / name for name in names]


def test_two_workers_give_what_one_machine_gives_and_share_its_journal(cluster, judges, tmp_path):
    names = [f"IMG_{i}.jpg" for i in range(20)]
    paths = make(tmp_path / "in", *names, "refuse.jpg", "hang.jpg", "crash.jpg")
    address = cluster.scheduler_address
    options = {"out_dir": tmp_path / "out", "timeout_s": 2.0}
    far = {o.file: o for o in score_on_cluster(address, paths, judges.by_name, **options)}
    assert set(far) == {p.name for p in paths}
    for name in names:
        assert far[name].result == {"name": name, "length": len(name)}
    assert "the file must be kind" in far["refuse.jpg"].error
    assert "died over it" in far["crash.jpg"].error
    assert "died over it" in far["hang.jpg"].error
    near = list(score_batch(paths, judges.by_name, workers=1, **options))
    assert {o.file for o in near if o.resumed} == {*names, "refuse.jpg"}


class Answers:
    """Futures whose answers lie with their workers; some of these die before they are fetched."""

    def __init__(self, *, dead: dict[str, int]) -> None:
        self._dead, self.asked = dead, []

    def nthreads(self) -> dict[str, int]:
        return {"only": 1}

    def submit(self, task: object, path: Path, *, pure: bool) -> SimpleNamespace:
        self.asked.append(path.name)
        return SimpleNamespace(
            key=f"{path.name}-{len(self.asked)}",
            status="finished",
            result=lambda: self._fetched(path.name),
            release=lambda: None,
        )

    def _fetched(self, name: str) -> Reply:
        self._dead[name] = self._dead.get(name, 0) - 1
        if self._dead[name] >= 0:
            raise RuntimeError("KilledWorker: the worker died after its work was done")
        return Reply(result={"name": name})


class Completed(list):
    """Futures in the order in which they were handed out, more of them while one looks."""

    add = list.append


def test_an_answer_that_died_with_its_worker_is_asked_for_again(monkeypatch):
    fake = SimpleNamespace(as_completed=Completed, wait=lambda future: None)
    monkeypatch.setattr(cluster_module, "import_module", lambda name: fake)
    client = Answers(dead={"b.jpg": 1, "c.jpg": 2})
    paths = [Path(f"{name}.jpg") for name in "abcdefg"]
    replies = dict(cluster_module._run(client, paths, judge_one=None, limits=None))
    assert set(replies) == set(paths)
    for path in paths:
        if path.name == "c.jpg":  # its worker died of the second try too
            assert "died over it" in replies[path].error
        else:
            assert replies[path].result == {"name": path.name}
    assert client.asked.count("a.jpg") == 1
    assert client.asked.count("b.jpg") == 2


def test_a_scheduler_that_is_not_there(judges, tmp_path, monkeypatch):
    pytest.importorskip("distributed", reason="the extra [cluster] is absent")
    import lightplan.shots.sets.cluster as module

    monkeypatch.setattr(module, "CONNECT_S", 0.5)
    (path,) = make(tmp_path / "in", "a.jpg")
    with pytest.raises(MissingFeature, match=r"scheduler at tcp://127\.0\.0\.1:9 must answer"):
        list(score_on_cluster("tcp://127.0.0.1:9", [path], judges.by_name, out_dir=tmp_path))


def test_the_missing_extra_is_named(judges, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    (path,) = make(tmp_path / "in", "a.jpg")
    with pytest.raises(MissingFeature, match=r"install lightplan\[cluster\]"):
        list(score_on_cluster("tcp://127.0.0.1:9", [path], judges.by_name, out_dir=tmp_path))
