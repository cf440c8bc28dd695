"""Short runs of the attacks; the long ones are run by hand, see the scripts."""

import os
import random

import kill_runs
import mutate_rigs
import pytest

SEED = 11  # printed by a failing check


@pytest.mark.slow
def test_damaged_rig_files_are_read_or_refused():
    ended, faults = mutate_rigs.run(40, 20, SEED, full=False)
    assert not faults, f"seed {SEED}: {faults}"
    assert ended["predicted"] >= 3
    assert ended["refused"] >= 20


@pytest.mark.slow
def test_killed_commands_lose_nothing_and_go_on(tmp_path):

    rng = random.Random(SEED)
    folder, temporary = tmp_path / "work", tmp_path / "tmp"
    folder.mkdir()
    temporary.mkdir()
    kill_runs.prepare(folder)
    faults = [
        f
        for name in ("save", "predict", "score")
        for f in kill_runs.one_kill(name, folder, temporary, rng)
    ]
    assert not faults, f"seed {SEED}: {faults}"


def test_what_the_kills_look_for_would_be_found(tmp_path):
    (tmp_path / "a.json").write_text('{"half": ')
    (tmp_path / "b.pdf").write_bytes(b"%PDF-1.7 half")
    (tmp_path / "c.png").write_bytes(b"\x89PNG\r\n\x1a\n half")
    (tmp_path / "whole.json").write_text("{}")
    found = {path[-6:] for path in kill_runs.half_written(tmp_path)}
    assert found == {"a.json", "/b.pdf", "/c.png"}
    (tmp_path / ".lightplan-x.tmp").write_text("")
    assert len(kill_runs.scraps(tmp_path, tmp_path)) == 1


def test_one_that_hangs_would_be_found(monkeypatch):
    assert mutate_rigs.used_s(os.getpid()) > 0.1
    monkeypatch.setattr(mutate_rigs, "serve", hang)
    monkeypatch.setattr(mutate_rigs, "HANG_S", 1.0)
    child = mutate_rigs.Child()
    assert "no answer" in child.ask(mutate_rigs.ROOT, full=False)
    child.end()


def hang(pipe):
    """Work without end."""
    while pipe:
        pass


def test_damage_is_done():

    rng = random.Random(SEED)
    text = (mutate_rigs.ROOT / "rigs" / "gold-card-above.toml").read_text("utf-8")
    assert sum(mutate_rigs.mutated(text, rng) != text for _ in range(50)) >= 45
    assert len(set(mutate_rigs.crafted(text))) == 200
