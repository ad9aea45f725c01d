"""Nine offers of three sellers as shops show them: what is likeliest holds in other lights and by other cameras."""

from __future__ import annotations

from pathlib import Path

import pytest
from spectral import world

from finishmatch.audit import audit_file

ROOT = Path(__file__).parents[1]


@pytest.mark.proof
def test_in_twenty_lights_and_cameras_the_true_best_is_in_the_first_two_places_and_nothing_is_bought_on_a_ranking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world()  # imports colour-science first, so that its import warning stays quiet
    pytest.importorskip("mitsuba", reason="the extra `samples` is not installed")
    monkeypatch.syspath_prepend(str(ROOT))
    from sample_photos.make import offers, scene

    try:
        scene.mitsuba()
    except RuntimeError as missing:
        pytest.skip(str(missing))
    for seed in range(20):
        results = audit_file(offers.make(tmp_path / f"{seed}", seed)).results
        twice = [frozenset((pair.a, pair.b)) for pair in results.differences if pair.cause == "one_picture"]
        assert twice == [offers.TWICE]
        (ranking,) = results.rankings
        group = {name: names for names in ranking.one_picture for name in names}
        places = list(dict.fromkeys(group.get(name, (name,)) for name in ranking.parts))
        assert offers.BEST in (*places[0], *places[1])
        assert [frozenset(group) for group in ranking.one_picture] == [offers.TWICE]
        assert "Skerry beside a chart" in ranking.out or ranking.parts.index("Skerry beside a chart") > 3
        assert not [one for one in results.advice if one.code == "buy"]
        told = [one.parts for one in results.advice if one.code == "message"]
        assert len({name.split()[0] for parts in told for name in parts}) == len(told)  # one message for each seller
