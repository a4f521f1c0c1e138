"""The benchmark's own arithmetic, and that each part still begins: what is measured is never judged here."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from tests.bench.__main__ import PARTS, main
from tests.bench.pages import _at_95, beside
from tests.bench.table import Row, print_table, seconds


def test_a_promise_is_kept_up_to_its_ratio_and_not_beyond(capsys):
    rows = [
        Row("pages", "plan", 10.0, "ms", 1.0, "a bare page", 10.0),
        Row("pages", "board", 99.0, "ms", 1.0, "a bare page"),
    ]
    assert print_table(rows)
    assert "10 x a bare page   at most 10: kept" in capsys.readouterr().out
    assert not print_table([*rows, Row("pages", "plan", 10.1, "ms", 1.0, "a bare page", 10.0)])
    assert "NOT KEPT" in capsys.readouterr().out


def test_the_95th_percentile_lies_where_numpy_puts_it():
    times = list(np.random.default_rng(3).exponential(1.0, 600))
    # statistics.quantiles takes the sample as one of many, numpy's "weibull" likewise.
    assert _at_95(times) == pytest.approx(float(np.percentile(times, 95, method="weibull")))


def test_a_job_is_run_once_to_warm_up_and_then_counted():
    calls = []
    assert seconds(lambda: calls.append(1), rounds=3) >= 0
    assert len(calls) == 4


def test_an_unknown_part_is_refused_with_the_known_ones(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["tests.bench", "nosuch"])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 2
    assert f'"nosuch" is no part; known: {", ".join(PARTS)}' in capsys.readouterr().err


def test_the_limits_part_agrees_with_numerical_integration_and_prints_its_ratios(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["tests.bench", "limits"])
    assert main() == 0
    said = capsys.readouterr().out
    assert "x one by one" in said and "x numerical integration (at most" in said


def test_both_pages_answer_from_one_server():
    import http.client

    with beside() as (port, pid):
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        for address, words in (("/bare/", "<p>Here.</p>"), ("/sites", "Gull Cove")):
            line.request("GET", address)
            assert words in line.getresponse().read().decode()
        line.close()
        assert pid > 0
