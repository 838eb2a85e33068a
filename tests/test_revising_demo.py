"""The invented holding: eight loggers, two of them set up wrong, against the truth."""

import numpy as np
import pytest

from sitekit.demo import write_holding
from sitekit.demo.truth import LOGGERS, PLANTED
from sitekit.io.readings import read_readings
from sitekit.request import read_site
from sitekit.revising import revise

#: East and north of the corner of the holding is that of its grid. [m]
STEP = 4.0


@pytest.fixture(scope="module")
def revised(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "holding"
    write_holding(folder)
    site = read_site(folder / "site.toml")
    readings = read_readings(folder / "readings", site.grid.crs, site.grid.longitude)
    return revise(site, readings)


def mean_offset(survey, part):
    west, south, east, north = PLANTED[part].box
    left, low = survey.site.grid.bounds[:2]
    x, y = np.meshgrid(np.arange(west, east, STEP), np.arange(south, north, STEP))
    values = survey.layers["frost_night_offset"].to_numpy()
    return float(np.nanmean(survey.site.grid.sample(values, x + left, y + low)))


@pytest.mark.parametrize("part", sorted(PLANTED))
def test_every_plot_is_within_a_degree_of_the_truth(revised, part):
    survey, _ = revised
    # Measured: 0.5 degC at most; two of the plots have no logger.
    assert mean_offset(survey, part) == pytest.approx(PLANTED[part].offset, abs=1.0)


def test_plots_without_a_logger_are_among_them():
    with_logger = {logger.part for logger in LOGGERS}
    assert set(PLANTED) - with_logger >= {"hedge foot, middle", "hedge foot, east"}


def test_both_faults_are_caught_and_nothing_else(revised):
    faults = {r.about: r.text for r in revised[1].remarks if r.about.startswith("L")}
    wrong = {logger.name: logger.fault for logger in LOGGERS if logger.fault}
    assert set(faults) == set(wrong)
    for name, fault in wrong.items():
        assert fault in faults[name]


def test_offsets_of_all_loggers_are_near_what_was_planted(revised):
    seen = revised[1].loggers.set_index("logger")["observed_degc"]
    for logger in LOGGERS:
        assert seen[logger.name] == pytest.approx(logger.offset, abs=0.35)


def test_verdicts_are_withdrawn_and_left_out_loggers_met(revised):
    revision = revised[1]
    assert len(revision.changes)
    assert revision.left_out < 1.0
    assert revision.nights >= 8
    assert "verdicts withdrawn" in revised[0].answer.stamp
