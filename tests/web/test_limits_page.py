"""The limits page: the same numbers as the command, and sentences for what cannot be used."""

from __future__ import annotations

from html import unescape

import pytest


def test_the_page_says_what_binds_and_shows_both_methods(client):
    """US Navy Revision 7, table 9-7: 63 min at 60 fsw; the tissue model is shorter and binds."""
    answer = client.get("/limits?depth=18")
    page = unescape(answer.get_data(as_text=True))
    assert answer.status_code == 200
    assert "63 min" in page
    assert "tissue model" in page and "at the bottom, at most" in page


def test_earlier_dives_and_altitude_shorten_the_answer(client):
    query = "/limits?depth=18&altitude=1640&water=fresh&hours=6&depth1=12&minutes1=20&interval1=90"
    page = unescape(client.get(query).get_data(as_text=True))
    assert "21 min at the bottom, at most" in page  # the same as the README's example of the command
    assert "group D before the dive" in page


def test_an_unknown_arrival_is_a_caution(client):
    assert "Go with care" in client.get("/limits?depth=12&altitude=2000").get_data(as_text=True).replace(
        "go with care", "Go with care"
    )


@pytest.mark.parametrize(
    ("query", "sentence", "kept"),
    [
        ("depth=deep", '"deep" is not a number', 'value="deep"'),
        ("depth=0", "it must be more than 0 m", 'value="0"'),
        ("depth=80", "190 fsw", 'value="80"'),
        ("depth=18&altitude=5000", "altitude is 5000 m", 'value="5000"'),
        ("depth=18&oxygen=80", "oxygen is 80 %", 'value="80"'),
        ("depth=18&hours=-1", "it must be at least 0 h", 'value="-1"'),
        ("depth=18&depth1=12", "An earlier dive needs depth, minutes", 'value="12"'),
        ("depth=18&depth1=12&minutes1=x&interval1=60", '"x" is not a number', 'value="x"'),
        ("depth=nan", "depth is nan", 'value="nan"'),
    ],
)
def test_what_cannot_be_used_is_said_and_kept(client, query, sentence, kept):
    answer = client.get(f"/limits?{query}")
    page = unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400
    assert sentence in page
    assert kept in page


def test_words_full_of_markup_stay_words(client):
    page = client.get("/limits", query_string={"depth": "<script>x</script>"}).get_data(as_text=True)
    assert "<script>" not in page
