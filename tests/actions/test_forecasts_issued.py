"""The household's own forecasts as issued, judged by what came. The pieces are invented."""

from __future__ import annotations

from households import House


def test_forecasts_issued_are_judged_when_the_piece_is_at_its_mass(house: House) -> None:
    code = house.hung(target_loss="20 %")  # hung on day 21
    for day, mass in ((24, "1.44 kg"), (28, "1.36 kg"), (34, "1.29 kg")):
        house.do("weigh_in", day, code=code, mass=mass)
    before = house.do("forecast_record", 34)
    assert before.pieces == 1 and before.at_mass == 0
    assert {b.open for b in before.bands} == {4} and all(f.error_s is None for f in before.forecasts)
    issued = house.do("piece", 34, code=code).issued[0]
    house.do("weigh_in", 40, code=code, mass="1.22 kg")
    record = house.do("forecast_record", 40, code=code)
    # between 1.29 kg on day 34 and 1.22 kg on day 40 it passed 1.24 kg: by a straight line on day 38.3
    reached = 34 + 6 * (1.29 - 1.24) / (1.29 - 1.22)
    last = record.forecasts[0]
    assert last.at == issued.at and last.likely == issued.likely
    got = (issued.likely - issued.at).total_seconds() / 86400 + 34
    assert abs(last.error_s / 86400 - (got - reached)) < 1e-6
    assert abs(last.progress_frac - 13 / (reached - 21)) < 1e-9
    assert set(last.held) == {"band_50", "band_80", "band_95"}
    for band in record.bands:
        assert band.held + band.missed == 4 and band.open == 0
    assert sum(s.count for s in record.stages) == 4 and record.study == ()


def test_a_forecast_that_ran_out_has_missed_though_the_piece_is_not_ready(house: House) -> None:
    code = house.hung(target_loss="20 %")
    for day, mass in ((24, "1.40 kg"), (27, "1.33 kg"), (30, "1.28 kg")):
        house.do("weigh_in", day, code=code, mass=mass)
    house.do("weigh_in", 80, code=code, mass="1.27 kg")
    band = next(b for b in house.do("forecast_record", 80).bands if b.band == "band_80")
    assert band.missed > 0 and band.held == 0


def test_the_study_of_invented_pieces_is_shown_as_it_came(house: House) -> None:
    study = house.do("forecast_record").study
    assert {s.world for s in study} == {"prior", "law", "fat", "humidity", "weighing", "door"}
    assert {s.taught for s in study} == {0, 1, 3, 10}
    for line in study:
        assert line.held_50_frac <= line.held_80_frac <= line.held_95_frac <= 1
        assert (line.line_error_s is None) == (line.progress_frac == 0)
