"""Every fruit that was judged can be asked for on every sheet."""

from dataclasses import replace

from sitekit.cartography.asked import list_fruit


def unnamed(survey):
    return replace(survey, site=replace(survey.site, fruit=()))


def test_fruit_stand_in_the_order_asked_for(small_survey):
    site = replace(small_survey.site, fruit=("pear", "apple"))
    assert list_fruit(replace(small_survey, site=site)) == ["pear", "apple"]


def test_without_names_in_the_site_every_fruit_that_was_judged_is_listed(small_survey):
    assert sorted(list_fruit(unnamed(small_survey))) == ["apple", "pear"]


def test_without_a_block_those_asked_for_are_listed(small_survey):
    bare = replace(small_survey, blocks=small_survey.blocks.iloc[:0])
    assert list_fruit(bare) == list(small_survey.site.fruit)
    assert list_fruit(unnamed(bare)) == []
