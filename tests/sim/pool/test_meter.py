"""The progress of a pool: it grows to the end, and what is expected does not run away."""

from __future__ import annotations

from whichsun.sim.pool import runner
from whichsun.sim.pool.meter import afterwards, expected, work_of
from whichsun.sim.pool.scoring import PoolOptions, score_pool


def test_what_is_expected_shrinks_with_what_was_done():
    sizes = [160, 1280, 10_000]
    whole = expected(sizes, 3, 0, 0, drawn=True)
    assert whole > expected(sizes, 3, 0, 0, drawn=False) > expected(sizes, 3, 2, 0, drawn=False)
    assert expected(sizes, 3, 2, work_of(10_000, 13), drawn=True) < expected(sizes, 3, 2, 0, drawn=True)
    # However much was spent, a variant that is still at work has a round to go.
    assert expected(sizes, 3, 2, 10**9, drawn=True) == work_of(10_000, 13)
    assert afterwards(sizes, [2, 3], doubled=True) > afterwards(sizes, [2, 3], doubled=False) > 0
    assert afterwards([], [2], doubled=True) == 0


def test_a_pool_tells_its_progress(rows_of, monkeypatch):
    monkeypatch.setattr(runner, "ROWS_AT_ONCE", 100)
    told = []
    score_pool(rows_of(400), options=PoolOptions(progress=lambda *one: told.append(one)))
    done, of, words = zip(*told, strict=True)
    assert list(done) == sorted(done)
    assert all(0 < a <= b for a, b in zip(done, of, strict=True))
    assert done[-1] > 0.9 * of[-1]  # the last variant at work might have gone one more round
    assert any("doubling" in text for text in words)
    # Once the climbs are under way, no more than twice and no less than half of what there was to do is told.
    half = [b for a, b in zip(done, of, strict=True) if a > done[-1] / 3]
    assert done[-1] / 2 < min(half) <= max(half) < 2 * done[-1]
